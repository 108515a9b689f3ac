/**
 * Work under way that has to be found again after a page was closed or its tab was killed: one value under one
 * name, written over. It is no report, and is never sent from here; the outbox keeps those.
 */
import { deleteDB, openDB, type DBSchema, type IDBPDatabase } from 'idb';

interface Schema extends DBSchema {
  work: { key: string; value: unknown };
}

const databaseName = 'laywire-work';

export class KeptWork {
  readonly #database: Promise<IDBPDatabase<Schema>>;

  constructor() {
    this.#database = openDB<Schema>(databaseName, 1, {
      upgrade(fresh) {
        fresh.createObjectStore('work');
      },
      blocking: (_current, _wanted, event) => (event.target as IDBDatabase).close(),
    });
    // Whoever reads or writes hears of it.
    this.#database.catch(() => undefined);
  }

  /** What stands under the name; whoever asks knows its shape, and has to look whether it is still the one. */
  async read(name: string): Promise<unknown> {
    return (await this.#database).get('work', name);
  }

  async write(name: string, value: unknown): Promise<void> {
    await (await this.#database).put('work', value, name);
  }

  async forget(name: string): Promise<void> {
    await (await this.#database).delete('work', name);
  }

  async close(): Promise<void> {
    (await this.#database).close();
  }
}

/** Forgets all work under way on this device. */
export const forgetAllWork = (): Promise<void> => deleteDB(databaseName);
