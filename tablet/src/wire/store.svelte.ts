import { SvelteSet } from "svelte/reactivity";
import { answered } from "./confirming";
import { api, listen, NoLink } from "./api";
import { hands } from "./hands.svelte";
import { Outbox, type Entry, type Landed } from "./outbox";
import { keep, kept } from "./shelf";
import { live, type Stream } from "./live.svelte";
import { isoZone } from "./times";
import type { Act, Answer, AnyEvent, Board, CaseView, EventName, Fields, Hospital, PickRow, Refused } from "./types";

export interface How {
  /** When it happened, if not now. */
  at?: Date;
  /** Of several entries, when each of them happened. */
  each?: readonly Date[];
  /** Words for the undo strip and the outbox. */
  say?: string;
  /** false: no undo strip (the line is struck where it stands); "all": one for several entries at once. */
  undo?: boolean | "all";
  /** Arrest and rescue: goes even if no hand is named. */
  urgent?: boolean;
  /** The panel shows a refusal itself, beside its field. */
  own?: boolean;
}

export interface Written {
  id: string;
  answer: Promise<Answer | null>;
}

export interface Undoable {
  id: string;
  /** Written in the same touch: struck with it. */
  others: string[];
  case: string;
  say: string;
  at: number;
  until: number;
}

export type Link = "live" | "waiting" | "none";
type Write = { [N in EventName]: [name: N, fields: Fields<N>] }[EventName];

const UNDO_MS = 5000;
/** How long a form waits for the server's word before it lets the entry go its own way. */
const PATIENCE_MS = 2500;
/** The hand of an urgent entry whose writer is named later. */
const UNKNOWN = "unknown";

function device(): string {
  const key = "spiracle-device";
  let name = localStorage.getItem(key);
  if (!name) {
    name = `tablet-${crypto.randomUUID().slice(0, 8)}`;
    localStorage.setItem(key, name);
  }
  return name;
}

/** One event, stamped: its own id, both times, the hand and this tablet. */
export function stamp<N extends EventName>(
  name: N,
  caseId: string,
  fields: Fields<N>,
  by: string,
  at: Date,
  now: Date,
): AnyEvent {
  return {
    ...fields,
    event: name,
    id: crypto.randomUUID(),
    case: caseId,
    happened_at: isoZone(at),
    recorded_at: isoZone(now),
    by,
    device: device(),
  } as unknown as AnyEvent;
}

class Store {
  hospital = $state.raw<Hospital | null>(null);
  board = $state.raw<Board | null>(null);
  boardAt = $state(0);
  caseId = $state<string | null>(null);
  view = $state.raw<CaseView | null>(null);
  viewAt = $state(0);
  all = $state.raw<readonly Entry[]>([]);
  reached = $state(true);
  linkSince = $state(Date.now());
  sentAt = $state<number | null>(null);
  undoable = $state<Undoable | null>(null);
  missing = $state("");
  /** Entries whose refusal a panel shows itself. */
  owned = new SvelteSet<string>();
  /** Written, but younger than the sheet on the screen: they stay laid over it, so that nothing flickers back. */
  landed = $state.raw<readonly Landed[]>([]);
  #outbox = new Outbox(
    api.post,
    (entries) => this.#held(entries),
    (landed) => void (this.landed = [...this.#young(), ...landed]),
  );
  #hang: (() => void) | null = null;
  #retry: ReturnType<typeof setTimeout> | undefined;

  get link(): Link {
    if (!this.reached) return "none";
    return this.all.some((entry) => entry.state === "waiting") ? "waiting" : "live";
  }

  get entries(): Entry[] {
    return [...this.#young(), ...this.all].filter((entry) => entry.case === this.caseId);
  }

  #young(): Landed[] {
    const { view } = this;
    return view ? this.landed.filter((entry) => entry.case === view.case && entry.seq > view.seq) : [];
  }

  get unnamed(): Entry[] {
    return this.all.filter((entry) => entry.state === "needs hand");
  }

  get refusals(): Entry[] {
    return this.all.filter((entry) => entry.state === "refused");
  }

  async start(): Promise<void> {
    await this.#outbox.open();
    const earlier = await kept<Hospital>("hospital");
    if (earlier) this.#hospital(earlier.sheet);
    await this.#ask(async () => {
      this.#hospital(await api.hospital());
      await keep("hospital", this.hospital);
    });
    if (this.all.some((entry) => entry.state === "waiting")) void this.flush();
  }

  #held(entries: readonly Entry[]): void {
    this.all = entries;
    // what was refused is not written: there is nothing to undo
    if (entries.some(({ id, state }) => state === "refused" && id === this.undoable?.id)) this.undoable = null;
  }

  #hospital(sheet: Hospital): void {
    this.hospital = sheet;
    hands.staff = sheet.staff;
  }

  /** Follow the day sheet. */
  async openBoard(): Promise<void> {
    this.#leave();
    const earlier = await kept<Board>("board");
    if (this.caseId === null && earlier && !this.board) [this.board, this.boardAt] = [earlier.sheet, earlier.at];
    this.#follow("/api/board/live", () => this.refreshBoard());
    await this.refreshBoard();
  }

  refreshBoard(): Promise<boolean> {
    return this.#ask(async () => {
      this.board = await api.board();
      this.boardAt = Date.now();
      await keep("board", this.board);
    });
  }

  /** Follow one case: the last sheet seen is there at once, the live one as soon as the server answers. */
  async openCase(id: string): Promise<void> {
    if (this.caseId === id) return;
    this.#leave();
    this.caseId = id;
    const earlier = await kept<CaseView>(`case ${id}`);
    if (this.caseId === id && earlier && !this.view) [this.view, this.viewAt] = [earlier.sheet, earlier.at];
    live.begin(id);
    this.#follow(`/api/cases/${encodeURIComponent(id)}/live`, () => this.refresh(), live);
    await this.refresh();
  }

  #leave(): void {
    this.#hang?.();
    this.#hang = null;
    live.begin("");
    this.caseId = null;
    this.view = null;
    this.missing = "";
  }

  #follow(path: string, refresh: () => Promise<boolean>, monitor: Stream | null = null): void {
    this.#hang?.();
    this.#hang = listen(path, {
      onchange: () => void refresh(),
      ...(monitor ? { events: monitor.events } : {}),
      onlink: (open) => {
        monitor?.linked(open);
        this.#link(open);
        if (open) void this.flush();
      },
    });
  }

  /** What models expect is worked out only for a page that shows it: while one is open, each fetch asks for it. */
  #expecting = false;
  expecting(on: boolean): void {
    if (on === this.#expecting) return;
    this.#expecting = on;
    if (on) void this.refresh();
  }

  /** Fetch the case again. A sheet older than the one on the screen is thrown away. */
  refresh(): Promise<boolean> {
    const id = this.caseId;
    if (!id) return Promise.resolve(false);
    return this.#ask(async () => {
      const view = await api.view(id, this.#expecting);
      if (this.caseId !== id || (this.view && this.view.case === id && view.seq < this.view.seq)) return;
      this.view = view;
      this.viewAt = Date.now();
      this.missing = "";
      await keep(`case ${id}`, view);
    });
  }

  /** Picker rows of a species: kept, so that an order can be written without a link. */
  async formulary(species: string): Promise<PickRow[]> {
    const key = `formulary ${species}`;
    let rows: PickRow[] | null = null;
    await this.#ask(async () => {
      rows = await api.formulary(species);
      await keep(key, rows);
    });
    return rows ?? (await kept<PickRow[]>(key))?.sheet ?? [];
  }

  write<N extends EventName>(name: N, fields: Fields<N>, how: How = {}): Promise<Written> {
    return this.writeMany([[name, fields] as unknown as Write], how);
  }

  /** Keep the entries on the tablet, then send them. The answer is that of the last one. */
  async writeMany(writes: readonly Write[], how: How = {}, caseId = this.caseId): Promise<Written> {
    if (!caseId) throw new Error("no case is open");
    const entries = this.#entries(writes, how, caseId);
    if (how.own) for (const entry of entries) this.owned.add(entry.id);
    await this.#outbox.put(entries);
    const last = entries.at(-1)!;
    const answer = this.#outbox.answer(last.id);
    if (last.state === "waiting") void this.flush();
    else hands.asking = true;
    const one = entries.length === 1 && how.undo !== false && last.event.event !== "EntryStruck";
    if (one || how.undo === "all") this.#offer(last, entries.slice(0, -1));
    return { id: last.id, answer };
  }

  #entries(writes: readonly Write[], how: How, caseId: string): Entry[] {
    const now = new Date();
    const by = hands.current?.id ?? (how.urgent ? UNKNOWN : "");
    return writes.map(([name, fields], i) => {
      const event = stamp(name, caseId, fields as never, by, how.each?.[i] ?? how.at ?? now, now);
      return {
        id: event.id,
        case: caseId,
        event,
        say: how.say || words(event),
        state: by ? "waiting" : "needs hand",
        refused: null,
      };
    });
  }

  /** What became of an entry a form waits for: the refusal to show beside the field, or null (written, or on its way). */
  async settle({ id, answer }: Written): Promise<Refused | null> {
    const late = new Promise<null>((done) => setTimeout(() => done(null), PATIENCE_MS));
    const said = await Promise.race([answer, late]);
    this.owned.delete(id);
    if (!said?.refused) return null;
    await this.seen(id);
    return said.refused;
  }

  #offer({ id, case: of, say }: Entry, others: readonly Entry[] = []): void {
    const at = Date.now();
    this.undoable = { id, others: others.map((one) => one.id), case: of, say, at, until: at + UNDO_MS };
  }

  /** Undo is a strike like any other; an entry that still lacks its hand never left and is simply taken away. */
  async undo(): Promise<void> {
    const last = this.undoable;
    this.undoable = null;
    if (!last) return;
    const all = [...last.others, last.id];
    const unnamed = all.filter((id) => this.unnamed.some((entry) => entry.id === id));
    for (const id of unnamed) await this.#outbox.drop(id);
    // what the server would not take is not in the log: there is nothing to strike
    const refused = new Set(this.refusals.map((entry) => entry.id));
    const strikes = all
      .filter((id) => !unnamed.includes(id) && !refused.has(id))
      .map((target): Write => ["EntryStruck", { target, reason: "undone at once" }]);
    if (strikes.length) await this.writeMany(strikes, { undo: false }, last.case);
  }

  strike(target: string, reason: string, say = ""): Promise<Written> {
    return this.write("EntryStruck", { target, reason }, { undo: false, say: say || `Struck: ${reason}` });
  }

  /** An advised act, as the core worked it out. */
  act(act: Act): Promise<Written> {
    return this.writeMany([[act.event, act.fields] as unknown as Write], { say: act.label });
  }

  /** What the server would say; nothing is written. null: no link. */
  async would<N extends EventName>(name: N, fields: Fields<N>, caseId = this.caseId): Promise<Answer | null> {
    if (!caseId) return null;
    const now = new Date();
    try {
      const { answers } = await api.would(caseId, [stamp(name, caseId, fields, hands.current?.id ?? "", now, now)]);
      return answers[0] ?? null;
    } catch {
      return null;
    }
  }

  /** A hand was chosen: entries that waited for one get it and leave. */
  async named(id: string): Promise<void> {
    hands.choose(id);
    await this.#outbox.sign(
      id,
      this.unnamed.map((entry) => entry.id),
    );
    await this.flush();
  }

  /** The server asked whether an entry is meant, and a hand says it is: the same entry at its own time, with that one answer. */
  async confirm({ id, event, say, case: of, refused }: Entry): Promise<void> {
    const stamped = new Set(["event", "id", "case", "happened_at", "recorded_at", "by", "device"]);
    const fields = Object.fromEntries(Object.entries(event).filter(([field]) => !stamped.has(field)));
    await this.seen(id);
    const again = [
      event.event,
      { ...fields, confirmed: true, answered: [...answered(event), ...(refused ? [refused.says] : [])] },
    ] as unknown as Write;
    await this.writeMany([again], { at: new Date(event.happened_at), say }, of);
  }

  /** A refusal was read. */
  seen(id: string): Promise<void> {
    return this.#outbox.drop(id);
  }

  async flush(): Promise<void> {
    clearTimeout(this.#retry);
    const before = this.#outbox.waiting.length;
    const reached = await this.#outbox.flush();
    this.#link(reached);
    if (reached && before) this.sentAt = Date.now();
    if (!reached) this.#retry = setTimeout(() => void this.flush(), 5000);
    else if (before && this.caseId) void this.refresh();
  }

  /** Try a question to the server; its silence is the link's state, its refusal is the page's to show. */
  async #ask(question: () => Promise<void>): Promise<boolean> {
    try {
      await question();
      this.#link(true);
      return true;
    } catch (fault) {
      if (fault instanceof NoLink) this.#link(false);
      else {
        this.#link(true);
        this.missing = fault instanceof Error ? fault.message : String(fault);
      }
      return false;
    }
  }

  #link(reached: boolean): void {
    if (reached === this.reached) return;
    this.reached = reached;
    this.linkSince = Date.now();
  }
}

/** "DrugGiven" as "Drug given", where nobody gave better words. */
export function words(event: AnyEvent): string {
  const spaced = event.event.replace(/(?<!^)([A-Z])/g, (letter) => ` ${letter.toLowerCase()}`);
  return spaced;
}

export const store = new Store();
