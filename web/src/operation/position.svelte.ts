/**
 * Where this device is. From its receiver when there is one and it may be asked; else where the person
 * tapped or what grid reference was typed. It says which, and how well it is known.
 */
import type { Party } from '../api/types.ts';
import type { Place } from './reporter.svelte.ts';

export type Source = 'receiver' | 'hand';

/** What the receiver said, and when by its own time. */
export interface Heard {
  place: Place;
  accuracy_m: number;
  at_ms: number;
}

class Standing {
  place = $state.raw<Place | null>(null);
  accuracy_m = $state<number | null>(null);
  source = $state<Source>('receiver');
  /** why the receiver says nothing, for the page to show */
  trouble = $state<string | null>(null);
  #watch: number | null = null;
  readonly #listeners = new Set<(heard: Heard) => void>();

  /** Begins to ask the receiver. */
  start(): void {
    if (this.#watch !== null) return;
    if (!('geolocation' in navigator)) {
      this.trouble = 'This device has no position receiver: tap the map or type a grid reference.';
      return;
    }
    this.#watch = navigator.geolocation.watchPosition(
      ({ coords, timestamp }) => {
        this.trouble = null;
        if (this.source === 'hand' && this.place) return;
        this.place = [coords.longitude, coords.latitude];
        this.accuracy_m = coords.accuracy;
        this.source = 'receiver';
        const heard = { place: this.place, accuracy_m: coords.accuracy, at_ms: timestamp };
        for (const listener of this.#listeners) listener(heard);
      },
      ({ code }) => {
        this.trouble =
          code === GeolocationPositionError.PERMISSION_DENIED
            ? 'This page may not ask for the position: allow it, tap the map or type a grid reference.'
            : 'No position from the receiver yet: tap the map or type a grid reference.';
      },
      { enableHighAccuracy: true, maximumAge: 5_000, timeout: 20_000 },
    );
  }

  /** Every fix of the receiver, not only the last; the function it gives back ends it. */
  listen(listener: (heard: Heard) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  stop(): void {
    if (this.#watch !== null) navigator.geolocation.clearWatch(this.#watch);
    this.#watch = null;
  }

  /** The person said where. It holds until the receiver is asked for again. */
  putByHand(place: Place): void {
    this.place = place;
    this.accuracy_m = null;
    this.source = 'hand';
  }

  /** Back to the receiver. */
  askReceiver(): void {
    this.source = 'receiver';
    this.place = null;
    this.stop();
    this.start();
  }
}

export const standing = new Standing();

/** Asks a team's receiver for as long as a component is there; nobody else is asked. To be called while it is made. */
export function whereATeamStands(party: () => Party): void {
  $effect(() => {
    if (party() !== 'lead_team' && party() !== 'follow_up_team') return;
    standing.start();
    return () => standing.stop();
  });
}
