import { expect, it } from 'vitest';
import { metresPerPixel, scaleBar } from './scale.ts';

// The OpenStreetMap wiki's table 'Zoom levels' gives 156,543.03 m a pixel at zoom 0 and 4.777 at zoom 15
// for tiles of 256 pixels (from memory); with tiles of 512 those are zoom -1 and 14.
it('a pixel is as long as published for the equator, and half of that at 60° north', () => {
  expect(metresPerPixel(0, -1)).toBeCloseTo(156_543.03, 2);
  expect(metresPerPixel(0, 14)).toBeCloseTo(4.777, 3);
  expect(metresPerPixel(60, 14)).toBeCloseTo(4.777 / 2, 3);
});

it('the bar is round and fits its room', () => {
  for (const units of ['metric', 'miles'] as const) {
    for (let zoom = 5; zoom <= 18; zoom += 0.37) {
      const { width, label } = scaleBar(54.2, zoom, 110, units);
      expect(width).toBeLessThanOrEqual(110 + 1e-9);
      expect(width).toBeGreaterThan(20);
      expect(label).toMatch(/^(0\.5|[125]0*) (m|km|ft|mi)$/);
    }
  }
});
