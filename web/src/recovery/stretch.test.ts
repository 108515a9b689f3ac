import { describe, expect, it } from 'vitest';
import { chainageWritten, MOST_WIRE_M, stretchTyped, wireTyped } from './stretch.ts';

describe('a stretch as it is typed', () => {
  it('has its near end first, whichever was written first', () => {
    const stretch = { from_m: 400, to_m: 1_200 };
    expect(stretchTyped('400', '1.2 km', 'metric')).toEqual({ stretch });
    expect(stretchTyped('1200', '400 m', 'metric')).toEqual({ stretch });
  });

  it('is in feet where feet are shown, and in whatever unit is written', () => {
    // The foot is 0.3048 m exactly (international yard and pound agreement of 1959).
    expect(stretchTyped('1000', '500 m', 'miles')).toEqual({ stretch: { from_m: 304.8, to_m: 500 } });
  });

  it('has an end as it was offered where that was not written over', () => {
    const offered = { from_m: 0, to_m: 1_190.4 };
    expect(stretchTyped('0', '1190', 'metric', offered)).toEqual({ stretch: offered });
    expect(stretchTyped('0', '1191', 'metric', offered)).toEqual({ stretch: { from_m: 0, to_m: 1_191 } });
  });

  it('is asked for again beside the end that cannot be read', () => {
    expect(Object.keys(stretchTyped('', '400', 'metric'))).toEqual(['from']);
    expect(Object.keys(stretchTyped('-5', 'far', 'metric'))).toEqual(['from', 'to']);
    expect(Object.keys(stretchTyped('400', '400', 'metric'))).toEqual(['to']);
  });

  it('is offered to the metre or the foot, which are read again as they stand', () => {
    expect([chainageWritten(1_234.4, 'metric'), chainageWritten(1_234.4, 'miles')]).toEqual(['1234', '4050']);
  });
});

describe('how much wire it is, as it is typed', () => {
  it('is in feet where feet are shown, and in whatever unit is written', () => {
    // The foot is 0.3048 m exactly (international yard and pound agreement of 1959).
    expect([wireTyped('1000', 'miles'), wireTyped('1.2 km', 'miles')]).toEqual([304.8, 1_200]);
  });

  it('is more than nothing, and no more than one report may name', () => {
    expect(wireTyped(String(MOST_WIRE_M), 'metric')).toBe(MOST_WIRE_M);
    for (const text of ['', '0', '-5', 'a reel', String(MOST_WIRE_M + 1)])
      expect(wireTyped(text, 'metric'), text).toBeNull();
  });
});
