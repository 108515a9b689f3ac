import { expect, it } from 'vitest';
import type { LineFeature, LineTests, LineTrouble, PlacedTag } from '../../api/types.ts';
import {
  circuit,
  inRows,
  labelText,
  ohms,
  onWire,
  placeAt,
  stripParts,
  testRows,
  troubleRows,
  written,
} from './records.ts';

const at = '2026-11-26T10:00:00Z';
// Two legs of 0.01° along a meridian, some 1,113 m each (by hand, with WGS 84's radius of 6,377.3 km at 54° N).
const line = {
  type: 'Feature',
  id: 'l',
  geometry: null,
  properties: {
    designation: '12',
    from: 'Post',
    to: 'Mill exchange',
    length_m: 3_000,
    laid_length_m: 2_226.3,
    laid: [
      [-4.6, 54],
      [-4.6, 54.01],
      [-4.6, 54.02],
    ],
    reels: [
      { id: 'a', label: 'Drum 1', length_m: 1_600, from_chainage_m: 0 },
      { id: 'b', label: 'Drum 2', length_m: 1_600, from_chainage_m: 1_333.3 },
    ],
    splices: [{ chainage_m: 1_333.3, at }],
    call_backs: [{ at, chainage_m: 900, team: 'Lead 1' }],
    watch: null,
    started_at: at,
    through_at: null,
  },
} as unknown as LineFeature;
const tag = (number: number, chainage_m: number, where: string): PlacedTag =>
  ({
    number,
    marking: '12',
    chainage_m,
    at: where,
    words: 'before the road',
    grid: '30U UE 92881 96510',
    crossing: null,
    position: null,
  }) as PlacedTag;

it('a place of the wire is found by its chainage, and none where no wire lies', () => {
  expect(placeAt(line, 0)).toEqual([-4.6, 54]);
  expect(placeAt(line, 2_226.3 / 4)?.[1]).toBeCloseTo(54.005, 5);
  expect(placeAt(line, 2_226.3)?.[1]).toBeCloseTo(54.02, 6);
  expect(placeAt(line, 2_300)).toBeNull();
});

it('the wire’s things stand in their order, the ends outermost', () => {
  const things = onWire(line, [tag(3, 900, 'test_point'), tag(4, 1_000, 'before_crossing')], 'metric');
  expect(things.map(({ mark }) => mark)).toEqual(['end', 'reel', 'call', 'test', 'reel', 'splice', 'end']);
  expect(things.at(-1)?.words).toBe('Mill exchange');
});

it('a splice where a reel was put on is one place of the circuit, and every length adds up', () => {
  const nodes = circuit(line, [tag(3, 900, 'test_point')], 'metric');
  expect(nodes.map(({ marks }) => marks)).toEqual([['end', 'reel'], ['test'], ['reel', 'splice'], ['end']]);
  const sum = nodes.reduce((metres, { from_last_m }) => metres + (from_last_m ?? 0), 0);
  expect(sum).toBeCloseTo(3_000, 6);
});

it('a line without length has both its ends', () => {
  const short = {
    ...line,
    properties: { ...line.properties, length_m: 0, reels: [], splices: [], call_backs: [] },
  };
  expect(circuit(short, [], 'metric').map(({ words }) => words)).toEqual([['Post'], ['Mill exchange']]);
});

it('a strip is cut so that each part can be read, and the parts make the whole', () => {
  expect(stripParts(4_900, 9)).toEqual([{ from_m: 0, to_m: 4_900 }]);
  const parts = stripParts(21_000, 12);
  expect(parts).toHaveLength(5);
  expect(parts.at(-1)?.to_m).toBe(21_000);
  for (const [index, part] of parts.entries())
    expect(part.from_m).toBeCloseTo(parts[index - 1]?.to_m ?? 0, 6);
  expect(stripParts(0, 0)).toHaveLength(1);
  expect(inRows([1, 2, 3, 4, 5], 2)).toEqual([[1, 2], [3, 4], [5]]);
});

it('the log of tests has the calls back among the tests, and says what was bad', () => {
  const tests = {
    tests: [
      {
        test: {
          after: 'splice',
          at: '2026-11-26T09:00:00Z',
          chainage_m: 1_333,
          from: 'along',
          is_final: false,
          quality: 'noisy',
          rang: true,
          readings: {
            loop_ohm: 212.4,
            insulation_ohm: 2_500_000,
            loss_db: null,
            temperature_c: 8,
            instrument: null,
            telephone: null,
            weather: null,
            wire: null,
          },
          spoke: true,
          team: 'Lead 1',
          to_whom: 'Post',
        },
        judged: {
          verdict: 'worse',
          parts: [
            { what: 'call', verdict: 'worse', words: 'it is noisy' },
            { what: 'loop', verdict: 'good', words: 'the loop is as it should be' },
          ],
          expected: {},
        },
      },
    ],
  } as unknown as LineTests;
  const rows = testRows(line, tests, 'metric');
  expect(rows.map(({ who }) => who)).toEqual(['Lead 1 to Post', 'Lead 1']);
  expect(rows[0]).toMatchObject({
    where: '1.33 km along, after a splice',
    heard: 'rang, spoke, noisy',
    read: 'loop 212.4 Ω, insulation 2.5 MΩ, at 8 °C',
    verdict: 'worse than it should be: it is noisy',
  });
  expect([ohms(999), ohms(1_000), ohms(47_300)]).toEqual(['999 Ω', '1 kΩ', '47.3 kΩ']);
});

it('a trouble is told from its first sign to its clearing', () => {
  const trouble = {
    cleared: [
      {
        told: [
          { at: '2026-11-26T11:00:00Z', team: 'Post', signs: ['crank_easy'], remark: 'since the lorry' },
        ],
        steps: [
          {
            at: '2026-11-26T11:20:00Z',
            team: 'Follow-up 1',
            finding: { answered: { chainage_m: 900, near_answers: true, far_answers: false } },
            stretch: { from_m: 900, to_m: 3_000 },
            told_nothing: null,
          },
        ],
        cleared: [
          {
            at: '2026-11-26T11:50:00Z',
            team: 'Follow-up 1',
            fault: 'open',
            cause: 'cut by a wheel',
            cut: true,
            chainage_m: 1_050,
          },
        ],
        stretch: { from_m: 900, to_m: 3_000 },
      },
    ],
    open: null,
  } as unknown as LineTrouble;
  const rows = troubleRows(trouble, 'metric');
  expect(rows.map(({ what }) => what)).toEqual([
    'Trouble: the crank turns very easily. since the lorry',
    'From 900 m along the near end answers, the far end does not answer',
    'Cleared. open: a conductor is parted. Cause: cut by a wheel. The wire was cut',
  ]);
  expect(rows[1]?.where).toBe('left to search: 900 m to 3.00 km');
  expect(rows.every(({ number }) => number === 1)).toBe(true);
});

it('a label’s code says what the label says', () => {
  expect(labelText(line, tag(2, 707.4, 'before_crossing'))).toBe(
    'Line 12, tag 2, before the road, 707 m along, 30U UE 92881 96510, Post to Mill exchange',
  );
});

it('a time on paper has its day, and says how far its clock is from UTC', () => {
  expect(written(new Date(2026, 10, 26, 9, 5))).toBe('2026-11-26 09:05');
  expect(written(new Date(2026, 10, 26, 9, 5), true)).toMatch(/^2026-11-26 09:05 \(UTC[+-]\d\d:\d\d\)$/);
});
