import { expect, test } from 'vitest';
import { usual } from './crews.ts';
import { draftKept, keepDraft, type Draft } from './draft.ts';

function shelf(full = false) {
  const on = new Map<string, string>();
  return {
    getItem: (name: string) => on.get(name) ?? null,
    setItem: (name: string, value: string) => {
      if (full) throw new DOMException('full', 'QuotaExceededError');
      on.set(name, value);
    },
  };
}

const draft: Draft = {
  places: [
    [-4.6, 54.1],
    [-4.5, 54.2],
  ],
  changes: [
    ['road "osm way 4" 1', { construction: 'through_culvert', because: 'The culvert is dry.' }],
    ['stream "osm way 9" 1', null],
  ],
  earlier: [],
  crews: { ...usual(), light: 'night', leadPeople: '6' },
  remark: 'by the north road',
};

test('what was drawn, changed and said comes back whole, each line’s by itself', () => {
  const window = shelf();
  keepDraft('line 12', draft, window);
  expect(draftKept('line 12', window)).toEqual(draft);
  expect(draftKept('line 14', window)).toBeNull();
});

test('a window without room forgets, and what cannot be read is drawn anew', () => {
  const full = shelf(true);
  keepDraft('line 12', draft, full);
  expect(draftKept('line 12', full)).toBeNull();
  for (const odd of ['{', 'null', '7', '[[-4.6,54.1]]', '{"places":3}']) {
    expect(draftKept('x', { getItem: () => odd, setItem: () => undefined })).toBeNull();
  }
});

test('a draft that says less has what is usual', () => {
  const kept = draftKept('x', { getItem: () => '{"places":[[-4.6,54.1]]}', setItem: () => undefined });
  expect(kept).toEqual({ places: [[-4.6, 54.1]], changes: [], earlier: [], crews: usual(), remark: '' });
});
