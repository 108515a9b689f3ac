/**
 * The ground of the operation's area on this device: told how large it will be, fetched with its progress in
 * sight, bounded, and gone on with where it broke off. Tiles lie in the browser's Cache storage as gzip, one
 * cache for an operation's terrain; the service worker hands them to the map.
 */
import { LAST_ZOOM } from '../map/zooms.ts';
import { covers, tileCount, tilesOf, widened, type Box, type Tile } from './area.ts';

/** Most that the ground may take on a device. */
export const MOST_BYTES = 60_000_000;
/** Most tiles that are looked at; a larger area has to do with a wider closest view. */
const MOST_TILES = 20_000;
/** Tiles by which the size is told before the rest is fetched. They are kept. */
const SAMPLE = 12;
/** How many are fetched at once. */
const AT_ONCE = 4;
/** About what a browser keeps beside a tile's own bytes: its address and its few headers. */
const BESIDE_BYTES = 400;
const PREFIX = 'laywire-ground-';
const RECORD = '/kept/ground';

/** What was asked for, and how far it came: what is coming goes on by itself, what was stopped does not. */
interface Wanted {
  box: Box;
  last: number;
  state: 'coming' | 'stopped' | 'whole';
}

export interface Plan {
  box: Box;
  /** the closest view that the device will have */
  last: number;
  tiles: number;
  /** by a sample of the tiles */
  bytes: number;
}

export class Ground {
  plan = $state.raw<Plan | null>(null);
  wanted = $state.raw<Wanted | null>(null);
  /** how many tiles are there, and how many bytes they take */
  there = $state(0);
  bytes = $state(0);
  running = $state(false);
  trouble = $state<string | null>(null);
  readonly #cacheName: string;
  readonly #address: ({ z, x, y }: Tile) => string;
  readonly #operation: string;
  #stopped = false;

  /** `terrain` names the ground that the service has now: another extract is another ground. */
  constructor(operation: string, terrain: string) {
    this.#operation = operation;
    this.#cacheName = `${PREFIX}${operation}-${terrain}`;
    this.#address = ({ z, x, y }) => `/api/operations/${operation}/tiles/${z}/${x}/${y}`;
  }

  /** Looks what of it is on the device. */
  async look(): Promise<void> {
    try {
      const record = await caches.match(RECORD, { cacheName: this.#cacheName });
      this.wanted = record ? ((await record.json()) as Wanted) : null;
    } catch {
      this.wanted = null;
    }
  }

  /** Whether the ground around this box is on the device, whole. */
  covers(box: Box | null): boolean {
    return this.wanted?.state === 'whole' && box !== null && covers(this.wanted.box, box);
  }

  /** Finds out how large the ground around a box is, and how close its views can be to stay within bounds. */
  async measure(around: Box, margin_m: number): Promise<void> {
    await this.#work(async (cache) => {
      const box = widened(around, margin_m);
      let last = LAST_ZOOM;
      while (tileCount(box, last) > MOST_TILES) last -= 1;
      for (; ; last -= 1) {
        const tiles = tilesOf(box, last);
        const step = Math.max(1, tiles.length / SAMPLE);
        const sample = Array.from({ length: Math.min(SAMPLE, tiles.length) }, (_, index) =>
          // From the end: the closest views are most of it.
          tiles.at(-1 - Math.floor(index * step)),
        ).flatMap((tile) => tile ?? []);
        let taken = 0;
        for (const tile of sample) taken += await this.#fetch(cache, tile);
        const bytes = Math.round((taken / sample.length) * tiles.length);
        this.plan = { box, last, tiles: tiles.length, bytes };
        if (bytes <= MOST_BYTES) return;
      }
    });
  }

  /** Fetches what is not there yet of what was planned, or of what was begun before. */
  async get(): Promise<void> {
    const { box, last } = this.plan ?? this.wanted ?? {};
    if (!box || last === undefined) return;
    await this.#work(async (cache) => {
      await this.#note(cache, { box, last, state: 'coming' });
      const tiles = tilesOf(box, last);
      this.plan ??= { box, last, tiles: tiles.length, bytes: 0 };
      this.there = 0;
      this.bytes = 0;
      const next = tiles.values();
      const failures: unknown[] = [];
      const fetchNext = async () => {
        for (const tile of next) {
          if (this.#stopped || failures.length > 0) return;
          try {
            const taken = await this.#fetch(cache, tile);
            this.bytes += taken;
            this.there += 1;
          } catch (reason) {
            failures.push(reason);
          }
          if (this.bytes <= MOST_BYTES) continue;
          this.#stopped = true;
          this.trouble = `It is larger than ${megabytes(MOST_BYTES)}: what is there is kept. Take a smaller margin.`;
        }
      };
      await Promise.all(Array.from({ length: AT_ONCE }, fetchNext));
      if (failures.length > 0) throw failures[0];
      await this.#note(cache, { box, last, state: this.#stopped ? 'stopped' : 'whole' });
    });
  }

  stop(): void {
    this.#stopped = true;
  }

  async #work(work: (cache: Cache) => Promise<void>): Promise<void> {
    if (this.running) return;
    this.running = true;
    this.#stopped = false;
    this.trouble = null;
    try {
      await work(await caches.open(this.#cacheName));
    } catch (reason) {
      this.trouble =
        reason instanceof DOMException && reason.name === 'QuotaExceededError'
          ? 'This device has no room left for it: free some storage, then go on.'
          : 'The service did not give it all: it goes on where it stopped.';
    } finally {
      this.running = false;
    }
  }

  async #note(cache: Cache, wanted: Wanted): Promise<void> {
    await cache.put(RECORD, Response.json(wanted));
    this.wanted = wanted;
    // Only when the new ground is whole, so that nobody stands without any.
    if (wanted.state === 'whole') await forgetGround(this.#operation, this.#cacheName);
  }

  /** Has the tile on the device, fetched or not, and says what it takes there. */
  async #fetch(cache: Cache, tile: Tile): Promise<number> {
    const address = this.#address(tile);
    const kept = await cache.match(address);
    if (kept) return Number(kept.headers.get('content-length')) + BESIDE_BYTES;
    const answer = await fetch(address);
    if (answer.status !== 200 || !answer.body) throw new Error(`tile: ${answer.status}`);
    const packed = await new Response(answer.body.pipeThrough(new CompressionStream('gzip'))).arrayBuffer();
    const headers = {
      'content-type': answer.headers.get('content-type') ?? '',
      'content-length': String(packed.byteLength),
      'laywire-packed': 'gzip',
    };
    await cache.put(address, new Response(packed, { headers }));
    return packed.byteLength + BESIDE_BYTES;
  }
}

/** Takes an operation's ground from the device, but for the one that is named. */
export async function forgetGround(operation: string, except?: string): Promise<void> {
  for (const name of await caches.keys()) {
    if (name.startsWith(`${PREFIX}${operation}-`) && name !== except) await caches.delete(name);
  }
}

/** '4.2 MB', of 1,000,000 bytes each. */
export const megabytes = (bytes: number): string => `${(bytes / 1e6).toFixed(bytes < 9.95e6 ? 1 : 0)} MB`;
