/** Which light this device wears, day or night. It never follows the clock: the wearer chooses. */
import { keep, kept } from './kept.ts';
import { type Light, lights, tokens } from './tokens.ts';

let worn = $state<Light>(kept('light', lights, 'day'));

export const light = {
  get now(): Light {
    return worn;
  },
  wear(next: Light): void {
    worn = next;
    keep('light', next);
    show();
  },
};

/** Puts the light on the page; called once at start and at every change. */
export function show(): void {
  document.documentElement.dataset['light'] = worn;
  let bar = document.querySelector<HTMLMetaElement>('meta[name="theme-color"]');
  if (!bar) {
    bar = document.createElement('meta');
    bar.name = 'theme-color';
    document.head.append(bar);
  }
  bar.content = tokens[worn].paper;
}
