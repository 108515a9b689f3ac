/** The page that is looked at now, kept in step with the address. */
import { read, written, type Where } from './address.ts';

let now = $state.raw<Where>(read(location.search));

addEventListener('popstate', () => (now = read(location.search)));

export const where = {
  get now(): Where {
    return now;
  },
};

/** Goes to a page; Back leads to where one was. */
export function go(to: Where): void {
  now = to;
  history.pushState(null, '', location.pathname + written(to));
  scrollTo(0, 0);
}

/** Looks at something else of the same page: Back leads to where one was before it. */
export function stay(on: Where): void {
  now = on;
  history.replaceState(null, '', location.pathname + written(on));
}
