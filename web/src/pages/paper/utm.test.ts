import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { convergence_deg, fromGrid, mercator, onGrid, square, zoneOf } from './utm.ts';

const table = (file: string) =>
  readFileSync(new URL(`../../../../tests/data/${file}`, import.meta.url), 'utf8')
    .trim()
    .split('\n')
    .map((line) => line.split(/[\t ]+/));

it('places come where the published transverse Mercator has them', () => {
  // C. F. F. Karney, Test data for the transverse Mercator projection (2009), doi:10.5281/zenodo.32470. A zone with
  // those of Norway and Svalbard reaches to 6° from its meridian; here to 9°.
  const near = table('TMcoords-first-258.dat')
    .map((line) => line.map(Number))
    .filter(([, lon = 0]) => lon < 9);
  expect(near.length).toBeGreaterThan(10);
  for (const [lat = 0, lon = 0, east_m = 0, north_m = 0, convergence = 0] of near) {
    const found = mercator([lon, lat], 0);
    expect(Math.abs(found.east_m - east_m), `${lat} ${lon}`).toBeLessThan(0.001);
    expect(Math.abs(found.north_m - north_m), `${lat} ${lon}`).toBeLessThan(0.001);
    expect(Math.abs(convergence_deg([lon, lat], 0) - convergence), `${lat} ${lon}`).toBeLessThan(0.02);
  }
});

it('the grid has the letters and metres of the references that GEOTRANS gives', () => {
  const cases = table('geotrans-3.9-position-to-mgrs.tsv').filter(
    ([lat]) => Number(lat) > -80 && Number(lat) < 84,
  );
  expect(cases.length).toBeGreaterThan(1000);
  let compared = 0;
  for (const [lat, lon, reference = ''] of cases) {
    const place: [number, number] = [Number(lon), Number(lat)];
    const zone = zoneOf(place) ?? 0;
    const [, named, letters, east = '', north = ''] =
      /^(\d+)[A-Z]([A-Z]{2})(\d{5})(\d{5})$/.exec(reference) ?? [];
    expect(zone, reference).toBe(Number(named));
    const found = onGrid(place, zone, place[1] < 0);
    // The table's degrees have six digits, 0.06 m; its reference names the square of 1 m.
    const off = (metres: number, cut: string) => {
      const away = (((metres - Number(cut) - 0.5) % 100_000) + 100_000) % 100_000;
      return Math.min(away, 100_000 - away);
    };
    expect(off(found.east_m, east), reference).toBeLessThan(1.2);
    expect(off(found.north_m, north), reference).toBeLessThan(1.2);
    const inside = (metres: number) => metres % 100_000 > 2 && metres % 100_000 < 99_998;
    if (!inside(found.east_m) || !inside(found.north_m)) continue;
    compared += 1;
    expect(square(zone, found), reference).toBe(letters);
  }
  expect(compared).toBeGreaterThan(300);
});

it('a point of the grid is found again as a place', () => {
  // PROJ (gdaltransform of GDAL 3.6.2, OGC:CRS84 to EPSG:32630).
  const [lon, lat] = fromGrid({ east_m: 391_762.278986, north_m: 5_993_975.630152 }, 30, false);
  expect(lon).toBeCloseTo(-4.6545832, 8);
  expect(lat).toBeCloseTo(54.0825816, 8);
  for (const [place, zone] of [
    [[8.9, 83.5], 31],
    [[-0.5, -79.5], 30],
    [[181.5, 5], 60],
    [[2.9, 58], 32],
  ] as const) {
    const found = fromGrid(onGrid([place[0], place[1]], zone, place[1] < 0), zone, place[1] < 0);
    expect(found[0]).toBeCloseTo(place[0], 9);
    expect(found[1]).toBeCloseTo(place[1], 9);
  }
});
