/** The page that is looked at now, kept in step with the address. */
import { read, written, type Where } from './address.ts';

let now = $state.raw<Where>(read(location.search));

/** another page was gone to, and its heading has not come up yet */
let leading = false;

addEventListener('popstate', () => {
  now = read(location.search);
  leading = true;
});

export const where = {
  get now(): Where {
    return now;
  },
};

/** Goes to a page; Back leads to where one was. */
export function go(to: Where): void {
  now = to;
  leading = true;
  history.pushState(null, '', location.pathname + written(to));
  scrollTo(0, 0);
}

/**
 * Put on the main heading of every page: whoever works by keyboard or by ear starts at the top of the page that was gone
 * to, and hears what it is. The first page that is opened leaves that to the browser.
 */
export function arrive(heading: HTMLElement): void {
  if (!leading) return;
  leading = false;
  heading.tabIndex = -1;
  heading.focus({ preventScroll: true });
}

/** Looks at something else of the same page: Back leads to where one was before it. */
export function stay(on: Where): void {
  now = on;
  history.replaceState(null, '', location.pathname + written(on));
}
