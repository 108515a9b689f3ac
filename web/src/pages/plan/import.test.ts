import { describe, expect, it } from 'vitest';
import { readTraceFile, Unreadable } from './import.ts';

const read = (value: unknown) => readTraceFile('trace.geojson', JSON.stringify(value));
const line = (...coordinates: unknown[]) => ({ type: 'LineString', coordinates });

describe('a trace out of a GeoJSON file', () => {
  it('is its lines in their order, with what each place has beside longitude and latitude left out', () => {
    // RFC 7946, sections 3.1.4, 3.1.5, 3.2 and 3.3: a third coordinate is the height.
    const file = {
      type: 'FeatureCollection',
      features: [
        { type: 'Feature', properties: null, geometry: line([1, 2, 30], [3, 4, 31]) },
        { type: 'Feature', properties: {}, geometry: { type: 'Point', coordinates: [9, 9] } },
        {
          type: 'Feature',
          properties: {},
          geometry: {
            type: 'MultiLineString',
            coordinates: [
              [
                [3, 4],
                [5, 6],
              ],
              [[7, 8]],
            ],
          },
        },
      ],
    };
    expect(read(file)).toEqual([
      [1, 2],
      [3, 4],
      [5, 6],
      [7, 8],
    ]);
    expect(read({ type: 'GeometryCollection', geometries: [line([1, 2], [3, 4])] })).toEqual([
      [1, 2],
      [3, 4],
    ]);
  });

  it('is refused with what is wrong', () => {
    for (const [file, why] of [
      ['{', 'neither GeoJSON nor GPX'],
      ['null', 'no line'],
      [JSON.stringify({ type: 'Point', coordinates: [1, 2] }), 'no line'],
      [JSON.stringify(line([1, 2])), 'no line'],
      [JSON.stringify(line([1, 2], [1, 2])), 'no line'],
      [JSON.stringify(line([1, 2], ['east', 4])), 'is no place'],
      [JSON.stringify(line([1, 2], [500_000, 6_000_000])), 'is no place'],
      [JSON.stringify(line([1, 2], 7)), 'not two numbers'],
      [JSON.stringify({ type: 'LineString', coordinates: 'here' }), 'no list'],
      [JSON.stringify(line(...Array.from({ length: 20_001 }, (_, n) => [n / 1e6, 1]))), 'more than 20000'],
      ['['.repeat(200_000), 'neither GeoJSON nor GPX'],
      [' '.repeat(5_000_001), '5 MB'],
    ] as const) {
      expect(() => readTraceFile('trace.geojson', file), why).toThrow(Unreadable);
      expect(() => readTraceFile('trace.geojson', file)).toThrow(why);
    }
  });
});
