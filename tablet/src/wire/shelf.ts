/** The tablet's own shelf (IndexedDB): entries not yet on the server, and the last sheets seen, for when there is no link. */

const NAME = "spiracle";
export const ENTRIES = "entries";
export const SHEETS = "sheets";

let opened: Promise<IDBDatabase> | null = null;

export function shelf(): Promise<IDBDatabase> {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result
        .createObjectStore(ENTRIES, { keyPath: "place", autoIncrement: true })
        .createIndex("id", "id", { unique: true });
      asked.result.createObjectStore(SHEETS);
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

/** One transaction; resolves when it is on the disk, not when it was asked for. */
export async function inside<T>(
  store: string,
  mode: IDBTransactionMode,
  work: (held: IDBObjectStore) => IDBRequest<T> | void,
): Promise<T> {
  const db = await shelf();
  return new Promise((done, failed) => {
    const run = db.transaction(store, mode, mode === "readwrite" ? { durability: "strict" } : undefined);
    const asked = work(run.objectStore(store));
    run.oncomplete = () => done(asked?.result as T);
    run.onerror = () => failed(run.error);
    run.onabort = () => failed(run.error);
  });
}

export interface Kept<T> {
  sheet: T;
  at: number;
}

/** Keep a sheet as last seen. */
export async function keep<T>(key: string, sheet: T): Promise<void> {
  await inside(SHEETS, "readwrite", (held) => held.put({ sheet: structuredClone(sheet), at: Date.now() }, key));
}

/** The sheet as last seen, with when that was. */
export function kept<T>(key: string): Promise<Kept<T> | undefined> {
  return inside(SHEETS, "readonly", (held) => held.get(key) as IDBRequest<Kept<T> | undefined>);
}
