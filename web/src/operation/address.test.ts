import { expect, test } from 'vitest';
import { read, written } from './address.ts';

const line = '0192d3c4-0000-7000-8000-000000000001';

test('an address that was written leads back to its page', () => {
  for (const where of [
    { page: 'own' },
    { page: 'plan', line },
    { page: 'forecast', line },
    { page: 'replay' },
    { page: 'replay', after: 0 },
    { page: 'replay', after: 31 },
  ] as const)
    expect(read(written(where))).toEqual(where);
});

test('an address that no page ever wrote leads to one’s own', () => {
  for (const search of [
    '',
    '?page=plan',
    '?page=plan&line=12',
    '?page=forecast',
    '?page=nothing',
    `?page=own&line=${line}`,
  ])
    expect(read(search)).toEqual({ page: 'own' });
});

test('an entry that is no number leads to the last one', () => {
  for (const after of ['', '-1', '1.5', 'x'])
    expect(read(`?page=replay&after=${after}`)).toEqual({ page: 'replay' });
});
