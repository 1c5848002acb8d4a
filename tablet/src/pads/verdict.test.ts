import { describe, expect, it } from "vitest";
import type { Ladder, Rung } from "../wire/types";
import { find, slip } from "./ladder";
import { doseInWords } from "./noting";
import { verdict } from "./verdict";

/** A 1 mL syringe in marks of 0.01 mL whose order ends at 0.26 mL and whose hard stop lies over 0.4 mL. */
function rung(i: number): Rung {
  const ml = i / 100;
  const zone = ml > 0.4 ? "forbidden" : ml > 0.3 ? "unusual" : "usual";
  return { ml, text: String(ml), amount: i, amount_text: "", per_kg_text: "", zone, over_order: ml > 0.26 };
}
const ladder: Ladder = {
  barrel: "1 mL syringe",
  mark_ml: 0.01,
  holds_ml: 1,
  unit: "mg",
  rungs: Array.from({ length: 100 }, (_, i) => rung(i + 1)),
};
const ask = (text: string, more: Partial<Parameters<typeof verdict>[0]> = {}): ReturnType<typeof verdict> =>
  verdict({
    text,
    found: find(ladder, text),
    plannedMl: 0.26,
    leftMl: 1,
    leftText: "1 mL",
    holds: ladder.barrel,
    spoken: false,
    slip: slip(text, 0.26),
    ...more,
  });

describe("the main key of the Give pad", () => {
  it("is ready for a mark inside the order", () => {
    expect(ask("0.26")).toMatchObject({ state: "ready", says: "" });
  });

  it("waits for a volume and never refuses an empty field", () => {
    for (const text of ["", "0", "0."]) expect(ask(text).state).toBe("empty");
  });

  it("names a volume between two marks and offers both", () => {
    const v = ask("0.165");
    expect(v.state).toBe("refused");
    expect(v.use.map((r) => r.ml)).toEqual([0.16, 0.17]);
  });

  it("names ten times the order before anything else that is wrong with it", () => {
    expect(ask("2.6").says).toContain("ten times the order");
    expect(ask("2.6").state).toBe("refused");
  });

  it("says that a tenth of the order was typed, and lets it through", () => {
    expect(ask("0.03")).toMatchObject({ state: "ready", says: "0.03 mL is a tenth of the order." });
  });

  it("asks for the veterinarian over the order, and takes a word that was read back", () => {
    expect(ask("0.3").state).toBe("said");
    expect(ask("0.3", { spoken: true }).state).toBe("ready");
  });

  it("refuses over the hard stop, spoken or not", () => {
    expect(ask("0.5").state).toBe("refused");
    expect(ask("0.5", { spoken: true }).state).toBe("refused");
  });

  it("refuses more than is left in the syringe", () => {
    expect(ask("0.2", { leftMl: 0.1, leftText: "0.1 mL" })).toMatchObject({ state: "refused" });
  });

  it("never lets a forbidden mark through, whatever was typed", () => {
    for (let i = 1; i <= 100; i += 1) {
      const v = ask(String(i / 100), { spoken: true });
      if (i > 40) expect(v.state).toBe("refused");
    }
  });
});

describe("free words", () => {
  it("hold no figure with a unit", () => {
    for (const text of ["gave 2 mg", "0.5mL flush", "oxygen 2 L/min", "10 units"]) expect(doseInWords(text)).toBe(true);
    for (const text of ["owner called at 10", "left hind leg shaved", "2 people held"])
      expect(doseInWords(text)).toBe(false);
  });
});
