import { expect, test } from 'vitest';
import { linePages, operationPages, read, written } from './address.ts';

const line = '0192d3c4-0000-7000-8000-000000000001';

test('an address that was written leads back to its page', () => {
  for (const where of [
    { page: 'own' },
    { page: 'replay' },
    { page: 'replay', after: 4711 },
    ...operationPages.map((page) => ({ page })),
    ...linePages.map((page) => ({ page, line })),
    { page: 'forecast', line, plan: 12 },
  ] as const)
    expect(read(written(where))).toEqual(where);
});

test('an address that no page ever wrote leads to one’s own', () => {
  for (const search of ['', '?page=plan', '?page=line&line=12', '?page=nothing', `?page=own&line=${line}`])
    expect(read(search)).toEqual({ page: 'own' });
  expect(read('?page=replay&after=-1')).toEqual({ page: 'replay' });
  for (const plan of ['0', '-1', '1.5', '10000', 'two'])
    expect(read(`?page=forecast&line=${line}&plan=${plan}`)).toEqual({ page: 'forecast', line });
  expect(read(`?page=plan&line=${line}&plan=2`)).toEqual({ page: 'plan', line });
});
