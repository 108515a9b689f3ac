import { expect, test } from 'vitest';
import type { Choice } from '../api/types.ts';
import { WireOverForm } from './wire-over.svelte.ts';

const choice = (...lead: string[]) => ({ lead: lead.map((id) => ({ id, text: id })) }) as unknown as Choice;

test('wire that is said to be clear and not ticked as lifted is told to lie in traffic still', () => {
  const form = new WireOverForm('a', 'metric');
  const overhead = choice('lift', 'spare', 'tag');
  expect(form.notLifted(overhead)).toBe(false);
  form.inTraffic = 'no';
  expect(form.notLifted(overhead)).toBe(true);
  form.tick('lift', true);
  expect(form.notLifted(overhead)).toBe(false);
});

test('where nothing has to be lifted, clear is clear; and wire that lies in traffic is said to already', () => {
  const form = new WireOverForm('a', 'metric');
  form.inTraffic = 'no';
  expect(form.notLifted(choice('through'))).toBe(false);
  form.inTraffic = 'yes';
  expect(form.notLifted(choice('lift'))).toBe(false);
});
