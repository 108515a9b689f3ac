/** Finding a moment among 100,000 entries, with 8 lines and 200 crossings; the goal is 100 ms at the most. */
import { bench, describe } from 'vitest';
import { chance, madeUp } from './made-up.ts';
import { Played, PlayedTime } from './replay.ts';

const entries = 100_000;
const { replay } = madeUp(1, entries, 8, 200);
const random = chance(2);

describe('100,000 entries, 8 lines, 200 crossings', () => {
  const played = new Played(replay);
  bench('seek to any moment', () => {
    played.at(Math.floor(random() * (entries + 1)));
  });
  let next = 0;
  bench('step to the next entry', () => {
    played.at((next = (next + 1) % entries));
  });
  bench('open the replay', () => {
    new Played(replay).at(entries);
  });
  bench('lay out the time that is played', () => {
    new PlayedTime(replay, true);
  });
});
