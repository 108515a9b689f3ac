/**
 * Where the other crews are, of those that share it: kept up by the feed, with how old it is by the service's
 * clock, since a device's own may be wrong. Whoever's time is up is not shown, heard of or not.
 */
/* eslint svelte/prefer-svelte-reactivity: 'off' -- the map here is never changed, only replaced as a whole. */
import type { CrewNews, CrewPosition, Crews as All } from '../api/types.ts';

export interface Crew extends CrewPosition {
  /** how long ago it was there */
  ago_ms: number;
}

interface Known {
  crew: CrewPosition | null;
  /** the service's time when it said so: what comes late does not go before what is newer */
  said_ms: number;
}

export class Crews {
  #known = $state.raw<ReadonlyMap<string, Known>>(new Map());
  /** the service's clock less this device's */
  #ahead_ms = $state(0);

  /** All that share where they are; who is not among them shares no more. */
  hearAll({ now, crews }: All): void {
    const said_ms = this.#setClock(now);
    this.#known = new Map(crews.map((crew) => [crew.seat, { crew, said_ms }]));
  }

  hear({ now, seat, crew }: CrewNews): void {
    const said_ms = this.#setClock(now);
    if ((this.#known.get(seat)?.said_ms ?? 0) > said_ms) return;
    this.#known = new Map(this.#known).set(seat, { crew, said_ms });
  }

  /** The others by call sign, as they stand at this device's time. */
  others(mySeat: string, now_ms: number): Crew[] {
    const service_ms = now_ms + this.#ahead_ms;
    return [...this.#known.values()]
      .flatMap(({ crew }) =>
        crew && crew.seat !== mySeat && Date.parse(crew.until) > service_ms ? [crew] : [],
      )
      .map((crew) => ({ ...crew, ago_ms: Math.max(0, service_ms - Date.parse(crew.at)) }))
      .sort((a, b) => a.team.localeCompare(b.team, undefined, { numeric: true }));
  }

  #setClock(now: string): number {
    const service_ms = Date.parse(now);
    this.#ahead_ms = service_ms - Date.now();
    return service_ms;
  }
}

/** 'now', '4 min ago', '2 h ago'. */
export function agoWords(ago_ms: number): string {
  const minutes = Math.floor(ago_ms / 60_000);
  if (minutes < 1) return 'now';
  return minutes < 120 ? `${minutes} min ago` : `${Math.floor(minutes / 60)} h ago`;
}
