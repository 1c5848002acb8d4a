import "fake-indexeddb/auto";
import { afterAll, beforeEach, describe, expect, it } from "vitest";
import { hands } from "./hands.svelte";
import { ENTRIES, inside } from "./shelf";
import { stamp, store, words } from "./store.svelte";
import type { AnyEvent } from "./types";

/** What the page would have sent: the network is the only thing put aside. */
let posted: AnyEvent[] = [];
let link = true;
const network = globalThis.fetch;
globalThis.fetch = (async (_: string, request?: RequestInit) => {
  if (!link) throw new TypeError("no network");
  const { events } = JSON.parse(String(request?.body)) as { events: AnyEvent[] };
  posted.push(...events);
  return Response.json({
    seq: posted.length,
    answers: events.map(({ id }, i) => ({ id, written: true, seq: i + 1, refused: null })),
  });
}) as typeof fetch;
afterAll(() => void (globalThis.fetch = network));

const HAND = { id: "h-1", initials: "NB", name: "Nora Bley", role: "technician" } as const;

beforeEach(async () => {
  await store.flush();
  for (const entry of [...store.all]) await store.seen(entry.id);
  await inside(ENTRIES, "readwrite", (held) => held.clear());
  [posted, link] = [[], true];
  hands.staff = [HAND];
  hands.choose(HAND.id);
  store.caseId = "case-1";
});

describe("writing an entry", () => {
  it("stamps id, case, both times, hand and tablet, and leaves figures as typed", async () => {
    const { answer } = await store.write("Weighed", { weight_kg: "7.0", method: "scale" });
    expect((await answer)?.written).toBe(true);
    const [event] = posted;
    expect(event).toMatchObject({ event: "Weighed", case: "case-1", by: "h-1", weight_kg: "7.0", method: "scale" });
    expect(event?.id).toMatch(/^[0-9a-f-]{36}$/);
    expect(event?.device).toMatch(/^tablet-/);
    expect(event?.happened_at).toBe(event?.recorded_at);
  });

  it("keeps the time it happened apart from the time it was entered", () => {
    const [at, now] = [new Date("2026-05-01T10:27:00Z"), new Date("2026-05-01T10:41:00Z")];
    const event = stamp("NoteWritten", "c", { text: "turned" }, "h-1", at, now);
    expect(new Date(event.happened_at)).toEqual(at);
    expect(new Date(event.recorded_at)).toEqual(now);
  });

  it("waits on the tablet while there is no link and goes once it is back", async () => {
    link = false;
    const { id, answer } = await store.write("NoteWritten", { text: "moved to the table" });
    expect(await answer).toBeNull();
    await store.flush();
    expect(store.link).toBe("none");
    expect(store.entries.map((entry) => entry.id)).toEqual([id]);
    link = true;
    await store.flush();
    expect(posted.map((event) => event.id)).toEqual([id]);
    expect(store.link).toBe("live");
    expect(store.entries).toEqual([]);
  });

  it("keeps an entry made by no hand, and sends it under the hand named afterwards", async () => {
    hands.staff = [];
    await store.write("NoteWritten", { text: "coughed" });
    expect(posted).toEqual([]);
    expect(hands.asking).toBe(true);
    hands.staff = [HAND];
    await store.named(HAND.id);
    expect(posted.map((event) => event.by)).toEqual(["h-1"]);
  });

  it("lets an urgent entry go at once, its hand said to be unknown", async () => {
    hands.staff = [];
    const { answer } = await store.write("ArrestBegan", {}, { urgent: true });
    await answer;
    expect(posted.map(({ event, by }) => [event, by])).toEqual([["ArrestBegan", "unknown"]]);
  });
});

describe("undo", () => {
  it("is a strike of the entry, never its removal", async () => {
    const { id, answer } = await store.write("NoteWritten", { text: "wrong key" }, { say: "Note" });
    await answer;
    expect(store.undoable).toMatchObject({ id, say: "Note" });
    await store.undo();
    await store.flush();
    expect(posted.map((event) => event.event)).toEqual(["NoteWritten", "EntryStruck"]);
    expect(posted[1]).toMatchObject({ target: id });
    expect(store.undoable).toBeNull();
  });

  it("takes away what never left the tablet because it has no hand", async () => {
    hands.staff = [];
    await store.write("NoteWritten", { text: "wrong key" });
    await store.undo();
    expect(store.entries).toEqual([]);
    expect(posted).toEqual([]);
  });
});

it("has words for an entry nobody worded", () => {
  const event = stamp("PreoxygenationBegan", "c", {}, "h", new Date(), new Date());
  expect(words(event)).toBe("Preoxygenation began");
});
