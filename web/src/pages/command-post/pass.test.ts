import { expect, test, vi } from 'vitest';
import { joinLink, read } from './pass.ts';

const secret = '2345-6789-ABCD-EFGH-JKLM-NPQR-STUV';

test('a pass leads to the address that the service was told, not to the one that the post’s own page came from', () => {
  vi.stubGlobal('location', { origin: 'https://localhost:8474' });
  const reach = { address: 'https://wire.example:8474', authority: null };
  expect(joinLink(reach, secret)).toBe(`https://wire.example:8474/join#${secret}`);
  expect(joinLink({ ...reach, address: null }, secret)).toBe(`https://localhost:8474/join#${secret}`);
  expect(joinLink(null, secret)).toBe(`https://localhost:8474/join#${secret}`);
});

test('a fingerprint is read out in rows of eight pairs, and none is lost', () => {
  const pairs = Array.from({ length: 32 }, (_, n) => (n + 100).toString(16).toUpperCase());
  const rows = read(pairs.join(':'));
  expect(rows).toHaveLength(4);
  expect(rows.flatMap((row) => row.split(' '))).toEqual(pairs);
});
