/** What the service says of lines and crossings, as the strip, the tag and the map want to draw it. */
import type {
  CrossingFeature,
  Kind,
  LineFeature,
  LineProperties,
  LineState,
  Obstacle,
  Party,
} from '../api/types.ts';
import type { MapContent, MapCrew } from '../map/RouteMap.ts';
import type { StripLine } from '../strip/line.ts';
import type { TagLook } from '../strip/tag.ts';
import { agoWords, type Crew } from './crews.svelte.ts';

export const obstacleWords: Record<Obstacle, string> = {
  main_highway: 'main highway',
  road: 'road',
  dirt_road: 'dirt road',
  path: 'path',
  railway: 'railway',
  stream: 'stream',
};

export const partyWords: Record<Party, string> = {
  command_post: 'command post',
  lead_team: 'lead team',
  follow_up_team: 'follow-up team',
  observer: 'observer',
};

export const capital = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);

/** 'line 12': a designation is a number with a letter or two, and never has the word itself. */
export const lineName = (designation: string): string => `line ${designation}`;

/** The first two of a GeoJSON position. */
export const place = ([lon = 0, lat = 0]: readonly number[]): [lon: number, lat: number] => [lon, lat];

/** A team's call sign in at most four characters: 'Follow-up 1' is 'F1', 'Kestrel' is 'K'. */
export function teamMark(team: string): string {
  const [word = ''] = team.match(/\p{L}/u) ?? [];
  const [figures = ''] = team.match(/\d{1,3}/) ?? [];
  return (word.toUpperCase() + figures).slice(0, 4) || team.slice(0, 4);
}

export function tagLook({ properties }: CrossingFeature): TagLook {
  return {
    state: properties.state,
    construction: properties.construction,
    inTraffic: properties.wire_in_traffic,
    team: properties.in_hand ? teamMark(properties.in_hand.team) : null,
  };
}

export function stripLine(line: LineFeature, crossings: Iterable<CrossingFeature>): StripLine {
  const { properties } = line;
  const known = properties.state === 'planned' ? line.geometry !== null : true;
  return {
    designation: properties.designation,
    ends: { left: properties.from, right: properties.to },
    planned_m: known && (line.geometry || properties.through_at) ? properties.length_m : null,
    laid_m: properties.laid_length_m,
    crossings: [...crossings]
      .filter((crossing) => crossing.properties.line === line.id)
      .map((crossing) => ({
        id: crossing.id,
        chainage_m: crossing.properties.chainage_m,
        obstacle: obstacleWords[crossing.properties.obstacle],
        ...tagLook(crossing),
      })),
    callBacks_m: properties.call_backs.map((call) => call.chainage_m),
    splices_m: properties.splices.map((splice) => splice.chainage_m),
    reels_m: properties.reels.slice(1).map((reel) => reel.from_chainage_m),
  };
}

export function mapContent(lines: Iterable<LineFeature>, crossings: Iterable<CrossingFeature>): MapContent {
  const all = [...lines];
  const name = ({ properties }: LineFeature) => capital(lineName(properties.designation));
  return {
    planned: all.flatMap((line) =>
      line.geometry
        ? [{ id: line.id, name: name(line), positions: line.geometry.coordinates.map(place) }]
        : [],
    ),
    laid: all.flatMap((line) => {
      const laid = line.properties.laid ?? [];
      // Where both are drawn, the plan is the longer and bears the name.
      return laid.length > 1
        ? [{ id: line.id, ...(line.geometry ? {} : { name: name(line) }), positions: laid.map(place) }]
        : [];
    }),
    crossings: [...crossings].map((crossing) => ({
      id: crossing.id,
      position: place(crossing.geometry.coordinates),
      ...tagLook(crossing),
    })),
  };
}

export const mapCrews = (crews: readonly Crew[]): MapCrew[] =>
  crews.map(({ seat, team, position, ago_ms }) => ({
    id: seat,
    label: `${team}, ${agoWords(ago_ms)}`,
    position: place(position),
  }));

/** A box around everything that is drawn, or around the ground that is loaded. */
export function boxAround(
  content: MapContent,
  ground: readonly number[] | null | undefined,
): [number, number, number, number] {
  const places = [...content.planned, ...content.laid].flatMap((trace) => trace.positions);
  places.push(...content.crossings.map((crossing) => crossing.position));
  if (places.length > 0) {
    const lons = places.map(([lon]) => lon);
    const lats = places.map(([, lat]) => lat);
    return [Math.min(...lons), Math.min(...lats), Math.max(...lons), Math.max(...lats)];
  }
  const [west = -10, south = 45, east = 10, north = 60] = ground ?? [];
  return [west, south, east, north];
}

export const lineStateWords: Record<LineState, string> = {
  planned: 'planned',
  laying: 'laying',
  through: 'through, not finished',
  finished: 'finished',
  proved: 'proved',
  handed_over: 'handed over',
  recovered: 'taken up',
};

/** Where a line stands, in a few words: trouble lies over whatever it was before. */
export const standsWords = ({ state, in_trouble_since }: LineProperties): string =>
  in_trouble_since === null ? lineStateWords[state] : `in trouble, ${lineStateWords[state]}`;

/** What a report says happened, for 'Not recorded: …' and the latest reports. */
export const kindWords: Record<Kind, string> = {
  line_planned: 'line planned',
  line_started: 'line started',
  trace_extended: 'wire laid',
  reel_started: 'new reel',
  splice_made: 'splice',
  crossing_foreseen: 'crossing foreseen',
  crossing_marked: 'crossing marked',
  crossing_passed: 'wire is over',
  crossing_taken: 'taken in hand',
  crossing_given_out: 'given out',
  crossing_given_back: 'given back',
  crossing_finished: 'finished',
  crossing_proved: 'proved',
  crossing_struck_out: 'struck out',
  call_back_good: 'call back good',
  line_proved: 'line proved',
  plan_issued: 'plan issued',
  line_handed_over: 'line handed over',
  test_made: 'test',
  watch_set: 'watch set',
  trouble_reported: 'trouble',
  trouble_narrowed: 'trouble narrowed',
  trouble_cleared: 'trouble cleared',
  line_ordered_up: 'line ordered up',
  section_taken_up: 'wire taken up',
  crossing_made_good: 'made good again',
  wire_lost: 'wire lost or left',
  reel_returned: 'reel returned',
  correction: 'taken back or changed',
  note: 'note',
};
