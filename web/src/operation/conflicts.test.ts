import { expect, it } from 'vitest';
import type { Entry, LineFeature } from '../api/types.ts';
import { conflictWords, planDrawnAnew } from './conflicts.ts';

it('each conflict says who told what and when, and what to do about it', () => {
  const words = (
    told: Parameters<typeof conflictWords>[0]['told'],
    was: Parameters<typeof conflictWords>[0]['was'],
  ) => conflictWords({ told, was, team: 'Follow-up 2' }, '14:10');
  expect(words('crossing_finished', 'finished')).toBe(
    'Follow-up 2 finished it as well at 14:10. What was done last is what stands here; the log has both.',
  );
  expect(words('crossing_finished', 'in_hand')).toContain('give it back if nothing is left to do');
  expect(words('crossing_passed', 'struck_out')).toContain('Wire lies here');
  expect(words('crossing_struck_out', 'passed')).toContain('wire lies here');
  expect(words('crossing_marked', 'struck_out')).toContain('after all');
});

it('a plan that another drew anew is told until it was read, the newest alone', () => {
  const entry = (sequence: number, team: string, body: object) =>
    ({ sequence, by: { party: 'command_post', team }, report: { body } }) as unknown as Entry;
  const anew = (designation: string) => ({
    kind: 'correction',
    corrects: 'r',
    because: 'marsh',
    instead: { kind: 'line_planned', designation },
  });
  const lines = new Map([['l14', { properties: { designation: '14' } } as unknown as LineFeature]]);
  const entries = [
    entry(9, 'Post', { kind: 'correction', corrects: 'r', because: 'wrong' }),
    entry(8, 'Post', anew('12')),
    entry(7, 'Post', anew('13')),
    entry(6, 'Post', { kind: 'note', text: 'wet' }),
  ];
  expect(planDrawnAnew(entries, lines, 'Lead 1', 0)).toMatchObject({ line: '12', entry: { sequence: 8 } });
  expect(planDrawnAnew(entries, lines, 'Lead 1', 8)).toBeNull();
  expect(planDrawnAnew(entries, lines, 'Post', 0)).toBeNull();
  const issued = entry(10, 'Post', { kind: 'plan_issued', line: 'l14', plan: 2 });
  expect(planDrawnAnew([issued, ...entries], lines, 'Lead 1', 9)).toMatchObject({
    line: '14',
    entry: issued,
  });
});
