import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { delay_ms, openFeed, type FeedEvent, type FeedState } from './feed.ts';

/** As much of an EventSource as a browser would show, moved by hand. */
class Wire extends EventTarget {
  static readonly CLOSED = 2;
  static opened: Wire[] = [];
  readyState = 0;
  onopen: (() => void) | null = null;
  onerror: (() => void) | null = null;

  readonly address: string;

  constructor(address: string) {
    super();
    this.address = address;
    Wire.opened.push(this);
  }

  close() {
    this.readyState = Wire.CLOSED;
  }

  refuse() {
    this.readyState = Wire.CLOSED;
    this.onerror?.();
  }

  send(sequence: number | '', data: string) {
    this.dispatchEvent(new MessageEvent('entry', { data, lastEventId: String(sequence) }));
  }
}

let page: EventTarget;
let waiting: { run: () => void; delay: number }[] = [];
let events: FeedEvent[] = [];
let states: FeedState[] = [];
let resyncs = 0;

beforeEach(() => {
  page = new EventTarget();
  vi.stubGlobal('window', page);
  vi.stubGlobal('EventSource', Wire);
  Wire.opened = [];
  waiting = [];
  events = [];
  states = [];
  resyncs = 0;
});

afterEach(() => vi.unstubAllGlobals());

function open(after = 0) {
  return openFeed(
    {
      address: '/feed',
      after,
      onevent: (event) => events.push(event),
      onresync: () => (resyncs += 1),
      onstate: (state) => states.push(state),
    },
    {
      open: (address) => new Wire(address) as unknown as EventSource,
      later: (run, delay) => {
        const entry = { run, delay };
        waiting.push(entry);
        return () => (waiting = waiting.filter((other) => other !== entry));
      },
      chance: () => 0.5,
    },
  );
}

const last = () => Wire.opened.at(-1) as Wire;

it('asks for what comes after the last sequence applied', () => {
  open(41);
  expect(last().address).toBe('/feed?after=41');
  last().send(42, '{"a":1}');
  expect(events).toEqual([{ sequence: 42, entry: { a: 1 } }]);
});

it('gives nothing twice, also when a reconnect sends it again', () => {
  open();
  for (const sequence of [1, 2, 2, 1, 3]) last().send(sequence, 'null');
  expect(events.map((event) => event.sequence)).toEqual([1, 2, 3]);
});

it('tries again by itself after a break, and does not leave it to the browser, which asks every few seconds', () => {
  open();
  const first = last();
  first.onopen?.();
  first.send(7, 'null');
  first.onerror?.();
  expect(first.readyState).toBe(Wire.CLOSED);
  expect(states.at(-1)).toBe('connecting');
  expect(waiting).toHaveLength(1);
  waiting.shift()?.run();
  expect(Wire.opened).toHaveLength(2);
  expect(last().address).toBe('/feed?after=7');
});

it('says that it is lost when the service says no', () => {
  open();
  last().refuse();
  expect(states.at(-1)).toBe('lost');
  expect(waiting).toHaveLength(1);
});

it('is not live any more when the device has no network, though the stream says nothing', () => {
  open();
  last().onopen?.();
  page.dispatchEvent(new Event('offline'));
  page.dispatchEvent(new Event('offline'));
  expect(states.at(-1)).toBe('connecting');
  expect(waiting).toHaveLength(1);
  page.dispatchEvent(new Event('online'));
  expect(Wire.opened).toHaveLength(2);
});

it('waits longer each time, and as at first again once it was connected', () => {
  open();
  const delays: number[] = [];
  for (let attempt = 0; attempt < 7; attempt += 1) {
    last().refuse();
    const next = waiting.shift();
    delays.push(next?.delay ?? NaN);
    next?.run();
  }
  expect(delays).toEqual([750, 1500, 3000, 6000, 12_000, 22_500, 22_500]);
  last().onopen?.();
  last().refuse();
  expect(waiting[0]?.delay).toBe(750);
});

it('the chance in a delay never halves it more than once nor exceeds 30 s', () => {
  expect(delay_ms(0, 0)).toBe(500);
  expect(delay_ms(40, 0.999)).toBeLessThan(30_000);
});

it('does not wait when the signal is back', () => {
  open();
  last().refuse();
  page.dispatchEvent(new Event('online'));
  expect(Wire.opened).toHaveLength(2);
  expect(waiting).toHaveLength(0);
});

it('says when what was missed is gone, once, and is closed then', () => {
  open();
  const wire = last();
  wire.dispatchEvent(new Event('resync'));
  wire.dispatchEvent(new Event('resync'));
  expect(resyncs).toBe(1);
  expect(wire.readyState).toBe(Wire.CLOSED);
});

it.each([
  ['broken JSON', 9, '{'],
  ['no sequence', '' as const, '{}'],
])('never skips an event that it can not read: %s', (_, sequence, data) => {
  open(8);
  last().send(sequence, data);
  expect(events).toEqual([]);
  expect(resyncs).toBe(1);
});

it('closed is closed', () => {
  const close = open();
  last().refuse();
  close();
  expect(waiting).toHaveLength(0);
  page.dispatchEvent(new Event('online'));
  expect(Wire.opened).toHaveLength(1);
});
