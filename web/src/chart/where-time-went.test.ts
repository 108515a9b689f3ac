// Worked by hand; the line's minutes are made up so that they are tenths and quarters of the whole.
import { describe, expect, it } from 'vitest';
import { pieces } from './where-time-went.ts';

const of = (all: ReturnType<typeof pieces>) => all.map(({ name, from, to }) => [name, from, to]);

describe('where a time went', () => {
  it('lays the parts end to end, and they come to the whole', () => {
    const parts = [
      { name: 'order to start', minutes: 20 },
      { name: 'laying', minutes: 130 },
      { name: 'at crossings', minutes: 50 },
    ];
    expect(of(pieces(parts, 200, 'rest'))).toEqual([
      ['order to start', 0, 0.1],
      ['laying', 0.1, 0.75],
      ['at crossings', 0.75, 1],
    ]);
  });

  it('calls by name what the parts leave', () => {
    expect(of(pieces([{ name: 'laying', minutes: 30 }], 40, 'not told apart'))).toEqual([
      ['laying', 0, 0.75],
      ['not told apart', 0.75, 1],
    ]);
  });

  it('takes a rounding for no time, and a part of no minutes for no part', () => {
    const parts = [
      { name: 'laying', minutes: 39.999 },
      { name: 'waiting', minutes: 0 },
    ];
    expect(pieces(parts, 40, 'rest').map(({ name }) => name)).toEqual(['laying']);
  });

  it('never goes beyond the bar where the parts come to more, and has none where nothing was told', () => {
    const parts = [
      { name: 'laying', minutes: 60 },
      { name: 'at crossings', minutes: 60 },
    ];
    expect(of(pieces(parts, 100, 'rest'))).toEqual([
      ['laying', 0, 0.5],
      ['at crossings', 0.5, 1],
    ]);
    expect(pieces([], 0, 'rest')).toEqual([]);
  });
});
