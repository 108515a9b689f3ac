import { expect, it } from 'vitest';
import { conflictWords } from './conflicts.ts';

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
