import { describe, expect, it } from "vitest";
import type { PadLine } from "../wire/types";
import { kindOf, nextOpen, pressureEntry, pressureSlip, readingEntry, signEntry } from "./rowing";

const line = (id: string, more: Partial<PadLine> = {}): PadLine => ({
  id,
  title: id,
  unit: "",
  choices: [],
  last: "",
  low: null,
  high: null,
  ask_low: null,
  ask_high: null,
  places: 0,
  ...more,
});
const lines = [line("heart_rate"), line("spo2"), line("pressure"), line("temperature")];

describe("the next line of the row", () => {
  it("goes in order and leaves out what is written", () => {
    expect(nextOpen(lines, new Set(["spo2"]), "heart_rate")?.id).toBe("pressure");
  });

  it("comes round to what was skipped, and ends when the row is full", () => {
    expect(nextOpen(lines, new Set(["temperature"]), "pressure")?.id).toBe("heart_rate");
    expect(nextOpen(lines, new Set(lines.map((l) => l.id)), "spo2")).toBeNull();
  });

  it("begins at the first line when none was touched", () => {
    expect(nextOpen(lines, new Set(), "")?.id).toBe("heart_rate");
  });
});

describe("what a touch writes", () => {
  const row = "2026-11-24T10:45:00+01:00";
  it("a sign, with its row", () => {
    const eye = line("eye", { choices: ["down", "middle", "up"] });
    expect(kindOf(eye)).toBe("sign");
    expect(signEntry(eye, "down", row)).toEqual({ sign: "eye", finding: "down", row_at: row });
  });

  it("a figure exactly as it was typed, with the unit that stands in the field", () => {
    const t = line("temperature", { unit: "Cel", places: 1 });
    expect(readingEntry(t, "36.0", row, false)).toMatchObject({ value: "36.0", unit: "Cel", source: "hand" });
  });

  it("a pressure keeps what was not measured empty", () => {
    expect(kindOf(line("pressure"))).toBe("pressure");
    expect(pressureEntry({ sap: "110", map: "", dap: "" }, "Doppler", row)).toMatchObject({
      sap: "110",
      map: null,
      dap: null,
    });
  });
});

describe("three figures of one pressure", () => {
  it.each([
    ["120", "90", "70", true],
    ["120", "", "70", true],
    ["", "90", "", true],
    ["70", "90", "120", false],
    ["120", "125", "", false],
    ["120", "80", "80", false],
  ])("%s/%s/%s", (sap, map, dap, fine) => {
    expect(pressureSlip({ sap, map, dap }) === "").toBe(fine);
  });
});
