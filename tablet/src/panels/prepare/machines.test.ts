import { describe, expect, it } from "vitest";
import type { Entry } from "../../wire/outbox";
import type { MachineDay, MachineLine } from "../../wire/types";
import { held, onScale, readHere, shortly, verdict } from "./machines";

const line = (id: string, state: MachineLine["state"]): MachineLine => ({
  id,
  says: id,
  detail: "",
  state,
  at: null,
  by: "",
  note: "",
  fast: false,
});
const day = (lines: MachineLine[], more: Partial<MachineDay> = {}): MachineDay => ({
  machine: "A",
  complete: false,
  done: lines.filter((one) => one.state === "done").length,
  of: lines.length,
  very_fast: 0,
  says: "",
  asks: [],
  lines,
  leak: null,
  faults: [],
  mended: [],
  volume_l: null,
  wall_ml_cmh2o: null,
  ...more,
});
const entry = (machine: string, id: string, state: Entry["state"] = "waiting"): Entry => ({
  id,
  case: "ledger",
  event: {
    event: "MachineLineDone",
    id,
    case: "ledger",
    happened_at: "2026-05-04T09:00:00+00:00",
    recorded_at: "2026-05-04T09:00:00+00:00",
    by: "tec",
    machine,
    line: id,
    outcome: "done",
  },
  say: "",
  state,
  refused: null,
});

describe("the list of a machine without a link", () => {
  const here = day([line("one", "done"), line("two", "now"), line("three", "ahead")]);
  it("goes on: what was read here counts, and the next line is open", () => {
    expect(readHere(here, [entry("A", "two")]).map((one) => one.state)).toEqual(["done", "done", "now"]);
    expect(readHere(here, [entry("A", "two")])[1]!.kept).toBe(true);
  });
  it("A19: takes neither another machine's line nor a refused one", () => {
    for (const other of [entry("B", "two"), entry("A", "two", "refused")])
      expect(readHere(here, [other]).map((one) => one.state)).toEqual(["done", "now", "ahead"]);
  });
});

describe("a machine in two words", () => {
  const fault = { fault: "f", event_id: "e", what: "w", at: "", by: "" };
  it("says a fault first, then whether it was checked", () => {
    const read = [line("one", "done"), line("two", "now")];
    expect(shortly(day(read, { complete: true, faults: [fault] }))).toBe("1 open fault");
    expect(shortly(day(read, { faults: [fault, fault] }))).toBe("2 open faults");
    expect(shortly(day(read, { complete: true }))).toBe("checked today");
    expect(shortly(day(read))).toBe("1 of 2 today");
    expect(shortly(day([line("one", "skipped"), line("two", "done")]))).toBe("1 skipped today");
    expect(shortly(day([line("one", "now")]))).toBe("not read today");
  });
});

describe("a leak in a few words", () => {
  const tested = (said: "passes" | "fault" | "not known", at_cmh2o: number, ...keeps: (boolean | null)[]) => ({
    verdict: said,
    at_cmh2o,
    limits: keeps.map((one) => ({ keeps: one })),
  });
  it("A19: says every limit only where every limit was tested", () => {
    expect(verdict(tested("passes", 30, true, true))).toBe("Keeps every limit");
    expect(verdict(tested("passes", 20, true, null))).toBe("Keeps the limits it was tested at");
    expect(verdict(tested("fault", 30, false, false))).toBe("Over every limit");
    expect(verdict(tested("fault", 29, false, null))).toBe("No limit lets it pass");
    expect(verdict(tested("not known", 30, null, null))).toBe("Not known: at least this");
  });
  it("says of one limit what the test can say of it", () => {
    const leak = tested("fault", 29, false, null);
    expect(held(leak, { keeps: false, at: 29 })).toBe("broken");
    expect(held(leak, { keeps: false, at: 20 })).toBe("over it, at a higher pressure");
    expect(held(leak, { keeps: null, at: 30 })).toBe("not tested at its pressure");
    expect(held(tested("not known", 30, null), { keeps: null, at: 30 })).toBe("not known");
    expect(held(leak, { keeps: true, at: 20 })).toBe("kept");
  });
});

describe("a leak beside its limit", () => {
  it("keeps both on the scale, the larger near its end", () => {
    expect(onScale(300, 150)).toEqual({ leak: 100 / 1.15, limit: 50 / 1.15 });
    expect(onScale(0, 200).leak).toBe(0);
  });
});
