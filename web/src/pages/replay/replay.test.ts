import { expect, test } from 'vitest';
import type { OperationReplay } from '../../api/types.ts';
import { chance, madeUp, type History } from './made-up.ts';
import { entryWords, IDLE_MS, Played, PlayedTime, rowAt, timesOf, type Moment } from './replay.ts';

test('a row is found by halving as by going through them', () => {
  const random = chance(1);
  for (let round = 0; round < 200; round += 1) {
    const numbers = Array.from({ length: round % 9 }, () => Math.floor(random() * 12)).sort((a, b) => a - b);
    for (let most = -1; most < 13; most += 1)
      expect(rowAt(numbers, most)).toBe(numbers.filter((number) => number <= most).length - 1);
  }
});

/** A moment without what is only words, to be held against the fold. */
function plain({ lines, content }: Moment): unknown {
  return {
    lines: new Map(
      lines.map(({ id, state, strip }) => [
        id,
        {
          state,
          laid_m: strip.laid_m,
          designation: strip.designation,
          planned: content.planned.find((trace) => trace.id === id)?.positions ?? null,
          laid: content.laid.find((trace) => trace.id === id)?.positions ?? null,
          crossings: new Map(strip.crossings.map((crossing) => [crossing.id, crossing])),
        },
      ]),
    ),
    places: new Map(content.crossings.map(({ id, position, state }) => [id, { position, state }])),
  };
}

function folded({ replay, folded: fold }: History, entries: number): unknown {
  const { lines, crossings } = fold(entries);
  const marks = ['L1', 'F1', 'F2'];
  const idOf = (number: number) => replay.crossings[number]?.crossing;
  return {
    lines: new Map(
      [...lines].map(([number, line]) => [
        replay.lines[number]?.line,
        {
          state: line.state,
          laid_m: line.laid_m,
          designation: `Line ${line.designation}`,
          planned: line.trace,
          laid: line.laid.length > 1 ? line.laid : null,
          crossings: new Map(
            [...crossings]
              .filter(([, crossing]) => crossing.line === number)
              .map(([of, { chainage_m, state, construction, inTraffic, team }]) => [
                idOf(of),
                {
                  id: idOf(of),
                  obstacle: 'road',
                  chainage_m,
                  state,
                  construction,
                  inTraffic,
                  team: team === null ? null : marks[team],
                },
              ]),
          ),
        },
      ]),
    ),
    places: new Map(
      [...crossings].map(([number, { position, state }]) => [idOf(number), { position, state }]),
    ),
  };
}

test('any moment of a random history is what folding its entries one by one comes to', () => {
  for (let seed = 1; seed <= 8; seed += 1) {
    const history = madeUp(seed, 400, 1 + (seed % 4), 3 + seed);
    const played = new Played(history.replay);
    const random = chance(seed);
    // In any order, so that what is kept of the moment before is of another one each time.
    const moments = [0, 1, 400, ...Array.from({ length: 24 }, () => Math.floor(random() * 401))];
    for (const sequence of moments)
      expect(plain(played.at(sequence)), `seed ${seed}, after ${sequence}`).toEqual(
        folded(history, sequence),
      );
  }
});

test('what did not change from one moment to the next is the same object, so that nothing is drawn for it', () => {
  const played = new Played(madeUp(3, 400, 3, 10).replay);
  const before = played.at(200);
  expect(played.at(200)).toEqual(before);
  expect(played.at(200).content).toBe(before.content);
  expect(played.at(200).lines).toBe(before.lines);
  const after = played.at(201);
  const changed = after.lines.filter((line, number) => line !== before.lines[number]);
  expect(changed.length).toBeLessThanOrEqual(1);
});

test('the lines stand by their numbers, and not by when they were planned', () => {
  const { lines } = new Played(madeUp(1, 10, 3, 2).replay).at(3);
  expect(lines.map(({ strip }) => strip.designation)).toEqual(['Line 98', 'Line 99', 'Line 100']);
});

test('a plan is as long as the service says, where it is the plan that stands now', () => {
  const { replay } = madeUp(2, 1, 1, 0);
  const [line] = replay.lines;
  if (line?.plans[0])
    line.plans[0].trace = [
      [-4.6, 54],
      [-4.6, 54.01],
    ];
  // 0.01° of latitude at 54° N: 1,113.0 m (WGS 84: the meridian’s radius there, 6,377,250 m, times the arc; worked by hand).
  expect(new Played(replay).at(1).lines[0]?.strip.planned_m).toBeCloseTo(1113, 0);
  expect(new Played(replay, () => 1234).at(1).lines[0]?.strip.planned_m).toBe(1234);
});

const told = (happened_ms: number[], received_ms = happened_ms): OperationReplay => ({
  ...madeUp(1, 0, 0, 0).replay,
  sequence: happened_ms.length,
  entries: {
    sequence: happened_ms.map((_, row) => row + 1),
    received_ms,
    happened_ms,
    kind: happened_ms.map(() => 0),
    line: happened_ms.map(() => null),
    crossing: happened_ms.map(() => null),
    team: happened_ms.map(() => 0),
  },
});

test('what was told late comes at once, and the clock never runs backwards', () => {
  const time = new PlayedTime(told([0, 60_000, 10_000, 90_000]), false);
  expect([...time.places_ms]).toEqual([0, 60_000, 60_000, 90_000]);
  expect(time.entryAt(59_999)).toBe(0);
  expect(time.entryAt(60_000)).toBe(2);
  expect(time.length_ms).toBe(90_000);
});

test('what happened before the first entry was taken in begins the time', () => {
  const time = new PlayedTime(told([-5_000, 0]), false);
  expect([...time.places_ms]).toEqual([0, 5_000]);
  expect(time.clockAt(0).toISOString()).toBe('2026-03-04T05:59:55.000Z');
});

test('idle time is skipped, and the clock runs faster through what is left of it', () => {
  const night_ms = 8 * 3_600_000;
  const time = new PlayedTime(told([0, 30_000, 30_000 + night_ms]), true);
  expect([...time.places_ms]).toEqual([0, 30_000, 30_000 + IDLE_MS]);
  expect(time.clockAt(30_000 + IDLE_MS / 2).toISOString()).toBe('2026-03-04T10:00:30.000Z');
  expect(time.clockAt(time.length_ms).toISOString()).toBe('2026-03-04T14:00:30.000Z');
});

test('a log without an entry has a time of no length', () => {
  const time = new PlayedTime(told([]), true);
  expect([time.length_ms, time.entryAt(0)]).toEqual([0, -1]);
});

test('an entry is told with who made it, what it is about, and when', () => {
  const { replay } = madeUp(5, 40, 1, 3);
  const row = replay.entries.crossing.findIndex((crossing) => crossing !== null);
  expect(entryWords(replay, row, 'metric')).toMatch(
    /^(Lead|Follow-up) \d: crossing foreseen, the road at .* of line 100$/,
  );
  expect(entryWords(replay, -1, 'metric')).toBe('Nothing was reported yet');
  expect(timesOf(told([0, 1_000], [0, 61_000]), 1)).toEqual({
    happened: new Date('2026-03-04T06:00:01Z'),
    received: new Date('2026-03-04T06:01:01Z'),
  });
});

test('a correction says which entry it takes back', () => {
  const replay = {
    ...told([0, 1_000]),
    kinds: ['note' as const, 'correction' as const],
    corrections: [{ sequence: 2, corrects: 1 }],
  };
  replay.entries.kind = [0, 1];
  expect(entryWords(replay, 1, 'metric')).toBe('Lead 1: entry 1, “note”, taken back or changed');
});
