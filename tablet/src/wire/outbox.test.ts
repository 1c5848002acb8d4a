import "fake-indexeddb/auto";
import { beforeEach, describe, expect, it } from "vitest";
import { NoLink, SaidNo } from "./api";
import { Outbox, type Entry } from "./outbox";
import { ENTRIES, inside } from "./shelf";
import type { Answers, AnyEvent } from "./types";

/** A small server of the same promise: an id is written once, whatever is sent again. */
class Ledger {
  written: string[] = [];
  batches: string[][] = [];
  down = false;
  loseAnswer = false;
  refuses = new Set<string>();

  send = async (_: string, events: AnyEvent[]): Promise<Answers> => {
    if (this.down) throw new NoLink("down");
    this.batches.push(events.map((event) => event.id));
    for (const event of events) {
      if (!this.refuses.has(event.id) && !this.written.includes(event.id)) this.written.push(event.id);
    }
    if (this.loseAnswer) {
      this.loseAnswer = false;
      throw new NoLink("the answer was lost");
    }
    return {
      seq: this.written.length,
      answers: events.map(({ id }) => ({
        id,
        written: !this.refuses.has(id),
        seq: this.written.indexOf(id) + 1 || null,
        refused: this.refuses.has(id)
          ? { name: "OverLimit", field: "dose", says: "Too much.", accepts: "Less.", use: null }
          : null,
      })),
    };
  };
}

const entry = (id: string, state: Entry["state"] = "waiting", of = "case-1"): Entry => ({
  id,
  case: of,
  event: { event: "NoteWritten", id, case: of, happened_at: "", recorded_at: "", by: "", text: id },
  say: id,
  state,
  refused: null,
});

let ledger: Ledger;
let box: Outbox;

beforeEach(async () => {
  await inside(ENTRIES, "readwrite", (held) => held.clear());
  ledger = new Ledger();
  box = new Outbox(ledger.send);
});

describe("the outbox", () => {
  it("lets one entry the server will not take fall alone, and sends the rest", async () => {
    for (const id of ["a", "broken", "c"]) await box.put([entry(id)]);
    const send = ledger.send;
    const stubborn = new Outbox(async (of, events) => {
      if (events.some((event) => event.id === "broken"))
        throw new SaidNo(400, { name: "BadPart", field: "", says: "Not readable.", accepts: "", use: null });
      return send(of, events);
    });
    await stubborn.open();
    expect(await stubborn.flush()).toBe(true);
    expect(ledger.written).toEqual(["a", "c"]);
    expect(stubborn.entries.map(({ id, state }) => [id, state])).toEqual([["broken", "refused"]]);
  });
  it("sends in the order entries were made and then is empty", async () => {
    for (const id of ["a", "b", "c"]) await box.put([entry(id)]);
    expect(await box.flush()).toBe(true);
    expect(ledger.written).toEqual(["a", "b", "c"]);
    expect(box.entries).toEqual([]);
  });

  it("keeps everything while there is no link, over a restart too, and lands it exactly once", async () => {
    ledger.down = true;
    for (const id of ["a", "b"]) await box.put([entry(id)]);
    expect(await box.flush()).toBe(false);
    const again = new Outbox(ledger.send);
    await again.open();
    expect(again.waiting.map(({ id }) => id)).toEqual(["a", "b"]);
    ledger.down = false;
    expect(await again.flush()).toBe(true);
    expect(await again.flush()).toBe(true);
    expect(ledger.written).toEqual(["a", "b"]);
  });

  it("sends again when the answer was lost, and the entry is still written once", async () => {
    await box.put([entry("a")]);
    ledger.loseAnswer = true;
    expect(await box.flush()).toBe(false);
    expect(box.waiting).toHaveLength(1);
    expect(await box.flush()).toBe(true);
    expect(ledger.batches).toEqual([["a"], ["a"]]);
    expect(ledger.written).toEqual(["a"]);
  });

  it("keeps a refused entry with its reason, and a refusal holds up nothing behind it", async () => {
    ledger.refuses.add("b");
    await box.put(["a", "b", "c"].map((id) => entry(id)));
    expect(await box.flush()).toBe(true);
    expect(ledger.written).toEqual(["a", "c"]);
    expect(box.entries.map(({ id, state }) => [id, state])).toEqual([["b", "refused"]]);
    expect(box.entries[0]?.refused?.says).toBe("Too much.");
    await box.drop("b");
    expect(box.entries).toEqual([]);
  });

  it("never drops an entry that has yet to leave", async () => {
    await box.put([entry("a")]);
    await box.drop("a");
    expect(box.waiting).toHaveLength(1);
  });

  it("holds an entry without a hand until one is named", async () => {
    await box.put([entry("a", "needs hand")]);
    await box.flush();
    expect(ledger.written).toEqual([]);
    await box.sign("h-7", ["a"]);
    await box.flush();
    expect(ledger.written).toEqual(["a"]);
  });

  it("tells the form what became of its entry, and null without a link", async () => {
    ledger.refuses.add("b");
    await box.put([entry("a"), entry("b")]);
    const [a, b] = [box.answer("a"), box.answer("b")];
    await box.flush();
    expect((await a)?.written).toBe(true);
    expect((await b)?.refused?.name).toBe("OverLimit");
    ledger.down = true;
    await box.put([entry("c")]);
    const c = box.answer("c");
    await box.flush();
    expect(await c).toBeNull();
  });

  it("never mixes two cases in one request", async () => {
    await box.put([entry("a", "waiting", "x"), entry("b", "waiting", "y"), entry("c", "waiting", "x")]);
    await box.flush();
    expect(ledger.batches).toEqual([["a"], ["b"], ["c"]]);
  });

  it("takes a refusal of the whole request as one for each entry in it", async () => {
    const says = { name: "Unknown", field: "case", says: "No such case.", accepts: "", use: null };
    box = new Outbox(() => Promise.reject(new SaidNo(404, says)));
    await box.put([entry("a"), entry("b")]);
    expect(await box.flush()).toBe(true);
    expect(box.entries.map(({ state, refused }) => [state, refused?.says])).toEqual([
      ["refused", "No such case."],
      ["refused", "No such case."],
    ]);
  });

  it("stops asking when the server answers for none of them", async () => {
    let asked = 0;
    box = new Outbox(async () => {
      asked += 1;
      return { answers: [], seq: 0 };
    });
    await box.put([entry("a")]);
    expect(await box.flush()).toBe(false);
    expect(asked).toBe(1);
    expect(box.waiting).toHaveLength(1);
  });
});
