import { expect, it } from 'vitest';
import { lights } from '../ui/tokens.ts';
import { inOrder, layerOrder, layers, sourceIds } from './layers.ts';

it.each(lights)('by %s every layer has its place and draws from a source that is there', (light) => {
  const drawn = layers(light);
  expect(drawn.map((layer) => layer.id)).toEqual(layerOrder);
  for (const layer of drawn) {
    if ('source' in layer) expect(sourceIds).toContain(layer.source);
  }
});

it('a layer without a place is an error, and a place without a layer', () => {
  const drawn = layers('day');
  expect(() => inOrder([...drawn, { id: 'contours', type: 'background' }])).toThrow("'contours'");
  expect(() => inOrder(drawn.slice(1))).toThrow("'paper'");
});

it('the tags lie over the traces, and where I stand over all but what I point at', () => {
  expect(layerOrder.indexOf('crossing')).toBeGreaterThan(layerOrder.indexOf('trace_laid'));
  expect(layerOrder.slice(-2)).toEqual(['here', 'drop']);
});
