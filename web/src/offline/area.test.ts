import { describe, expect, it } from 'vitest';
import { covers, tileAt, tileCount, tilesOf, widened, type Box } from './area.ts';

describe('the tile that a place lies in', () => {
  // Centres of tiles in longitude and latitude, by ST_TileEnvelope and ST_Transform of PostGIS 3.3.
  it.each([
    [5, 15, 10, -5.6249999999999964, 52.48278022207821],
    [10, 498, 326, -4.746093750000004, 54.470037612805754],
    [12, 3637, 1612, 139.70214843750003, 35.71083783530008],
    [13, 3990, 2610, -4.636230468750007, 54.50832650029075],
    [15, 15963, 10441, -4.6197509765625036, 54.51151562248606],
    [15, 0, 0, -179.9945068359375, 85.05065487982755],
    [15, 32_767, 32_767, 179.9945068359375, -85.05065487982755],
  ])('at zoom %i is %i, %i', (z, x, y, lon, lat) => {
    expect(tileAt([lon, lat], z)).toEqual({ z, x, y });
  });

  it('is the last one at the edge of the world, and not the one after', () => {
    expect(tileAt([180, -90], 5)).toEqual({ z: 5, x: 31, y: 31 });
    expect(tileAt([-180, 90], 5)).toEqual({ z: 5, x: 0, y: 0 });
  });
});

describe('the tiles of an area', () => {
  const box: Box = [-4.67, 54.08, -4.635, 54.095];

  it('are as many as were counted, each once, the widest views first', () => {
    const tiles = tilesOf(box);
    expect(tiles).toHaveLength(tileCount(box));
    expect(new Set(tiles.map(({ z, x, y }) => `${z}/${x}/${y}`)).size).toBe(tiles.length);
    expect(tiles.map(({ z }) => z)).toEqual(tiles.map(({ z }) => z).sort((a, b) => a - b));
    expect(tiles.at(0)?.z).toBe(5);
    expect(tiles.at(-1)?.z).toBe(15);
  });

  it('have every place of the box at every zoom', () => {
    const had = new Set(tilesOf(box).map(({ z, x, y }) => `${z}/${x}/${y}`));
    for (let step = 0; step <= 10; step += 1) {
      const at = [
        box[0] + (step / 10) * (box[2] - box[0]),
        box[1] + (step / 10) * (box[3] - box[1]),
      ] as const;
      for (let z = 5; z <= 15; z += 1) {
        const { x, y } = tileAt(at, z);
        expect(had.has(`${z}/${x}/${y}`)).toBe(true);
      }
    }
  });

  it('are about a quarter as many without the closest view, where the area is large', () => {
    const large = widened(box, 10_000);
    expect(tileCount(large, 14)).toBeLessThan(tileCount(large) / 3);
  });
});

describe('a margin', () => {
  it('is at least as wide as it was asked, on every side', () => {
    // At 54° N a degree is 111,295 m from south to north and 65,578 m from west to east (WGS 84; from memory,
    // to 0.1 %): 2 km are 0.01797 and 0.0305 degrees.
    const [west, south, east, north] = widened([-4.6, 54, -4.6, 54], 2_000);
    expect(54 - south).toBeGreaterThanOrEqual(0.01797);
    expect(54 - south).toBeLessThan(0.0183);
    expect(north - 54).toBeCloseTo(54 - south, 9);
    expect(-4.6 - west).toBeGreaterThanOrEqual(0.0305);
    expect(-4.6 - west).toBeLessThan(0.0311);
    expect(east + 4.6).toBeCloseTo(-4.6 - west, 9);
  });

  it('never leaves the world', () => {
    expect(widened([-180, -85, 180, 85], 100_000)).toEqual([-180, -85.05, 180, 85.05]);
  });

  it('holds the box that it was laid around, and not the other way', () => {
    const box: Box = [-4.67, 54.08, -4.635, 54.095];
    expect(covers(widened(box, 1), box)).toBe(true);
    expect(covers(box, widened(box, 1))).toBe(false);
  });
});
