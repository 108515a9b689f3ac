/**
 * The device's own store, and how an older one becomes today's. A number is added for every change of shape,
 * and every step from the number before is kept and tested: a device may have been out of reach for months.
 */
import { openDB, type DBSchema, type IDBPDatabase, type IDBPTransaction } from 'idb';
import type { Kept } from './outbox.ts';

export interface Schema extends DBSchema {
  report: {
    key: number;
    value: Kept;
    indexes: { report_id: string; report_operation: string };
  };
}

export type Database = IDBPDatabase<Schema>;

export const databaseName = 'laywire-outbox';

const VERSION = 2;

/** Opens it, and says when it is lost: to a newer page that changes it, or to the browser. */
export const openDatabase = (onlost: () => void): Promise<Database> =>
  openDB<Schema>(databaseName, VERSION, {
    upgrade(database, from, _to, transaction) {
      if (from < 1) {
        const store = database.createObjectStore('report', { keyPath: 'order', autoIncrement: true });
        store.createIndex('report_id', 'report.id', { unique: true });
        store.createIndex('report_operation', 'operation');
      } else if (from < 2) void withClockAndMaker(transaction);
    },
    // A newer version of the page in another tab wants to change the store: let it.
    blocking: (_current, _wanted, event) => {
      (event.target as IDBDatabase).close();
      onlost();
    },
    terminated: onlost,
  });

/** 1 to 2: a report says how far the clock was off, and who made it. Of an old one neither is known. */
async function withClockAndMaker(
  transaction: IDBPTransaction<Schema, 'report'[], 'versionchange'>,
): Promise<void> {
  for (
    let cursor = await transaction.objectStore('report').openCursor();
    cursor;
    cursor = await cursor.continue()
  ) {
    const { report, ...rest } = cursor.value;
    await cursor.update({ ...rest, report: { ...report, clock_offset_ms: null, made_by: null } });
  }
}
