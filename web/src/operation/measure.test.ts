import { describe, expect, it } from 'vitest';
import { gridReference } from '../ui/figures.ts';
import { latLon } from '../ui/figures.ts';
import { lengthTyped, lengthWritten, placeTyped } from './measure.ts';

describe('a length as it is typed', () => {
  // The foot is 0.3048 m and the mile 1609.344 m exactly (international yard and pound agreement of 1959).
  it.each([
    ['4.3', 'metric', 4.3],
    ['4,3 m', 'metric', 4.3],
    ['15 cm', 'metric', 0.15],
    ['18', 'miles', 5.4864],
    ['18 ft', 'metric', 5.4864],
    ['18 ft 6 in', 'miles', 5.6388],
    ['18\' 6"', 'miles', 5.6388],
    ['18\'6"', 'miles', 5.6388],
    ['6 in', 'miles', 0.1524],
    ['1/4 mi', 'miles', 402.336],
    ['1.6 km', 'miles', 1600],
    ['-1', 'metric', -1],
  ] as const)('%s in %s', (text, units, length_m) => {
    expect(lengthTyped(text, units)).toBeCloseTo(length_m, 9);
  });

  it.each(['', '  ', 'high', '4 yards', '4..3', '4m3', '4 3', '5 ft 6', '1e3', '4 m high', 'NaN', '1/0'])(
    'and %j is none',
    (text) => {
      expect(lengthTyped(text, 'metric')).toBeNull();
    },
  );

  it('stays what it was when it is written into a field and read again', () => {
    for (const units of ['metric', 'miles'] as const) {
      for (const length_m of [5.4864, 4.2672, 0.1524, 30.48]) {
        expect(Math.abs((lengthTyped(lengthWritten(length_m, units), units) ?? NaN) - length_m)).toBeLessThan(
          5e-4,
        );
      }
    }
    expect(lengthWritten(null, 'metric')).toBe('');
  });
});

describe('a place as it is typed', () => {
  const near = [-4.6325814, 54.1009475] as const;
  const reference = gridReference(near);

  it('is the middle of the square that the reference names', () => {
    for (const text of [reference ?? '', (reference ?? '').replaceAll(' ', '').toLowerCase()]) {
      const place = placeTyped(text, null);
      expect(place && gridReference(place)).toBe(reference);
    }
  });

  it('figures alone are read in the square of where I am', () => {
    const figures = reference?.slice(7) ?? '';
    const place = placeTyped(figures, near);
    expect(place && gridReference(place)).toBe(reference);
    expect(placeTyped(figures, null)).toBeNull();
  });

  it('latitude comes first, as it is spoken', () => {
    expect(placeTyped('54.1009, -4.6326', null)).toEqual([-4.6326, 54.1009]);
    expect(placeTyped('95.1, -4.6', null)).toBeNull();
    expect(placeTyped('54.1009° N, 4.6326° W', null)).toEqual([-4.6326, 54.1009]);
    expect(placeTyped('33.9 s 151.2 e', null)).toEqual([151.2, -33.9]);
    expect(placeTyped('-54.1009 N, 4.6326 W', null)).toBeNull();
    expect(placeTyped(latLon([-4.6326, 54.1009]), null)).toEqual([-4.6326, 54.1009]);
  });

  it.each([
    '',
    'rubbish',
    '0,0',
    '54,-46',
    '-4.63 54',
    '30U VF 029',
    '30I VF 02946 01487',
    '99U VF 02946 01487',
    '1',
    '12 34 5',
  ])('%j is no place', (text) => {
    expect(placeTyped(text, near)).toBeNull();
  });
});
