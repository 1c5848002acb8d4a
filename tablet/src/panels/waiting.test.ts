import { describe, expect, it } from "vitest";
import type { Entry } from "../wire/outbox";
import type { AnyEvent, Attempt, Proof } from "../wire/types";
import { attemptsNow, isWaiting, proofsNow, waiting } from "./waiting";

const AT = "2026-11-24T10:40:34+01:00";
let made = 0;
function entry(event: Record<string, unknown>, state: Entry["state"] = "waiting"): Entry {
  made += 1;
  const whole = { id: `e${made}`, case: "c", happened_at: AT, recorded_at: AT, by: "h1", ...event };
  return { id: whole.id, case: "c", event: whole as unknown as AnyEvent, say: "", state, refused: null };
}
const first: Attempt = {
  attempt: "a1",
  number: 1,
  began_at: AT,
  ended_at: null,
  outcome: "",
  tube: "ID 6 mm",
  operator: "",
  view: "",
  changed: "",
  aids: [],
  blade: "",
  seconds: null,
  lowest_spo2: "",
  came_out: "",
  came_out_at: null,
};

describe("entries that have not left the tablet", () => {
  it("are found by name, without the refused ones", () => {
    const all = [
      entry({ event: "AttemptBegan" }),
      entry({ event: "AttemptBegan" }, "refused"),
      entry({ event: "NoteWritten" }, "needs hand"),
    ];
    expect(waiting(all, "AttemptBegan")).toHaveLength(1);
    expect(waiting(all, "NoteWritten")).toHaveLength(1);
    expect(all.map((e) => isWaiting(all, e.id))).toEqual([true, false, true]);
  });

  it("an attempt begun here runs at once and gets the next number", () => {
    const now = attemptsNow(
      [{ ...first, ended_at: AT, outcome: "out" }],
      [entry({ event: "AttemptBegan", attempt: "a2", tube_id_mm: "5.5" })],
    );
    expect(now.map((a) => [a.number, a.ended_at === null])).toEqual([
      [1, false],
      [2, true],
    ]);
  });

  it("an attempt known to the server is not begun twice", () => {
    expect(attemptsNow([first], [entry({ event: "AttemptBegan", attempt: "a1", tube_id_mm: "6" })])).toHaveLength(1);
  });

  it("an end entered here ends it, and the server keeps the last word", () => {
    const end = entry({ event: "AttemptEnded", attempt: "a1", outcome: "in" });
    expect(attemptsNow([first], [end])[0]?.outcome).toBe("in");
    expect(attemptsNow([{ ...first, ended_at: AT, outcome: "oesophagus" }], [end])[0]?.outcome).toBe("oesophagus");
  });

  it("a tube taken out here lies there no more, and only the last one came out", () => {
    const was = { ...first, ended_at: AT, outcome: "in" };
    const now = attemptsNow(
      [
        { ...was, came_out: "leak at 8 cmH₂O" },
        { ...was, attempt: "a2", number: 2 },
      ],
      [entry({ event: "TubeWithdrawn", reason: "tight" })],
    );
    expect(now.map((a) => a.came_out)).toEqual(["leak at 8 cmH₂O", "tight"]);
    expect(attemptsNow([first], [entry({ event: "TubeWithdrawn", reason: "tight" })])[0]?.came_out).toBe("");
  });

  it("a sign touched here is seen here", () => {
    const proofs: Proof[] = ["left chest", "tied"].map((sign) => ({
      sign,
      label: sign,
      expected: "",
      seen_at: null,
      by: "",
      detail: "",
      event_id: "",
      part: "",
    }));
    const now = proofsNow(proofs, [entry({ event: "ProofNoted", sign: "tied" })]);
    expect(now.map((p) => p.seen_at !== null)).toEqual([false, true]);
  });
});
