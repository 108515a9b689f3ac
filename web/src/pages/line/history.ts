/**
 * A line's entries out of the operation's log. The log is read from the newest on, a page at a time; entries have
 * numbers without gaps, so that it is known how far down it has been read.
 */
import type { Body, CrossingFeature, Entry } from '../../api/types.ts';

type Crossings = ReadonlyMap<string, CrossingFeature>;

/** Whether the report names the line, or a crossing on it. */
function names(body: Body, line: string, crossings: Crossings): boolean {
  const said = body as Partial<Record<'line' | 'crossing', string | null>>;
  if (said.line) return said.line === line;
  return typeof said.crossing === 'string' && crossings.get(said.crossing)?.properties.line === line;
}

/** The entries that are about the line, the newest first, with what takes one of them back or puts it right. */
export function ofLine(entries: Iterable<Entry>, line: string, crossings: Crossings): Entry[] {
  const own: Entry[] = [];
  const ids = new Set<string>();
  for (const entry of [...entries].sort((a, b) => a.sequence - b.sequence)) {
    const { body, id } = entry.report;
    const about =
      body.kind === 'correction'
        ? ids.has(body.corrects) || (!!body.instead && names(body.instead, line, crossings))
        : names(body, line, crossings);
    if (!about) continue;
    ids.add(id);
    own.push(entry);
  }
  return own.reverse();
}

/** The number below which nothing has been read yet: 1 when all has. Null where nothing has been read. */
export function readDownTo(sequences: Iterable<number>): number | null {
  const known = new Set(sequences);
  if (known.size === 0) return null;
  let down = Math.max(...known);
  while (known.has(down - 1)) down -= 1;
  return down;
}
