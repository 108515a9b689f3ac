import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import * as figures from './figures.ts';

describe('distance', () => {
  it.each([
    [0, '0 m'],
    [-0.2, '0 m'],
    [180.4, '180 m'],
    [999.6, '1.00 km'],
    [1150, '1.15 km'],
    [12_345, '12.3 km'],
    [Number.NaN, 'not known'],
  ])('%d m is %s', (length_m, text) => expect(figures.distance(length_m, 'metric')).toBe(text));

  it.each([
    [30.48, '100 ft'],
    // 1 mi = 1609.344 m (international yard and pound agreement of 1959)
    [1609.344, '1.00 mi'],
    [804.672, '0.50 mi'],
    [40_233.6, '25.0 mi'],
  ])('%d m is %s in miles', (length_m, text) => expect(figures.distance(length_m, 'miles')).toBe(text));
});

describe('height', () => {
  it('14 ft and 18 ft, kept in metres, read back whole', () => {
    for (const feet of [14, 18]) {
      expect(figures.height(feet * figures.FOOT_M, 'miles')).toBe(`${feet} ft`);
      expect(figures.heightNeeded(feet * figures.FOOT_M, 'miles')).toBe(`${feet} ft`);
    }
  });
  it('a wire never reads higher than it hangs', () => {
    expect(figures.height(4.2659, 'miles')).toBe('13 ft 11 in');
    expect(figures.height(4.2699, 'metric')).toBe('4.26 m');
  });
  it('a rule never reads lower than it is', () => {
    expect(figures.heightNeeded(4.2672, 'metric')).toBe('4.27 m');
    expect(figures.heightNeeded(5.4864, 'metric')).toBe('5.49 m');
    expect(figures.heightNeeded(4.3, 'miles')).toBe('14 ft 2 in');
  });
});

it('durations', () => {
  expect([0, 59, 60, 3599, 3600, 5400, 90_000].map(figures.duration)).toEqual([
    '0 min',
    '0 min',
    '1 min',
    '59 min',
    '1 h 00 min',
    '1 h 30 min',
    '1 d 1 h',
  ]);
});

it('the clock says the day when it is not today', () => {
  const now = new Date(2026, 2, 14, 14, 32);
  expect(figures.clock(new Date(2026, 2, 14, 9, 5), now)).toBe('09:05');
  expect(figures.clock(new Date(2026, 2, 13, 23, 59), now)).toBe('2026-03-13 23:59');
});

it('compass points', () => {
  expect([0, 22.4, 22.6, 90, 180, 337.6, 360, -45].map(figures.compassPoint)).toEqual([
    'N',
    'N',
    'NE',
    'E',
    'S',
    'N',
    'N',
    'NW',
  ]);
});

describe('grid reference', () => {
  // 16,620 places converted by GEOTRANS 3.9, as npm geographiclib-mgrs 1.0.4 carries them.
  const rows = readFileSync(
    'node_modules/geographiclib-mgrs/test/geotrans3.9-output/geoToMgrs_WE.txt',
    'utf8',
  )
    .split('\n')
    .slice(3)
    .map((row) => row.split('\t'))
    .filter((row) => row.length > 13)
    .map((row) => ({ lat: Number(row[7]), lon: Number(row[8]), reference: row[13]?.trim() ?? '' }));

  it('is the one that GEOTRANS 3.9 gives, or at a tie the square beside it, within 1 m', () => {
    const inside = rows.filter(({ lat }) => lat >= -80 && lat < 84);
    expect(inside.length).toBeGreaterThan(16_000);
    let apart = 0;
    for (const { lat, lon, reference } of inside) {
      const ours = figures.gridReference([lon, lat])?.replaceAll(' ', '') ?? '';
      if (ours === reference) continue;
      apart += 1;
      expect(ours.slice(0, 5)).toBe(reference.slice(0, 5));
      for (const from of [5, 10]) {
        const off = Number(ours.slice(from, from + 5)) - Number(reference.slice(from, from + 5));
        expect(Math.abs(off), `${lat} ${lon}`).toBeLessThanOrEqual(1);
      }
    }
    expect(apart / inside.length).toBeLessThan(0.01);
  });

  it('is cut, not rounded, when it is shortened', () => {
    for (const { lat, lon } of rows.filter(({ lat: at }) => at >= -80 && at < 84).slice(0, 500)) {
      const [zone, square, easting, northing] = figures.gridReference([lon, lat])?.split(' ') ?? [];
      expect(figures.gridReference([lon, lat], 3)).toBe(
        `${zone} ${square} ${easting?.slice(0, 3)} ${northing?.slice(0, 3)}`,
      );
    }
  });

  it('is none at the poles, nor for a place that is no place', () => {
    expect(figures.gridReference([0, 85])).toBeNull();
    expect(figures.gridReference([0, -80.5])).toBeNull();
    expect(figures.gridReference([Number.NaN, 54])).toBeNull();
    expect(figures.gridReference([181, 54])).toBeNull();
  });
});

it('latitude is said first', () => {
  expect(figures.latLon([-4.67, 54.08])).toBe('54.08000° N, 4.67000° W');
});

it('round lengths for ticks and scales', () => {
  const label = (length_m: number, units: figures.Units) => figures.roundLength(length_m, units).label;
  expect([0.7, 7, 999, 1000, 2400, 51_000].map((length_m) => label(length_m, 'metric'))).toEqual([
    '0.5 m',
    '5 m',
    '500 m',
    '1 km',
    '2 km',
    '50 km',
  ]);
  expect([100, 900, 1700, 20_000].map((length_m) => label(length_m, 'miles'))).toEqual([
    '200 ft',
    '0.5 mi',
    '1 mi',
    '10 mi',
  ]);
});

describe('what the service says', () => {
  const low = 'The wire hangs at 4.26 m and a road asks for at least 4.27 m: raise it and measure again.';

  it('stays in metres where metres are shown', () => {
    expect(figures.saidIn(low, 'metric')).toBe(low);
  });

  it('is said in feet where feet are: what is asked rounded up, what was measured down', () => {
    // 14 ft is 4.2672 m, and the words have 4.27.
    expect(figures.saidIn(low, 'miles')).toBe(
      'The wire hangs at 13 ft 11 in and a road asks for at least 14 ft: raise it and measure again.',
    );
  });

  it('speaks of a long way as a way', () => {
    const far = 'The first is at 4600.00 m along.';
    expect(figures.saidIn(far, 'metric')).toBe('The first is at 4.60 km along.');
    expect(figures.saidIn(far, 'miles')).toBe('The first is at 2.86 mi along.');
  });

  it('leaves alone what stands in both units already', () => {
    for (const text of ['at least 15.5 ft (4.72 m)', 'an overlap of 1.52 m (5 ft)']) {
      expect(figures.saidIn(text, 'miles')).toBe(text);
    }
  });
});

it('a pull is in newtons or in pounds', () => {
  expect(figures.pull(444.82, 'metric')).toBe('445 N');
  expect(figures.pull(444.82, 'miles')).toBe('100 lb');
  expect(figures.pull(25, 'miles')).toBe('5.6 lb');
});
