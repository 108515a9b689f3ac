import { describe, expect, it } from 'vitest';
import { gridReference } from './figures.ts';
import { placeFrom, placesFrom } from './place.ts';

describe('a typed place', () => {
  it('is the middle of the square that its grid reference names', () => {
    // The equator on the prime meridian's zone edge: zone 31 begins at 0° E, whose easting there is
    // 166 021 m (from memory, any UTM table); 31N AA 66021 00000 begins at that corner.
    const [lon, lat] = placeFrom('31N AA 66021 00000') ?? [];
    expect(lon).toBeCloseTo(0, 4);
    expect(lat).toBeCloseTo(0, 4);
  });

  it('comes back as it was read out, in capitals or not, with blanks or without', () => {
    const text = gridReference([-4.632, 54.0965]);
    const place = placeFrom(text ?? '');
    expect(place && gridReference(place)).toBe(text);
    expect(placeFrom((text ?? '').toLowerCase().replaceAll(' ', ''))).toEqual(place);
  });

  it('may be latitude and longitude, latitude first', () => {
    expect(placeFrom('54.09650, -4.63200')).toEqual([-4.632, 54.0965]);
    expect(placeFrom('54.0965° N, 4.632° W')).toEqual([-4.632, 54.0965]);
    expect(placeFrom('33.5° S, 151.2° E')).toEqual([151.2, -33.5]);
  });

  it.each([
    '',
    '30U VF 029',
    '30I VF 02946 01487',
    '99U VF 02946 01487',
    '30U VF 0294 014',
    '95, 4',
    '54.1',
    'the mill',
  ])('is not guessed from %o', (text) => expect(placeFrom(text)).toBeNull());

  it('stands in a list, one to a line, and the line that can not be read is named', () => {
    expect(placesFrom('54.1, -4.6\n\n 54.2, -4.5 \n')).toEqual({
      places: [
        [-4.6, 54.1],
        [-4.5, 54.2],
      ],
      unread: null,
    });
    expect(placesFrom('54.1, -4.6\nthe mill\n54.2, -4.5').unread).toBe('the mill');
  });
});
