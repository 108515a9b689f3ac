/** Whether this device says 'done' so that a hand in a glove feels it, where it can. The wearer chooses. */
import { keep, kept } from '../ui/kept.ts';

const choices = ['on', 'off'] as const;
let chosen = $state<(typeof choices)[number]>(kept('vibration', choices, 'on'));

export const vibration = {
  get on(): boolean {
    return chosen === 'on';
  },
  choose(on: boolean): void {
    chosen = on ? 'on' : 'off';
    keep('vibration', chosen);
  },
  done(): void {
    if (chosen === 'on' && 'vibrate' in navigator) navigator.vibrate(60);
  },
};
