/**
 * Which page somebody looks at in place of their own. It stands in the address, so that Back, a reload and a link that is
 * sent to somebody else lead to it; a page is named there, and what it is about.
 */

/** Pages about one line. */
export const linePages = ['plan', 'line', 'recovery', 'paper', 'forecast'] as const;
/** Pages about the whole operation. */
export const operationPages = ['stores', 'review', 'forecasts'] as const;

export type LinePage = (typeof linePages)[number];
export type OperationPage = (typeof operationPages)[number] | 'replay';

export type Where =
  | { page: 'own' }
  | { page: (typeof operationPages)[number] }
  /** the operation as it stood after an entry of its log; after the last one where none is named */
  | { page: 'replay'; after?: number }
  | { page: Exclude<LinePage, 'forecast'>; line: string }
  /** as the line stands, or by one of its saved plans before the start */
  | { page: 'forecast'; line: string; plan?: number };

const id = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;
const sequence = /^\d{1,12}$/;
const version = /^[1-9]\d{0,3}$/;

/** What an address asks for; whatever it asks for that is no page leads to one's own. */
export function read(search: string): Where {
  const asked = new URLSearchParams(search);
  const line = asked.get('line') ?? '';
  const after = asked.get('after') ?? '';
  const name = asked.get('page');
  if (name === 'replay') return sequence.test(after) ? { page: name, after: Number(after) } : { page: name };
  const ofAll = operationPages.find((page) => page === name);
  if (ofAll) return { page: ofAll };
  const ofLine = linePages.find((page) => page === name);
  if (!ofLine || !id.test(line)) return { page: 'own' };
  const plan = asked.get('plan') ?? '';
  return ofLine === 'forecast' && version.test(plan)
    ? { page: ofLine, line, plan: Number(plan) }
    : { page: ofLine, line };
}

export function written(where: Where): string {
  if (where.page === 'own') return '';
  const named = Object.entries(where).map(([name, value]) => [name, String(value)]);
  return `?${new URLSearchParams(named).toString()}`;
}
