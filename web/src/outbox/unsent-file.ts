/**
 * Reports that a device could not send, as a file for another device: a phone without a signal hands them to
 * one that has it. The reports keep their ids, so that whoever sends them first, they stand once. Reading
 * checks the shape and the bounds; whether a report may stand is the service's business.
 */
import type { Maker, Report } from './outbox.ts';

/** What the file says it is. */
const MARK = 'unsent reports';
const VERSION = 1;

/** Bytes and reports that a file may have: more than a device makes in a week. */
const MOST_TEXT = 5_000_000;
const MOST_REPORTS = 5_000;
const MOST_OF_ONE = 100_000;

export interface UnsentFile {
  operation: string;
  sender: Maker;
  reports: Report[];
}

/** Why a file can't be taken, in words for whoever chose it. */
export class UnsentFileError extends Error {
  override readonly name = 'UnsentFileError';
}

/** Its name and its text. */
export const unsentFile = (file: UnsentFile, at = new Date()): { name: string; text: string } => ({
  name: unsentFileName(file.sender, at),
  text: writeUnsentFile(file, at),
});

function writeUnsentFile({ operation, sender, reports }: UnsentFile, at: Date): string {
  return JSON.stringify({
    laywire: MARK,
    version: VERSION,
    operation,
    sender,
    written_at: at.toISOString(),
    reports,
  });
}

/** 'laywire-unsent-lead-1-2026-05-04-0810.json' */
function unsentFileName(sender: Maker, at: Date): string {
  const team = sender.team
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '');
  return `laywire-unsent-${team || 'team'}-${at.toISOString().slice(0, 16).replace('T', '-').replace(':', '')}.json`;
}

export function readUnsentFile(text: string): UnsentFile {
  if (text.length > MOST_TEXT)
    throw new UnsentFileError('The file is too large to be one of unsent reports.');
  const file = object(parsed(text));
  if (file?.['laywire'] !== MARK) {
    throw new UnsentFileError(
      'That is no file of unsent reports: choose the one that was saved on the other device.',
    );
  }
  if (file['version'] !== VERSION) {
    throw new UnsentFileError(
      'The file was saved by a newer version of this page: reload this page, then choose it again.',
    );
  }
  const { operation, reports } = file;
  const sender = maker(file['sender']);
  if (typeof operation !== 'string' || !UUID.test(operation) || !sender || !Array.isArray(reports)) {
    throw new UnsentFileError('The file is damaged: save it again on the other device.');
  }
  if (reports.length === 0) throw new UnsentFileError('There is no report in the file: all were sent.');
  if (reports.length > MOST_REPORTS) {
    throw new UnsentFileError(`The file has ${reports.length} reports, more than ${MOST_REPORTS}.`);
  }
  return { operation, sender, reports: reports.map(report) };
}

const UUID = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i;

function parsed(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

const object = (value: unknown): Record<string, unknown> | null =>
  typeof value === 'object' && value !== null && !Array.isArray(value)
    ? (value as Record<string, unknown>)
    : null;

function maker(value: unknown): Maker | null {
  const { party, team } = object(value) ?? {};
  const short = (text: unknown): text is string =>
    typeof text === 'string' && text.length > 0 && text.length <= 40;
  return short(party) && short(team) ? { party, team } : null;
}

const between = (value: unknown, most: number): value is number =>
  typeof value === 'number' && Number.isFinite(value) && Math.abs(value) <= most;

/** One report, with nothing in it but what a report has. */
function report(value: unknown, index: number): Report {
  const { id, at, position, body, clock_offset_ms, made_by } = object(value) ?? {};
  const said = object(body);
  const whole =
    typeof id === 'string' &&
    UUID.test(id) &&
    typeof at === 'string' &&
    at.length <= 40 &&
    !Number.isNaN(Date.parse(at)) &&
    said !== null &&
    typeof said['kind'] === 'string' &&
    JSON.stringify(said).length <= MOST_OF_ONE;
  const place = Array.isArray(position) ? (position as unknown[]) : null;
  const [lon, lat] = place ?? [];
  if (!whole || (place && !(place.length === 2 && between(lon, 180) && between(lat, 90)))) {
    throw new UnsentFileError(
      `Report ${index + 1} in the file is damaged. Nothing was taken: save the file again on the other device.`,
    );
  }
  return {
    id: id.toLowerCase(),
    at,
    clock_offset_ms: Number.isSafeInteger(clock_offset_ms) ? (clock_offset_ms as number) : null,
    made_by: maker(made_by),
    position: place ? [lon as number, lat as number] : null,
    body: said as unknown as Report['body'],
  };
}
