import { describe, expect, it } from 'vitest';
import { lights, textPairs, tokens, tokensCss } from './tokens.ts';

/** Relative luminance and contrast ratio as WCAG 2.2 defines them (w3.org/TR/WCAG22, 'relative luminance'). */
function luminance(hex: string): number {
  const [red, green, blue] = [1, 3, 5].map((at) => {
    const channel = Number.parseInt(hex.slice(at, at + 2), 16) / 255;
    return channel <= 0.04045 ? channel / 12.92 : ((channel + 0.055) / 1.055) ** 2.4;
  }) as [number, number, number];
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
}

function contrast(one: string, other: string): number {
  const [dark, bright] = [luminance(one), luminance(other)].sort((a, b) => a - b) as [number, number];
  return (bright + 0.05) / (dark + 0.05);
}

it('the yardstick itself: black on white is 21:1 and #767676 on white 4.54:1 (WebAIM, from memory)', () => {
  expect(contrast('#000000', '#ffffff')).toBeCloseTo(21, 6);
  expect(contrast('#767676', '#ffffff')).toBeCloseTo(4.54, 2);
});

describe.each(lights)('by %s', (light) => {
  it.each(textPairs)('%s on %s can be read in sunlight (7:1)', (text, ground) => {
    expect(contrast(tokens[light][text], tokens[light][ground])).toBeGreaterThanOrEqual(7);
  });

  it('what is drawn in ink stands out from its ground (3:1, criterion 1.4.11)', () => {
    for (const mark of ['ink', 'hazard', 'mine'] as const) {
      for (const ground of ['paper', 'paperRaised', 'water', 'wood', 'roadFill', 'highwayFill'] as const) {
        expect(contrast(tokens[light][mark], tokens[light][ground])).toBeGreaterThanOrEqual(3);
      }
    }
  });
});

it('night gives off far less light than day', () => {
  expect(luminance(tokens.night.paper)).toBeLessThan(luminance(tokens.day.paper) / 100);
});

it('the page gets every colour of both lights', () => {
  const css = tokensCss();
  expect(css).toContain(`--paper-raised:${tokens.day.paperRaised}`);
  expect(css).toContain(`--paper-raised:${tokens.night.paperRaised}`);
});
