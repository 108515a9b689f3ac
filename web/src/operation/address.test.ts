import { expect, test } from 'vitest';
import { read, written } from './address.ts';

const line = '0192d3c4-0000-7000-8000-000000000001';

test('an address that was written leads back to its page', () => {
  for (const where of [{ page: 'own' }, { page: 'plan', line }, { page: 'line', line }] as const)
    expect(read(written(where))).toEqual(where);
});

test('an address that no page ever wrote leads to one’s own', () => {
  for (const search of [
    '',
    '?page=plan',
    '?page=plan&line=12',
    '?page=line',
    '?page=line&line=12',
    '?page=nothing',
    `?page=own&line=${line}`,
  ])
    expect(read(search)).toEqual({ page: 'own' });
});
