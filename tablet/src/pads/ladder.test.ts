import { describe, expect, it } from "vitest";
import type { Ladder } from "../wire/types";
import { find, rungOf, slip, step } from "./ladder";

/** A 1 mL syringe with 0.01 mL marks, as the core would send it; the amounts are labels here and nothing reads them. */
function syringe(mark: number, holds: number): Ladder {
  const rungs = Array.from({ length: Math.round(holds / mark) }, (_, i) => {
    const ml = Number(((i + 1) * mark).toFixed(2));
    return {
      ml,
      text: `${ml} mL`,
      amount: i,
      amount_text: `rung ${i}`,
      per_kg_text: "",
      zone: "usual" as const,
      over_order: false,
    };
  });
  return { barrel: `${holds} mL`, mark_ml: mark, holds_ml: holds, unit: "mg", rungs };
}

describe("a typed volume on a syringe", () => {
  const one = syringe(0.01, 1);
  it("is found on every mark the syringe has", () => {
    for (const rung of one.rungs) {
      const found = find(one, String(rung.ml));
      expect(found.on === "rung" && found.rung.ml).toBe(rung.ml);
    }
  });

  it("between two marks it is refused and both are named", () => {
    const found = find(one, "0.165");
    expect(found.on).toBe("between");
    if (found.on === "between") expect([found.below?.text, found.above?.text]).toEqual(["0.16 mL", "0.17 mL"]);
  });

  it("under the first mark only the first is offered", () => {
    const found = find(one, "0.005");
    if (found.on === "between") expect([found.below, found.above?.ml]).toEqual([null, 0.01]);
    expect(found.on).toBe("between");
  });

  it("more than it holds is its own refusal", () => {
    expect(find(one, "2.6").on).toBe("over");
  });

  it("zero and half a figure are nothing", () => {
    for (const text of ["", "0", "0.", "0.00"]) expect(find(one, text).on).toBe("nothing");
  });
});

describe("one mark up or down", () => {
  const three = syringe(0.1, 3);
  it("moves one mark and stops at the ends", () => {
    expect(step(three, "0.5", 1)?.ml).toBe(0.6);
    expect(step(three, "0.5", -1)?.ml).toBe(0.4);
    expect(step(three, "3", 1)?.ml).toBe(3);
    expect(step(three, "0.1", -1)?.ml).toBe(0.1);
  });

  it("from between two marks goes to the neighbour in that direction", () => {
    expect(step(three, "0.55", -1)?.ml).toBe(0.5);
    expect(step(three, "0.55", 1)?.ml).toBe(0.6);
  });

  it("a planned volume has a rung only on a mark", () => {
    expect(rungOf(three, 0.4)?.ml).toBe(0.4);
    expect(rungOf(three, 0.42)).toBeNull();
    expect(rungOf(null, 0.4)).toBeNull();
  });
});

describe("the slip of a decimal point", () => {
  it.each([
    ["2.6", 0.26, "ten times"],
    ["0.026", 0.26, "a tenth of"],
    ["0.26", 0.26, null],
    ["0.52", 0.26, null],
    ["0.13", 0.26, null],
    ["", 0.26, null],
  ])("%s against %s planned: %s", (text, planned, expected) => {
    expect(slip(text, planned)).toBe(expected);
  });
});
