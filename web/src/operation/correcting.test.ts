import { expect, it } from 'vitest';
import type { Body, Guide } from '../api/types.ts';
import { asNote, askedOf, putRight, written } from './correcting.ts';

const item = (id: string) => ({ id, text: id, source: '' });
const guides = [
  {
    obstacle: 'dirt_road',
    hard_surface: false,
    allowed: [
      { construction: 'buried', lead: [item('tags')], finish: [item('tags'), item('fill')] },
      { construction: 'overhead_poles', lead: [item('tags')], finish: [item('tie')] },
    ],
    refused: [],
  },
] as unknown as Guide[];
const ground = { obstacle: 'dirt_road', hard_surface: false, construction: 'buried' } as const;
const shallow: Body = { kind: 'crossing_finished', crossing: 'c', depth_m: 0.1, done: ['tags'] };

it('a trench that was too shallow is dug deeper, and the rest stays as it was told', () => {
  const asked = askedOf(shallow, ground, guides);
  expect(asked.map((one) => one.key)).toEqual(['construction', 'clearance_m', 'depth_m', 'done']);
  const said = written(shallow, asked, 'metric');
  expect(said).toEqual({ construction: '', clearance_m: '', depth_m: '0.1', done: ['tags'] });
  const right = putRight(shallow, asked, { ...said, depth_m: '20 cm', done: ['fill', 'tags'] }, 'metric');
  expect(right).toEqual({
    body: { ...shallow, construction: null, clearance_m: null, depth_m: 0.2, done: ['tags', 'fill'] },
  });
});

it('with another way of crossing the list is that way’s', () => {
  const asked = askedOf({ ...shallow, construction: 'overhead_poles' }, ground, guides);
  expect(asked.at(-1)).toMatchObject({ as: 'list', items: [{ id: 'tie' }] });
});

it('what can not be read as a length, or has to be said, is told at its field', () => {
  const asked = askedOf(shallow, ground, guides);
  const said = written(shallow, asked, 'metric');
  expect(putRight(shallow, asked, { ...said, depth_m: 'deep' }, 'metric')).toMatchObject({
    problems: { depth_m: expect.stringContaining('length') as string },
  });
  const struck: Body = { kind: 'crossing_struck_out', crossing: 'c', because: 'dry' };
  expect(putRight(struck, askedOf(struck, ground, guides), { because: ' ' }, 'metric')).toHaveProperty(
    'problems.because',
  );
});

it('a section that came up is put right in its ends, its reel and its wire, and keeps its splices', () => {
  const up: Body = {
    kind: 'section_taken_up',
    line: 'l',
    from_m: 0,
    to_m: 90_000,
    onto: 'R 1',
    length_m: 500,
    splices: 3,
  };
  const asked = askedOf(up, null, guides);
  const said = written(up, asked, 'metric');
  expect(said).toEqual({ from_m: '0', to_m: '90000', onto: 'R 1', length_m: '500' });
  expect(putRight(up, asked, { ...said, to_m: '400 m' }, 'metric')).toEqual({ body: { ...up, to_m: 400 } });
});

it('a report with nothing to put right can still be told as a note, about what is known here', () => {
  const taken: Body = { kind: 'crossing_taken', crossing: 'c' };
  expect(askedOf(taken, ground, guides)).toEqual([]);
  const note = asNote(taken, 'taken in hand', '08:00', 'It is finished.', () => true);
  expect(note).toEqual({
    kind: 'note',
    crossing: 'c',
    text: 'Not recorded, as told at 08:00: taken in hand. It is finished.',
  });
  const struck: Body = { kind: 'crossing_struck_out', crossing: 'c', because: 'x'.repeat(490) };
  const long = asNote(struck, 'struck out', '08:00', 'There is no such crossing.', () => false);
  expect(long).not.toHaveProperty('crossing');
  expect((long as { text: string }).text).toHaveLength(500);
});
