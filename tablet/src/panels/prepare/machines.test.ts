import { describe, expect, it } from "vitest";
import type { Entry } from "../../wire/outbox";
import type { MachineDay, MachineLine } from "../../wire/types";
import { onScale, readHere, shortly } from "./machines";

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
    expect(shortly(day([line("one", "now")]))).toBe("not read today");
  });
});

describe("a leak beside its limit", () => {
  it("keeps both on the scale, the larger near its end", () => {
    expect(onScale(300, 150)).toEqual({ leak: 100 / 1.15, limit: 50 / 1.15 });
    expect(onScale(0, 200).leak).toBe(0);
  });
});
