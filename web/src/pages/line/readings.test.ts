import { describe, expect, it, test } from 'vitest';
import {
  faradsIn,
  faradsWords,
  figureIn,
  ohmsIn,
  ohmsWords,
  temperatureIn,
  temperatureWords,
} from './readings.ts';

describe('what is read off an instrument and typed', () => {
  it.each([
    ['240', 240],
    ['2,5 k', 2500],
    ['2.5 kΩ', 2500],
    ['20 MΩ', 2e7],
    ['20M', 2e7],
    ['100 ohms', 100],
    ['100 MΩ', 1e8],
  ])('%s is a resistance', (text, ohm) => expect(ohmsIn(text)).toBeCloseTo(ohm, 6));

  // A milliohm is no reading of wire: a small m is a slip, and is not guessed at.
  it.each(['', '-3', '20 m', 'open', '1 2', '101 M', '3 V'])('%s is none', (text) =>
    expect(ohmsIn(text)).toBeNull(),
  );

  test('decibels with and without their unit', () => {
    expect(figureIn('12,5', 'dB')).toBe(12.5);
    expect(figureIn('12.5 dB', 'dB')).toBe(12.5);
    expect(figureIn('12.5 m', 'dB')).toBeNull();
  });

  // Water freezes at 32 °F and boils at 212 °F (NIST Special Publication 811, appendix B.8: (F − 32)/1.8).
  it.each([
    ['32', 'miles', 0],
    ['32', 'metric', 32],
    ['50 F', 'metric', 10],
    ['10 °C', 'miles', 10],
    ['−5', 'metric', -5],
  ] as const)('%s on a page in %s is %i °C', (text, units, temperature_c) =>
    expect(temperatureIn(text, units)).toBeCloseTo(temperature_c, 9),
  );

  test('no wire is as hot as boiling water in a report', () => {
    expect(temperatureIn('212 F', 'metric')).toBeNull();
    expect(temperatureWords(100, 'miles')).toBe('212 °F');
  });

  test('a resistance is written to three figures, and what no instrument tells apart as the most', () => {
    expect(['', '0 Ω', '238 Ω', '2.5 kΩ', '1 MΩ', '100 MΩ or more']).toEqual(
      [null, 0, 238.2, 2500, 1e6, 1e8].map(ohmsWords),
    );
  });

  test('a capacitance is typed and written in nanofarads', () => {
    expect(faradsIn('180')).toBeCloseTo(180e-9, 15);
    expect(faradsWords(faradsIn('180 nF') ?? NaN)).toBe('180 nF');
    expect(faradsIn('-1')).toBeNull();
  });
});
