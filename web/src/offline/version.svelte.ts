/**
 * Which version of the pages this device has. The service worker fetches a newer one by itself; it takes over
 * when somebody says so, because a page that loads again forgets what is half written on it.
 */
const WORKER = '/service-worker.js';
/** How often a page that stays open looks for a newer version, at the most. */
const LOOK_MS = 3_600_000;
/** How long a newer version may take to come in. The browser lets the older one end its work first, which can last minutes. */
const COME_IN_MS = 3_000;
/** That the page was loaded again to end the older one's work: once, so that a version that never comes in is no endless loop. */
const LOADED_AGAIN = 'laywire-version-asked';

class Version {
  /** all files of a version are on this device */
  kept = $state(false);
  /** a newer one is on the device and waits; 'elsewhere': it took over from another page of this browser */
  newer = $state<'no' | 'waits' | 'elsewhere'>('no');
  #registration: ServiceWorkerRegistration | null = null;
  #asked = false;
  #looked = 0;

  /** Begins to keep the pages on this device. Without TLS a browser does not do it: then nothing is kept. */
  async start(): Promise<void> {
    if (!('serviceWorker' in navigator)) return;
    // The first one that comes to a page takes nothing over.
    let controlled = navigator.serviceWorker.controller !== null;
    navigator.serviceWorker.addEventListener('controllerchange', () => {
      if (this.#asked) location.reload();
      else if (controlled) this.newer = 'elsewhere';
      controlled = true;
    });
    this.#looked = Date.now();
    const registration = await navigator.serviceWorker.register(WORKER, { updateViaCache: 'none' });
    this.#registration = registration;
    this.#see();
    for (const worker of [registration.installing, registration.waiting]) this.#watch(worker);
    registration.addEventListener('updatefound', () => this.#watch(registration.installing));
    const loadedAgain = sessionStorage.getItem(LOADED_AGAIN) !== null;
    sessionStorage.removeItem(LOADED_AGAIN);
    if (loadedAgain && registration.waiting) {
      this.#asked = true;
      registration.waiting.postMessage('take over');
    }
  }

  /** Looks whether there is a newer version, but not often. */
  look(): void {
    if (!this.#registration || Date.now() - this.#looked < LOOK_MS) return;
    this.#looked = Date.now();
    // Without an answer the next look does it.
    this.#registration.update().catch(() => undefined);
  }

  /** Lets the newer version take over and loads the page again. */
  takeIt(): void {
    const waiting = this.#registration?.waiting;
    this.#asked = true;
    if (!waiting || this.newer !== 'waits') {
      location.reload();
      return;
    }
    waiting.postMessage('take over');
    setTimeout(() => {
      sessionStorage.setItem(LOADED_AGAIN, 'yes');
      location.reload();
    }, COME_IN_MS);
  }

  later(): void {
    this.newer = 'no';
  }

  #watch(worker: ServiceWorker | null): void {
    worker?.addEventListener('statechange', () => this.#see());
  }

  #see(): void {
    const { active, waiting } = this.#registration ?? {};
    this.kept = Boolean(active);
    if (active && waiting) this.newer = 'waits';
  }
}

export const version = new Version();
