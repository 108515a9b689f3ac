import { expect, it } from 'vitest';
import type { Report } from './outbox.ts';
import { readUnsentFile, unsentFile, UnsentFileError } from './unsent-file.ts';

const report: Report = {
  id: '01920000-0000-7000-8000-000000000001',
  at: '2026-05-04T08:00:00.000Z',
  clock_offset_ms: -1_500,
  made_by: null,
  position: [-4.67, 54.08],
  body: { kind: 'note', text: 'wet' } as Report['body'],
};
const file = {
  operation: '01920000-0000-7000-8000-00000000000a',
  sender: { party: 'lead_team', team: 'Lead 1' },
  reports: [
    report,
    { ...report, id: '01920000-0000-7000-8000-000000000002', position: null, clock_offset_ms: null },
  ],
};
const at = new Date('2026-05-04T08:10:00Z');
const { name, text } = unsentFile(file, at);

it('what one device writes another reads', () => {
  expect(readUnsentFile(text)).toEqual(file);
  expect(name).toBe('laywire-unsent-lead-1-2026-05-04-0810.json');
});

it('a file that is none, is newer, damaged, empty or too large is told apart in words', () => {
  const changed = (change: object) => JSON.stringify({ ...(JSON.parse(text) as object), ...change });
  for (const [bad, says] of [
    ['', 'no file of unsent reports'],
    ['{"laywire":"lines"}', 'no file of unsent reports'],
    [text.slice(0, -40), 'no file of unsent reports'],
    [changed({ version: 2 }), 'newer version'],
    [changed({ operation: 'x' }), 'damaged'],
    [changed({ sender: { party: 'lead_team', team: 'x'.repeat(41) } }), 'damaged'],
    [changed({ reports: [] }), 'no report'],
    [changed({ reports: Array(5_001).fill(report) }), '5001 reports'],
    ['x'.repeat(5_000_001), 'too large'],
  ] as const) {
    expect(() => readUnsentFile(bad), bad.slice(0, 60)).toThrow(UnsentFileError);
    expect(() => readUnsentFile(bad), bad.slice(0, 60)).toThrow(says);
  }
});

it('of a file with one damaged report nothing is taken, and it says which', () => {
  for (const damage of [
    { id: 'one' },
    { at: 'soon' },
    { position: [-4.67] },
    { position: [-4.67, 91] },
    { body: null },
    { body: { text: 'no kind' } },
    { body: { kind: 'note', text: 'x'.repeat(100_001) } },
  ]) {
    const bad = unsentFile({ ...file, reports: [report, { ...report, ...damage } as Report] }, at).text;
    expect(() => readUnsentFile(bad), JSON.stringify(damage).slice(0, 60)).toThrow(
      'Report 2 in the file is damaged',
    );
  }
});

it('nothing comes in with a report but what a report has', () => {
  const more = unsentFile(
    { ...file, reports: [{ ...report, order: 7, seen: true } as unknown as Report] },
    at,
  ).text;
  expect(readUnsentFile(more).reports).toEqual([report]);
});
