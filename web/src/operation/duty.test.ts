import { expect, test } from 'vitest';
import { may } from './duty.ts';

// As server/craft/src/duty.rs has it.
test('an observer is offered nothing, and only the command post hands a line over', () => {
  expect(may('observer', 'note')).toBe(false);
  expect(may('command_post', 'line_handed_over')).toBe(true);
  for (const team of ['lead_team', 'follow_up_team'] as const) {
    expect(may(team, 'line_handed_over')).toBe(false);
    expect(may(team, 'test_made')).toBe(true);
    expect(may(team, 'trouble_cleared')).toBe(true);
  }
  expect(may('lead_team', 'line_proved')).toBe(true);
  expect(may('follow_up_team', 'line_proved')).toBe(false);
});
