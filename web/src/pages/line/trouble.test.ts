import { readFileSync } from 'node:fs';
import { describe, expect, it, test } from 'vitest';
import type { LineFeature, TroubleStep } from '../../api/types.ts';
import type { LonLat } from '../../map/RouteMap.ts';
import { distance_m, length_m } from '../../operation/ground.ts';
import {
  answeredBody,
  clearedBody,
  measuredBody,
  measurings,
  partOf,
  signs,
  signsWords,
  stepWords,
  type Measuring,
} from './trouble.ts';

const line = { properties: { from: 'Post', to: 'Mill exchange' } } as LineFeature;

interface Shape {
  properties: Record<string, unknown>;
  required?: string[];
  enum?: string[];
  oneOf?: { required: string[]; properties: Record<string, { $ref: string }> }[];
}
const api = JSON.parse(readFileSync(new URL('../../../openapi.json', import.meta.url), 'utf8')) as {
  components: { schemas: Record<string, Shape> };
};
const { schemas } = api.components;

describe('the readings that are asked for', () => {
  const tests = schemas['FaultTest']?.oneOf ?? [];

  test('every test of the service has its form', () => {
    expect(tests.map(({ required }) => required[0]).sort()).toEqual(Object.keys(measurings).sort());
  });

  it.each(tests.map(({ required, properties }) => [required[0] as Measuring, properties] as const))(
    'of %s bear the service’s names, and those that it needs are needed',
    (kind, properties) => {
      const shape = schemas[properties[kind]?.$ref.split('/').at(-1) ?? ''];
      const asked = measurings[kind].readings;
      expect(Object.keys(shape?.properties ?? {})).toEqual(
        expect.arrayContaining(asked.map(({ key }) => key)),
      );
      expect(asked.filter(({ needed }) => needed).map(({ key }) => key)).toEqual(shape?.required);
    },
  );

  test('every sign has its words', () => {
    expect([...signs].sort()).toEqual([...(schemas['Sign']?.enum ?? [])].sort());
  });
});

describe('a step of the search', () => {
  test('what answered from a place goes out in metres', () => {
    expect(answeredBody({ chainage: '1 mi', near: 'yes', far: 'no' }, 'l', 'miles')).toEqual({
      body: {
        kind: 'trouble_narrowed',
        line: 'l',
        // One mile: 1609.344 m (international yard and pound agreement of 1959).
        finding: { answered: { chainage_m: 1609.344, near_answers: true, far_answers: false } },
      },
    });
  });

  test('nothing is taken for an answer that nobody gave', () => {
    const made = answeredBody({ chainage: 'here', near: 'yes', far: null }, 'l', 'metric');
    expect(Object.keys('problems' in made ? made.problems : {})).toEqual(['chainage', 'far']);
  });

  test('readings go out under the test that they are of', () => {
    const typed = { near_open_ohm: '2 k', near_joined_ohm: '1.9 k', far_open_ohm: '' };
    expect(measuredBody({ kind: 'leak', typed, path: 'earth', wet: true }, 'l')).toEqual({
      body: {
        kind: 'trouble_narrowed',
        line: 'l',
        finding: {
          measured: {
            test: { leak: { near_open_ohm: 2000, near_joined_ohm: 1900, path: 'earth' } },
            wet: true,
          },
        },
      },
    });
    const none = measuredBody({ kind: 'murray', typed: { faulty_arm: 'x' }, path: 'pair', wet: false }, 'l');
    expect(Object.keys('problems' in none ? none.problems : {})).toEqual(['faulty_arm', 'sound_arm']);
  });

  it.each([
    [true, false, 'from 2.10 km, Post answered and Mill exchange did not'],
    [false, true, 'from 2.10 km, Mill exchange answered and Post did not'],
    [true, true, 'from 2.10 km, both Post and Mill exchange answered'],
    [false, false, 'from 2.10 km, neither Post nor Mill exchange answered'],
  ])('is told in words: %s and %s', (near_answers, far_answers, words) => {
    const finding = { answered: { chainage_m: 2100, near_answers, far_answers } };
    expect(stepWords({ finding } as TroubleStep, line, 'metric')).toBe(words);
  });

  test('readings are told with their figures', () => {
    const finding = { measured: { test: { short: { near_ohm: 96, far_ohm: null } } } };
    expect(stepWords({ finding } as TroubleStep, line, 'metric')).toBe(
      'short measured: at the near end 96 Ω',
    );
  });
});

test('trouble is cleared only with a fault and its cause, and its place only when it was on the wire', () => {
  const made = clearedBody({ fault: null, cause: ' ', chainage: '', cut: false }, 'l', 'metric');
  expect(Object.keys('problems' in made ? made.problems : {})).toEqual(['fault', 'cause']);
  expect(
    clearedBody({ fault: 'open', cause: 'cut by a plough ', chainage: '', cut: true }, 'l', 'metric'),
  ).toEqual({
    body: { kind: 'trouble_cleared', line: 'l', fault: 'open', cause: 'cut by a plough', cut: true },
  });
});

test('signs are told in one sentence', () => {
  expect(signsWords(['crank_easy', 'nothing_passes'])).toBe(
    'the crank turns very easily; neither ring nor talk passes',
  );
});

describe('the stretch on the map', () => {
  // Two legs to the north of one minute of latitude each: a nautical mile, 1852 m, to within half a percent.
  const trace: LonLat[] = [
    [-4.6, 54],
    [-4.6, 54 + 1 / 60],
    [-4.6, 54 + 2 / 60],
  ];

  test('is the part of the trace between its ends', () => {
    const part = partOf(trace, 926, 2778);
    expect(part).toHaveLength(3);
    expect(Math.abs(length_m(part.map(([lon, lat]) => [lon, lat])) - 1852)).toBeLessThan(0.1);
    expect(Math.abs(distance_m([-4.6, 54], part[0] ?? [0, 0]) - 926)).toBeLessThan(0.1);
  });

  test('ends with the trace, and is nothing where the trace does not reach', () => {
    expect(partOf(trace, 0, 1e6).at(-1)).toEqual(trace[2]);
    expect(partOf(trace, 1e5, 1e6)).toEqual([]);
    expect(partOf([], 0, 10)).toEqual([]);
  });
});
