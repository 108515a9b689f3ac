/** What changes often is acted upon at once, and then no more often than so: the last change is never left out. */
export class Seldom {
  readonly #every_ms: number;
  readonly #act: () => void;
  #last = -Infinity;
  #timer: ReturnType<typeof setTimeout> | null = null;

  constructor(every_ms: number, act: () => void) {
    this.#every_ms = every_ms;
    this.#act = act;
  }

  changed(): void {
    if (this.#timer) return;
    const wait_ms = this.#last + this.#every_ms - Date.now();
    if (wait_ms <= 0) this.#go();
    else this.#timer = setTimeout(() => this.#go(), wait_ms);
  }

  leave(): void {
    if (this.#timer) clearTimeout(this.#timer);
    this.#timer = null;
  }

  #go(): void {
    this.#timer = null;
    this.#last = Date.now();
    this.#act();
  }
}
