// The mile is 1,609.344 m and the foot 0.3048 m exactly (international yard and pound agreement of 1959).
import { expect, test } from 'vitest';
import { minutes, rate, wire } from './figures.ts';

test('short times are told to the tenth of a minute, others to the minute', () => {
  expect([0, 2.24, 9.94, 9.95, 34.5, 59.4].map(minutes)).toEqual([
    '0.0 min',
    '2.2 min',
    '9.9 min',
    '10 min',
    '35 min',
    '59 min',
  ]);
  expect([59.6, 109.3, 215.2].map(minutes)).toEqual(['1 h 00 min', '1 h 49 min', '3 h 35 min']);
});

test('rates and wire are told in the chosen units', () => {
  expect(rate(1.609344, 'metric')).toBe('1.61 km/h');
  expect(rate(1.609344, 'miles')).toBe('1.00 mph');
  expect(wire(1600.4, 'metric')).toBe('1600 m');
  expect(wire(304.8, 'miles')).toBe('1000 ft');
});
