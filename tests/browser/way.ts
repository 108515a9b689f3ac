/**
 * The way between a browser and the service: a relay of bytes that can be cut in the middle of whatever is said and
 * put back at the same address. A browser that is told to be offline goes on hearing a stream that is open; one whose
 * way is cut hears nothing.
 */
import { createServer, connect, type Server, type Socket } from 'node:net';
import { once } from 'node:events';

export class Way {
  address = '';
  readonly #to: number;
  #server: Server | null = null;
  #port = 0;
  readonly #open = new Set<Socket>();

  constructor(service: string) {
    this.#to = Number(new URL(service).port);
  }

  /** Opens it; after a cut at the same address again. */
  async mend(): Promise<void> {
    const server = createServer((from) => {
      const to = connect(this.#to, '127.0.0.1');
      for (const [one, other] of [
        [from, to],
        [to, from],
      ] as const) {
        this.#open.add(one);
        one.setNoDelay(true);
        one.pipe(other);
        // Whatever ends one side ends the other.
        one.on('error', () => other.destroy());
        one.on('close', () => {
          this.#open.delete(one);
          other.destroy();
        });
      }
    });
    server.listen(this.#port, '127.0.0.1');
    await once(server, 'listening');
    const bound = server.address();
    if (bound === null || typeof bound === 'string') throw new Error('the way has no port');
    this.#port = bound.port;
    this.address = `http://127.0.0.1:${bound.port}`;
    this.#server = server;
  }

  async cut(): Promise<void> {
    const server = this.#server;
    this.#server = null;
    if (!server) return;
    const closed = once(server, 'close');
    server.close();
    for (const socket of this.#open) socket.destroy();
    await closed;
  }
}
