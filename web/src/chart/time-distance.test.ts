// Worked by hand: a line of 1,000 m on a sheet of 100 by 120 units, two hours, so that a unit is 10 m and a minute.
import { describe, expect, it } from 'vitest';
import { band, end_ms, moments, path, sheet, spaced, type Picture } from './time-distance.ts';

const at = (clock: string) => new Date(`2026-05-04T${clock}:00`).getTime();

const picture: Picture = {
  length_m: 1000,
  from_ms: at('10:00'),
  told_ms: at('12:00'),
  ways: [
    {
      team: 'Lead 1',
      work: 'laying',
      knots: [
        { at_ms: at('10:00'), chainage_m: 0 },
        { at_ms: at('10:30'), chainage_m: 400 },
        { at_ms: at('10:35'), chainage_m: 400 },
        { at_ms: at('11:20'), chainage_m: 1000 },
      ],
    },
  ],
  open: [{ number: 1, chainage_m: 400, passed_ms: at('10:35'), finished_ms: null }],
  calls: [],
  expected: null,
};
const field = { left: 0, top: 0, right: 100, bottom: 120 };
const laying = picture.ways[0]?.knots ?? [];

describe('the sheet of a line’s hours', () => {
  it('has a place for each distance and each moment', () => {
    const on = sheet(picture, field);
    expect(on.x(0)).toBe(0);
    expect(on.x(250)).toBe(25);
    expect(on.x(1000)).toBe(100);
    expect(on.y(at('10:00'))).toBe(0);
    expect(on.y(at('10:45'))).toBe(45);
    expect(on.y(at('12:00'))).toBe(120);
  });

  it('keeps what was reported from beyond an end at that end', () => {
    const on = sheet(picture, field);
    expect(on.x(-20)).toBe(0);
    expect(on.x(1040)).toBe(100);
  });

  it('draws a team straight from report to report, and down while it stands at a crossing', () => {
    expect(path(laying, sheet(picture, field))).toBe('M0 0L40 30L40 35L100 80');
    expect(path(laying.slice(0, 1), sheet(picture, field))).toBe('');
  });

  it('goes on for as long as a crossing is not finished', () => {
    expect(end_ms(picture)).toBe(at('12:00'));
    const open = [{ number: 1, chainage_m: 400, passed_ms: at('10:35'), finished_ms: at('11:00') }];
    expect(end_ms({ ...picture, open })).toBe(at('11:20'));
  });

  it('has room for a forecast, but for no more than twice what happened', () => {
    const expected = (half: string, most: string) => ({
      laying: [{ chainage_m: 1000, half_ms: at(half), most_ms: at(most) }],
      finishing: [],
    });
    expect(end_ms({ ...picture, expected: expected('12:10', '13:00') })).toBe(at('13:00'));
    expect(end_ms({ ...picture, expected: expected('14:00', '18:00') })).toBe(at('14:00'));
  });

  it('closes a forecast’s ground from the start along the half and back along the nine of ten', () => {
    const expected = [
      { chainage_m: 400, half_ms: at('10:20'), most_ms: at('10:40') },
      { chainage_m: 1000, half_ms: at('11:00'), most_ms: at('11:50') },
    ];
    const start = { at_ms: at('10:00'), chainage_m: 0 };
    expect(band(expected, start, sheet(picture, field))).toBe('M0 0L40 20L100 60L100 110L40 40Z');
    expect(band([], start, sheet(picture, field))).toBe('');
  });

  it('is never without a length or a time', () => {
    const none: Picture = { ...picture, length_m: 0, told_ms: at('10:00'), ways: [], open: [] };
    const on = sheet(none, field);
    expect(on.x(0)).toBe(0);
    expect(on.y(at('10:01'))).toBe(120);
  });
});

describe('the marks at its side', () => {
  const written = (all: readonly number[]) => all.map((one) => new Date(one).toTimeString().slice(0, 5));

  it('are whole half hours where these are few enough', () => {
    expect(written(moments(at('10:05'), at('12:10'), 6))).toEqual(['10:30', '11:00', '11:30', '12:00']);
  });

  it('are hours, and then days, of a line that took longer', () => {
    expect(written(moments(at('09:50'), at('15:00'), 6))).toEqual([
      '10:00',
      '11:00',
      '12:00',
      '13:00',
      '14:00',
      '15:00',
    ]);
    const days = moments(at('09:50'), at('09:50') + 5 * 86_400_000, 6);
    expect(written(days)).toEqual(['00:00', '00:00', '00:00', '00:00', '00:00']);
  });
});

describe('the numbers above it', () => {
  it('leave out those that would lie over the one before', () => {
    expect(spaced([0, 10, 20, 21, 45], 17)).toEqual([true, false, true, false, true]);
  });
});
