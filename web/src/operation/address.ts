/**
 * Which page somebody looks at in place of their own. It stands in the address, so that Back, a reload and a link that is
 * sent to somebody else lead to it; a page is named there, and what it is about.
 */

export type Where = { page: 'own' } | { page: 'review' } | { page: 'plan'; line: string };

const id = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;

/** What an address asks for; whatever it asks for that is no page leads to one's own. */
export function read(search: string): Where {
  const asked = new URLSearchParams(search);
  const page = asked.get('page');
  const line = asked.get('line') ?? '';
  if (page === 'review') return { page };
  if (page === 'plan' && id.test(line)) return { page, line };
  return { page: 'own' };
}

export function written(where: Where): string {
  if (where.page === 'own') return '';
  return `?${new URLSearchParams(where).toString()}`;
}
