/**
 * The line-route map: owns the one map library's object on a page and speaks of traces, crossings and
 * places to everyone else. It draws from the service's own tiles and local fonts alone, keeps no
 * state that a page needs, and decides nothing.
 */
import {
  Map as Library,
  setWorkerUrl,
  type GeoJSONSource,
  type MapMouseEvent,
  type StyleSpecification,
} from 'maplibre-gl';
import type { Feature, LineString, Point } from 'geojson';
import workerUrl from 'virtual:map-worker';
import type { State, TagLook } from '../strip/tag.ts';
import type { Light } from '../ui/tokens.ts';
import { fineness, paintPicture, pictureNamed, tagName } from './images.ts';
import { layers, type LayerId, type SourceId } from './layers.ts';
import { metresPerPixel } from './scale.ts';
import { FIRST_ZOOM, LAST_ZOOM } from './zooms.ts';

setWorkerUrl(workerUrl);

export type LonLat = readonly [lon: number, lat: number];
export type Box = readonly [west: number, south: number, east: number, north: number];

export interface MapTrace {
  id: string;
  /** written along it: 'Line 12' */
  name?: string;
  positions: readonly LonLat[];
}

export interface MapCrossing extends TagLook {
  id: string;
  position: LonLat;
}

/** A crew that shares where it is. */
export interface MapCrew {
  id: string;
  /** written beside it: 'Lead 1, 4 min ago' */
  label: string;
  position: LonLat;
}

export interface MapContent {
  planned: readonly MapTrace[];
  laid: readonly MapTrace[];
  crossings: readonly MapCrossing[];
  /** a part of the wire that is pointed out: where a fault is looked for */
  stretch?: readonly LonLat[];
}

/** What the map's edge shows: where its middle is and how close it looks. */
export interface Sight {
  centre: LonLat;
  zoom: number;
}

/** Where places are on the map as it looks just now, in pixels from its upper left corner, and what place is there. */
export interface Projection {
  sight: Sight;
  pixel: (position: LonLat) => { x: number; y: number };
  position: (x: number, y: number) => LonLat;
}

export interface RouteMapOptions {
  container: HTMLElement;
  operation: string;
  light: Light;
  label: string;
  box: Box;
  /** a tag was pressed */
  onchoose: (crossing: string) => void;
  /** the ground was pressed */
  onpoint: (position: LonLat) => void;
  onmove: (sight: Sight) => void;
  /** whether the ground could be fetched, at every change */
  onground: (there: boolean) => void;
}

/** Of tags that overlap, what still needs work lies on top. */
const urgency: Record<State, number> = {
  struck_out: 0,
  proved: 1,
  finished: 2,
  foreseen: 3,
  marked: 4,
  in_hand: 5,
  passed: 6,
};

/** How far from a tag's picture a gloved finger may land, in pixels. */
const reach = 14;

/** What of a line can be pressed. */
const traces: readonly LayerId[] = ['trace_planned', 'trace_laid', 'trace_planned_name', 'trace_laid_name'];

/** Room around what is in view: a tag hangs below its place, and the map's buttons stand at the right. */
const margin = { top: 24, right: 72, bottom: 72, left: 32 };

export class RouteMap {
  readonly #library: Library;
  readonly #options: RouteMapOptions;
  /** what each source shows, by the ids, with what it was made of */
  readonly #drawn = new Map<SourceId, ReadonlyMap<string, Drawn>>();
  #shown: MapContent | null = null;
  #ready = false;
  #light: Light;
  #chosen: string | null = null;
  #groundThere = true;
  #online: ((line: string) => void) | undefined;
  /** what is to be in view, until somebody moves the map */
  #box: Box | null;

  constructor(options: RouteMapOptions) {
    this.#options = options;
    this.#light = options.light;
    this.#box = options.box;
    this.#library = new Library({
      container: options.container,
      style: style(options.operation, options.light),
      bounds: [...options.box],
      fitBoundsOptions: { padding: margin, maxZoom: 15 },
      attributionControl: false,
      minZoom: FIRST_ZOOM,
      maxZoom: 18,
      // North stays up, as on the paper beside it.
      dragRotate: false,
      pitchWithRotate: false,
      touchPitch: false,
      maxPitch: 0,
      renderWorldCopies: false,
      fadeDuration: 0,
      locale: { 'Map.Title': options.label },
    });
    const map = this.#library;
    map.touchZoomRotate.disableRotation();
    map.keyboard.disableRotation();
    map.setMissingStyleImageResolver((name) => {
      const picture = pictureNamed(name);
      const pixels = picture && paintPicture(picture);
      if (pixels && !map.hasImage(name)) map.addImage(name, pixels, { pixelRatio: fineness });
    });
    map.on('style.load', () => {
      this.#ready = true;
      for (const [source, drawn] of this.#drawn) this.#write(source, new Map(), drawn);
      if (this.#chosen !== null) this.#mark(this.#chosen, true);
    });
    map.on('click', (event) => this.#pressed(event));
    map.on('move', () => options.onmove(this.sight()));
    map.on('movestart', ({ originalEvent }) => {
      if (originalEvent) this.#box = null;
    });
    // The page may still be finding its size when the map begins.
    map.on('resize', () => {
      if (this.#box) this.fit(this.#box);
    });
    map.on('error', () => this.#ground(false));
    map.on('sourcedata', (event) => {
      // Only a tile that arrived tells that the ground can be fetched again.
      if (event.sourceId === 'terrain' && event.tile && event.sourceDataType !== 'idle') this.#ground(true);
    });
    // Who can't point with a hand moves the map under the cross in its middle and presses Enter.
    map.getCanvas().addEventListener('keydown', (event) => {
      if (event.key === 'Enter') options.onpoint(this.sight().centre);
    });
    window.addEventListener('online', this.fetchAgain);
    options.onmove(this.sight());
  }

  /** Draws these traces and crossings, and no others. What is the same thing as before is not drawn again. */
  show({ planned, laid, crossings, stretch }: MapContent): void {
    const before = this.#shown;
    if (stretch !== before?.stretch) {
      const searched = stretch && stretch.length > 1 ? [{ id: 'stretch', positions: stretch }] : [];
      this.#draw('stretch', searched, traceFeature);
    }
    if (planned !== before?.planned) this.#draw('planned', planned, traceFeature);
    if (laid !== before?.laid) this.#draw('laid', laid, traceFeature);
    if (crossings !== before?.crossings) this.#draw('crossings', crossings, crossingFeature);
    this.#shown = { planned, laid, crossings, ...(stretch ? { stretch } : {}) };
  }

  /** Whom to tell of a line whose trace or name was pressed; told to nobody, that is ground like any other. */
  heedLines(online: ((line: string) => void) | undefined): void {
    this.#online = online;
  }

  choose(crossing: string | null): void {
    if (crossing === this.#chosen) return;
    if (this.#ready && this.#chosen !== null) this.#mark(this.#chosen, false);
    this.#chosen = crossing;
    if (this.#ready && crossing !== null) this.#mark(crossing, true);
  }

  /** Where the device is, and within how many metres it knows that. */
  stand(position: LonLat | null, accuracy_m = 0): void {
    this.#draw('here', position ? [{ id: 'here', position }] : [], (here) =>
      pointFeature(here, { pixels: accuracy_m / metresPerPixel(here.position[1], 0) }),
    );
  }

  /** The crews that share where they are. */
  showCrews(crews: readonly MapCrew[]): void {
    this.#draw('crews', crews, (crew) => pointFeature(crew, { label: crew.label }));
  }

  /** Points at where the next crossing would be dropped. */
  drop(position: LonLat | null): void {
    this.#draw('drop', position ? [{ id: 'drop', position }] : [], (drop) => pointFeature(drop, {}));
  }

  wear(light: Light): void {
    if (light === this.#light) return;
    this.#light = light;
    if (this.#ready) this.#recolour();
    else this.#library.once('style.load', () => this.#recolour());
  }

  lookAt(position: LonLat, zoom = Math.max(this.#library.getZoom(), 14)): void {
    this.#box = null;
    this.#library.easeTo({ center: [...position], zoom });
  }

  fit(box: Box): void {
    this.#box = box;
    const [west, south, east, north] = box;
    this.#library.fitBounds([west, south, east, north], { padding: margin, maxZoom: 15, animate: false });
  }

  closer(steps: number): void {
    this.#box = null;
    this.#library.zoomTo(this.#library.getZoom() + steps);
  }

  sight(): Sight {
    const { lng, lat } = this.#library.getCenter();
    return { centre: [lng, lat], zoom: this.#library.getZoom() };
  }

  /** How the map looks with this in sight; a new one is asked for whenever that changes. */
  projection(sight: Sight): Projection {
    return {
      sight,
      pixel: (position) => this.#library.project([...position]),
      position: (x, y) => {
        const { lng, lat } = this.#library.unproject([x, y]);
        return [lng, lat];
      },
    };
  }

  /** Names of the pictures now on screen, for a test that asks what is drawn and not which pixels. */
  picturesShown(): string[] {
    return this.#library
      .queryRenderedFeatures({ layers: ['crossing'] })
      .map((feature) => String(feature.properties['picture']));
  }

  /**
   * A tile that failed stays failed, also when its source is told to load anew (seen with 6.17: the tile
   * waits for a request that is over). With the signal back the style is begun afresh, which asks for all.
   */
  readonly fetchAgain = (): void => {
    if (this.#groundThere || !this.#ready) return;
    this.#ready = false;
    this.#library.setStyle(style(this.#options.operation, this.#light), { diff: false });
  };

  leave(): void {
    window.removeEventListener('online', this.fetchAgain);
    this.#library.remove();
  }

  #recolour(): void {
    for (const layer of layers(this.#light)) {
      for (const [property, value] of Object.entries(layer.paint ?? {})) {
        // Names and values are a layer's own, from the list that the map was made of.
        this.#library.setPaintProperty(layer.id, property as 'fill-color', value as string);
      }
      const picture = layer.type === 'symbol' ? layer.layout?.['icon-image'] : undefined;
      if (picture !== undefined) this.#library.setLayoutProperty(layer.id, 'icon-image', picture);
    }
  }

  #draw<T extends { id: string }>(
    source: SourceId,
    things: readonly T[],
    feature: (thing: T) => Feature,
  ): void {
    const before = this.#drawn.get(source) ?? new Map<string, Drawn>();
    const now = new Map(
      things.map((thing): [string, Drawn] => {
        const drawn = before.get(thing.id);
        return [thing.id, drawn?.of === thing ? drawn : { of: thing, feature: feature(thing) }];
      }),
    );
    this.#drawn.set(source, now);
    if (this.#ready) this.#write(source, before, now);
  }

  /** The library takes what changed alone, and draws anew only the tiles that it lies in. */
  #write(source: SourceId, before: ReadonlyMap<string, Drawn>, now: ReadonlyMap<string, Drawn>): void {
    const target = this.#library.getSource<GeoJSONSource>(source);
    if (!target) throw new Error(`The map has no source '${source}'`);
    const remove = [...before.keys()].filter((id) => !now.has(id));
    const add = [...now].filter(([id, drawn]) => before.get(id) !== drawn).map(([, { feature }]) => feature);
    if (remove.length > 0 || add.length > 0) void target.updateData({ remove, add });
  }

  #mark(crossing: string, chosen: boolean): void {
    this.#library.setFeatureState({ source: 'crossings', id: crossing }, { chosen });
  }

  #ground(there: boolean): void {
    if (there === this.#groundThere) return;
    this.#groundThere = there;
    this.#options.onground(there);
  }

  #pressed({ point, lngLat }: MapMouseEvent): void {
    const within = (named: readonly LayerId[]) =>
      this.#library.queryRenderedFeatures(
        [
          [point.x - reach, point.y - reach],
          [point.x + reach, point.y + reach],
        ],
        { layers: [...named] },
      );
    const near = within(['crossing']);
    // The one whose middle is nearest, since tags may hang side by side.
    const away = (feature: (typeof near)[number]) => {
      const [lon = 0, lat = 0] = (feature.geometry as Point).coordinates;
      const tie = this.#library.project([lon, lat]);
      return Math.hypot(tie.x - point.x, tie.y + 28 - point.y);
    };
    const chosen = near.sort((a, b) => away(a) - away(b))[0];
    if (chosen) {
      this.#options.onchoose(String(chosen.properties['id']));
      return;
    }
    const line = this.#online && within(traces)[0];
    if (line) this.#online?.(String(line.properties['id']));
    else this.#options.onpoint([lngLat.lng, lngLat.lat]);
  }
}

/** A feature, and the trace, crossing or place that it was made of. */
interface Drawn {
  of: unknown;
  feature: Feature;
}

const traceFeature = ({ id, name = '', positions }: MapTrace): Feature<LineString> => ({
  type: 'Feature',
  properties: { id, name },
  geometry: { type: 'LineString', coordinates: positions.map((position) => [...position]) },
});

const crossingFeature = ({ id, position, ...look }: MapCrossing): Feature<Point> =>
  pointFeature(
    { id, position },
    {
      picture: tagName(look),
      urgency: urgency[look.state] + (look.inTraffic ? 10 : 0),
    },
  );

const pointFeature = (
  { id, position }: { id: string; position: LonLat },
  properties: Record<string, string | number>,
): Feature<Point> => ({
  type: 'Feature',
  properties: { id, ...properties },
  geometry: { type: 'Point', coordinates: [...position] },
});

function style(operation: string, light: Light): StyleSpecification {
  const drawn = {
    type: 'geojson' as const,
    data: { type: 'FeatureCollection' as const, features: [] },
    promoteId: 'id',
  };
  const sources: Record<SourceId, StyleSpecification['sources'][string]> = {
    terrain: {
      type: 'vector',
      tiles: [`${location.origin}/api/operations/${encodeURIComponent(operation)}/tiles/{z}/{x}/{y}`],
      minzoom: FIRST_ZOOM,
      maxzoom: LAST_ZOOM,
    },
    stretch: drawn,
    planned: drawn,
    laid: drawn,
    crossings: drawn,
    crews: drawn,
    here: drawn,
    drop: drawn,
  };
  return { version: 8, sources, layers: layers(light) };
}
