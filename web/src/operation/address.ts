/**
 * Which page somebody looks at in place of their own. It stands in the address, so that Back, a reload and a link that is
 * sent to somebody else lead to it; a page is named there, and what it is about.
 */

export type Where =
  | { page: 'own' }
  | { page: 'plan' | 'forecast'; line: string }
  /** the operation as it stood after an entry of its log; after the last one where none is named */
  | { page: 'replay'; after?: number };

const id = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;
const sequence = /^\d{1,12}$/;

/** What an address asks for; whatever it asks for that is no page leads to one's own. */
export function read(search: string): Where {
  const asked = new URLSearchParams(search);
  const page = asked.get('page');
  const line = asked.get('line') ?? '';
  if ((page === 'plan' || page === 'forecast') && id.test(line)) return { page, line };
  if (page === 'replay') {
    const after = asked.get('after') ?? '';
    return sequence.test(after) ? { page, after: Number(after) } : { page };
  }
  return { page: 'own' };
}

export function written(where: Where): string {
  if (where.page === 'own') return '';
  return `?${new URLSearchParams(Object.entries(where).map(([name, value]) => [name, String(value)])).toString()}`;
}
