import { expect, it } from 'vitest';
import { grounds, groundsOf, groundWords, strata, widening } from './strata.ts';

it('each class of the map has its form on paper, and what runs below the ground has none', () => {
  for (const [layer, kind, structure, drawn] of [
    ['line', 'main_highway', undefined, ['main_highway']],
    ['line', 'road', 'bridge', ['bridge', 'road']],
    ['line', 'railway', 'tunnel', []],
    ['line', 'stream', undefined, ['stream']],
    ['line', 'stream', 'culvert', ['culvert']],
    ['line', 'power_line', undefined, ['power_line']],
    ['line', 'coast', undefined, ['coast']],
    ['area', 'water', undefined, ['water']],
    ['area', 'wood', undefined, ['wood']],
    ['own', 'closed_way', undefined, ['own']],
    ['line', 'wall', undefined, []],
    ['line', 'own', undefined, []],
    ['place', 'town', undefined, []],
  ] as const) {
    expect(groundsOf(layer, { kind, structure }), `${layer} ${kind} ${structure}`).toEqual(drawn);
  }
});

it('a printer without colour tells every class from every other, and the wire from all of them', () => {
  const looks = grounds.map((ground) =>
    JSON.stringify(
      strata.flatMap(({ of, width_mm, dash_mm }) => (of === ground ? [[width_mm, dash_mm]] : [])),
    ),
  );
  expect(new Set(looks).size).toBe(grounds.length);
  for (const look of looks) expect(look).not.toBe('[]');
  // Half of ink at the most but for a little: the wire is all ink, and 1 mm wide.
  expect(Math.max(...strata.map(({ ink }) => ink))).toBeLessThanOrEqual(65);
  for (const ground of grounds) expect(groundWords[ground]).not.toBe('');
  // A street is drawn narrower where more of them lie on a sheet.
  expect([5_000, 25_000, 50_000, 250_000].map(widening)).toEqual([1.25, 1, 0.75, 0.5]);
});
