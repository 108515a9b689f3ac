/** When something happened, where a device's clock was wrong or its report came late: all three times are told. */
import type { Entry } from '../api/types.ts';
import { clock } from '../ui/figures.ts';

/** A clock that is off by less, or a report that took less, is not worth a word. */
const WORTH_A_WORD_MS = 120_000;

/** The device's time put right by what its clock was off, and never later than it was taken in. */
export function happenedAt({ report, received_at }: Pick<Entry, 'report' | 'received_at'>): Date {
  const right_ms = Date.parse(report.at) - (report.clock_offset_ms ?? 0);
  return new Date(Math.min(right_ms, Date.parse(received_at)));
}

/** What else there is to say of an entry's time; empty where the one time says it all. */
export function otherTimes(entry: Pick<Entry, 'report' | 'received_at'>, now: Date): string {
  const happened_ms = happenedAt(entry).getTime();
  const [device, received] = [new Date(entry.report.at), new Date(entry.received_at)];
  const off = Math.abs(device.getTime() - happened_ms) > WORTH_A_WORD_MS;
  const late = received.getTime() - happened_ms > WORTH_A_WORD_MS;
  return [
    ...(off ? [`${clock(device, now)} by the device’s clock`] : []),
    ...(late || off ? [`received ${clock(received, now)}`] : []),
  ].join(', ');
}
