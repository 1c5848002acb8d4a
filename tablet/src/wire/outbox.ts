import { NoLink, SaidNo } from "./api";
import { ENTRIES, inside } from "./shelf";
import type { Answer, Answers, AnyEvent, Refused } from "./types";

/**
 * The outbox: an entry is on the tablet's disk before it is on the screen, and leaves in the order it was made.
 * The server treats a repeated id as done, so that sending twice (two windows, a lost answer) writes once.
 */
export type State = "waiting" | "needs hand" | "sent" | "refused";

export interface Entry {
  place?: number;
  id: string;
  case: string;
  event: AnyEvent;
  say: string;
  state: State;
  refused: Refused | null;
}

/** An entry that is in the log, at its place there. */
export interface Landed extends Entry {
  seq: number;
}

type Send = (id: string, events: AnyEvent[]) => Promise<Answers>;

const AT_ONCE = 50;

export class Outbox {
  entries: Entry[] = [];
  #busy: Promise<boolean> | null = null;
  /** how many of the first entries go one by one: the server would not take them together */
  #singly = 0;
  #asks = new Map<string, ((answer: Answer | null) => void)[]>();

  constructor(
    readonly send: Send,
    readonly onchange: (entries: readonly Entry[]) => void = () => {},
    /** told of what is now in the log, with its place there, before it leaves the list */
    readonly onwritten: (landed: readonly Landed[]) => void = () => {},
  ) {}

  /** Read what an earlier visit left. */
  async open(): Promise<void> {
    this.entries = await inside(ENTRIES, "readonly", (held) => held.getAll() as IDBRequest<Entry[]>);
    this.#tell();
  }

  /** Keep entries for good; resolves when they are on the disk. */
  async put(entries: readonly Entry[]): Promise<void> {
    const fresh = entries.map((entry) => ({ ...entry }));
    const places: IDBRequest<IDBValidKey>[] = [];
    await inside(ENTRIES, "readwrite", (held) => {
      for (const entry of fresh) places.push(held.add(entry));
    });
    fresh.forEach((entry, i) => (entry.place = places[i]!.result as number));
    this.entries = [...this.entries, ...fresh];
    this.#tell();
  }

  /** Resolves with what the server said of this entry, or null when it could not be reached. */
  answer(id: string): Promise<Answer | null> {
    return new Promise((done) => this.#asks.set(id, [...(this.#asks.get(id) ?? []), done]));
  }

  /** Name the hand on entries that were made without one, so that they may leave. */
  async sign(hand: string, ids: readonly string[]): Promise<void> {
    await this.#update(
      (entry) => entry.state === "needs hand" && ids.includes(entry.id),
      (entry) => ({ ...entry, state: "waiting", event: { ...entry.event, by: hand } as AnyEvent }),
    );
  }

  /** Take away an entry that never left: only one without a hand, or one the server refused and a person has read. */
  async drop(id: string): Promise<void> {
    const found = this.entries.find((entry) => entry.id === id);
    if (!found || found.state === "waiting" || found.place === undefined) return;
    const { place } = found;
    await inside(ENTRIES, "readwrite", (held) => void held.delete(place));
    this.entries = this.entries.filter((entry) => entry.id !== id);
    this.#tell();
  }

  get waiting(): Entry[] {
    return this.entries.filter((entry) => entry.state === "waiting");
  }

  /** Send everything that waits, in order. True: the server was reached (or nothing waited). */
  flush(): Promise<boolean> {
    this.#busy ??= this.#flush().finally(() => (this.#busy = null));
    return this.#busy;
  }

  async #flush(): Promise<boolean> {
    for (let batch = this.#next(); batch.length; batch = this.#next()) {
      try {
        const { answers } = await this.send(
          batch[0]!.case,
          batch.map((entry) => entry.event),
        );
        if (!(await this.#settle(batch, answers))) return false;
        this.#singly = Math.max(0, this.#singly - batch.length);
      } catch (fault) {
        if (fault instanceof SaidNo && batch.length > 1) {
          // one entry in it is broken or too large: the others must not fall with it
          this.#singly = batch.length;
          continue;
        }
        if (fault instanceof SaidNo) {
          this.#singly = Math.max(0, this.#singly - 1);
          await this.#settle(
            batch,
            batch.map((entry) => ({ id: entry.id, written: false, seq: null, refused: fault.refused })),
          );
          continue;
        }
        if (!(fault instanceof NoLink)) throw fault;
        this.#release(batch.map((entry) => entry.id));
        return false;
      }
    }
    return true;
  }

  /** The first waiting entries of one case, in the order they were made. */
  #next(): Entry[] {
    const waiting = this.waiting;
    const first = waiting[0];
    if (!first) return [];
    const end = waiting.findIndex((entry) => entry.case !== first.case);
    return waiting.slice(0, Math.min(end < 0 ? waiting.length : end, this.#singly > 0 ? 1 : AT_ONCE));
  }

  /** Take in the answers. False: the server answered for none of them, so that asking again at once would never end. */
  async #settle(batch: readonly Entry[], answers: readonly Answer[]): Promise<boolean> {
    const said = new Map(answers.map((answer, i) => [answer.id || (batch[i]?.id ?? ""), answer]));
    const written = batch.filter((entry) => said.get(entry.id)?.written);
    const refused = batch.filter((entry) => said.get(entry.id)?.written === false);
    if (!written.length && !refused.length) return false;
    await inside(ENTRIES, "readwrite", (held) => {
      for (const entry of written) held.delete(entry.place!);
      for (const entry of refused) held.put({ ...entry, state: "refused", refused: said.get(entry.id)!.refused });
    });
    this.onwritten(written.map((entry) => ({ ...entry, seq: said.get(entry.id)!.seq ?? 0 })));
    const gone = new Set(written.map((entry) => entry.id));
    const bad = new Set(refused.map((entry) => entry.id));
    this.entries = this.entries
      .filter((entry) => !gone.has(entry.id))
      .map((entry) =>
        bad.has(entry.id) ? { ...entry, state: "refused", refused: said.get(entry.id)!.refused } : entry,
      );
    this.#tell();
    for (const [id, answer] of said) this.#release([id], answer);
    return true;
  }

  async #update(which: (entry: Entry) => boolean, change: (entry: Entry) => Entry): Promise<void> {
    const next = this.entries.map((entry) => (which(entry) ? change(entry) : entry));
    const changed = next.filter((entry, i) => entry !== this.entries[i]);
    await inside(ENTRIES, "readwrite", (held) => {
      for (const entry of changed) held.put(entry);
    });
    this.entries = next;
    this.#tell();
  }

  #release(ids: readonly string[], answer: Answer | null = null): void {
    for (const id of ids) {
      for (const done of this.#asks.get(id) ?? []) done(answer);
      this.#asks.delete(id);
    }
  }

  #tell(): void {
    this.onchange(this.entries);
  }
}
