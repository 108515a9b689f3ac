/**
 * Laying by the receiver: while a crew lays, its fixes become the laid trace and go out as reports, a hundred
 * metres or a minute at a time. What was taken so far is on the device at every fix, so that a reload or a
 * killed tab loses nothing and reports nothing twice. What is laid it leaves to `track.ts`, the sending to the
 * outbox.
 */
import type { Body } from '../api/types.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import { begin, goOn, isDue, report, take, unreported_m, type Fix, type Gap, type Track } from './track.ts';

/** Most positions in one report; the service takes 1,000. */
const MOST_POSITIONS = 500;

/** A report that is made, and is on its way into the outbox. */
interface Part {
  id: string;
  body: Body;
  at: Place;
}

interface Kept {
  version: 1;
  line: string;
  state: 'laying' | 'paused';
  began_ms: number;
  track: Track;
  /** made and perhaps not stored yet: stored by their ids, they are never told twice */
  parts: Part[];
}

/** What it needs around it; another stands in for it in tests. */
export interface Surroundings {
  /** keeps the track on the device */
  work: {
    read: (name: string) => Promise<unknown>;
    write: (name: string, value: unknown) => Promise<void>;
    forget: (name: string) => Promise<void>;
  };
  /** stores a report on the device; false where that failed */
  tell: (body: Body, at: Place, id: string) => Promise<boolean>;
  newId: () => string;
  now: () => number;
  /** 'No position for 4 min', in the device's units */
  gapWords: (gap: Gap) => string;
}

export class Laying {
  #kept = $state.raw<Kept | null>(null);
  readonly #name: string;
  readonly #around: Surroundings;
  /** one after the other: what is written, and what is told */
  #turn: Promise<void> = Promise.resolve();
  #written: Kept | null = null;
  #writing: Promise<void> | null = null;

  constructor(name: string, around: Surroundings) {
    this.#name = `laying ${name}`;
    this.#around = around;
  }

  get line(): string | null {
    return this.#kept?.line ?? null;
  }

  get state(): 'off' | 'laying' | 'paused' {
    return this.#kept?.state ?? 'off';
  }

  get began_ms(): number {
    return this.#kept?.began_ms ?? 0;
  }

  get tally(): Track['tally'] | null {
    return this.#kept?.track.tally ?? null;
  }

  /** Laid so far, reported or not yet. */
  readonly laid_m = $derived(this.#kept ? this.#kept.track.tally.laid_m + unreported_m(this.#kept.track) : 0);

  get far_m(): number | null {
    return this.#kept?.track.far_m ?? null;
  }

  get halted(): boolean {
    const track = this.#kept?.track;
    return track ? track.halt !== null && track.last !== null : false;
  }

  /** Finds what a page before this one left, and reports what that had made and could not store. */
  async find(): Promise<void> {
    const found = await this.#around.work.read(this.#name).catch(() => undefined);
    if (this.#kept || !isKept(found)) return;
    this.#kept = found;
    this.#written = found;
    await this.flush();
  }

  start(line: string, head: Place | null): void {
    const now = this.#around.now();
    this.#set({ version: 1, line, state: 'laying', began_ms: now, track: begin(head, now), parts: [] });
  }

  /** Reports what is laid, and takes no fixes until it goes on. */
  async pause(): Promise<void> {
    if (this.#kept?.state !== 'laying') return;
    this.#set({ ...this.#kept, state: 'paused' });
    await this.flush();
  }

  /** Goes on from where the wire ends by now, whoever laid it there. */
  goOn(head: Place | null): void {
    if (this.#kept?.state !== 'paused') return;
    const track = goOn(this.#kept.track, head, this.#around.now());
    this.#set({ ...this.#kept, state: 'laying', track });
  }

  /** Reports what is laid and forgets the track; the wire log has it. */
  async end(): Promise<void> {
    await this.pause();
    await this.flush();
    if (this.#kept === null || this.#kept.parts.length > 0) return;
    await this.#write();
    this.#kept = null;
    this.#written = null;
    await this.#around.work.forget(this.#name);
  }

  hear(fix: Fix): void {
    const kept = this.#kept;
    if (kept?.state !== 'laying') return;
    const track = take(kept.track, fix);
    this.#set({ ...kept, track });
    if (kept.parts.length > 0 || isDue(track, this.#around.now())) void this.flush();
  }

  /** Somebody said by hand how far the wire lies: on from there, and not from where the receiver thought. */
  laidTo(place: Place): void {
    const kept = this.#kept;
    if (kept) this.#set({ ...kept, track: goOn(kept.track, place, this.#around.now()) });
  }

  /** Reports all that is laid by now: before a crossing, a splice, a reel or a call, so that their places fit. */
  flush(): Promise<void> {
    this.#turn = this.#turn.then(() => this.#flush()).catch(() => undefined);
    return this.#turn;
  }

  async #flush(): Promise<void> {
    for (;;) {
      for (let part = this.#kept?.parts[0]; part; part = this.#kept?.parts[0]) {
        if (!(await this.#around.tell(part.body, part.at, part.id))) return;
        const kept: Kept | null = this.#kept;
        if (kept) this.#set({ ...kept, parts: kept.parts.slice(1) });
      }
      const kept = this.#kept;
      if (!kept) return;
      const { positions, gaps, after } = report(kept.track, this.#around.now());
      if (positions.length === 0) return;
      this.#set({ ...kept, track: after, parts: this.#parts(kept.line, positions, gaps) });
      await this.#write();
    }
  }

  #parts(line: string, positions: readonly Place[], gaps: readonly Gap[]): Part[] {
    const at = positions.at(-1);
    if (!at) return [];
    const parts: Part[] = [];
    for (let from = 0; from < positions.length; from += MOST_POSITIONS) {
      const some = positions.slice(from, from + MOST_POSITIONS).map(([lon, lat]) => [lon, lat]);
      const body: Body = { kind: 'trace_extended', line, positions: some };
      parts.push({ id: this.#around.newId(), body, at });
    }
    for (const gap of gaps) {
      const body: Body = { kind: 'note', line, text: this.#around.gapWords(gap) };
      parts.push({ id: this.#around.newId(), body, at });
    }
    return parts;
  }

  #set(kept: Kept): void {
    this.#kept = kept;
    void this.#write();
  }

  /** Writes what is now; what came while that was being done is written after it, and nothing in between. */
  #write(): Promise<void> {
    this.#writing ??= this.#writeUntilQuiet().finally(() => (this.#writing = null));
    return this.#writing;
  }

  async #writeUntilQuiet(): Promise<void> {
    try {
      while (this.#kept && this.#kept !== this.#written) {
        const now: Kept = this.#kept;
        await this.#around.work.write(this.#name, now);
        this.#written = now;
      }
    } catch {
      // The track goes on in memory, and what is due is still reported; the outbox says when the device is full.
      this.#written = this.#kept;
    }
  }
}

/** A shape that this version wrote; an older or a broken one is not guessed at. */
const isKept = (found: unknown): found is Kept =>
  typeof found === 'object' && found !== null && (found as Partial<Kept>).version === 1;
