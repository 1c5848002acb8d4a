import { describe, expect, it } from "vitest";
import { answered, flipped, lacking, type Ask } from "./asks";
import { lips } from "./pore";
import { lines, loupe } from "./syringe";

describe("a drawn syringe", () => {
  // ISO 7886-1 graduations in common use: 1 mL by 0.01, 3 mL by 0.1, 20 mL by 1 (common practice)
  it.each([
    [1, 0.01, 101],
    [3, 0.1, 31],
    [20, 1, 21],
  ])("of %d mL shows every mark it has", (holds, mark, count) => {
    const all = lines(holds, mark);
    expect(all).toHaveLength(count);
    expect(all.at(-1)).toMatchObject({ ml: holds, text: String(holds) });
  });

  it("never labels a line that is no mark, nor more than six", () => {
    for (const [holds, mark] of [
      [0.5, 0.01],
      [1, 0.01],
      [2.5, 0.1],
      [3, 0.1],
      [5, 0.2],
      [10, 0.5],
      [20, 1],
      [60, 1],
    ] as const) {
      const labels = lines(holds, mark).filter((line) => line.text);
      expect(labels.length).toBeGreaterThan(1);
      expect(labels.length).toBeLessThanOrEqual(6);
      for (const { ml } of labels) expect(Math.abs(ml / mark - Math.round(ml / mark))).toBeLessThan(1e-6);
    }
  });

  it("has a loupe of one tenth, or of six marks, that stays inside the barrel", () => {
    for (const at of [0, 0.02, 0.5, 0.98, 1]) {
      const { from, to } = loupe(at, 1, 0.01);
      expect(to - from).toBeCloseTo(0.1, 9);
      expect(from).toBeGreaterThanOrEqual(0);
      expect(to).toBeLessThanOrEqual(1 + 1e-9);
      expect(at).toBeGreaterThanOrEqual(from - 1e-9);
      expect(at).toBeLessThanOrEqual(to + 1e-9);
    }
  });
});

it("shows six marks of a coarse syringe", () => {
  const { from, to } = loupe(1.2, 3, 0.1);
  expect((to - from) / 0.1).toBeCloseTo(6, 9);
});

describe("the pore", () => {
  it("is one line when shut and two lips when open", () => {
    expect(lips(28, 0, 2).match(/M/g)).toHaveLength(1);
    expect(lips(28, 1, 2).match(/Q/g)).toHaveLength(2);
  });
});

describe("a form", () => {
  const asks: Ask[] = [
    { field: "site", label: "Where", kind: "choice", choices: ["left", "right"] },
    { field: "size", label: "Size", kind: "number", optional: true },
    { field: "monitors", label: "Which", kind: "many", choices: ["a", "b"] },
  ];
  it("names what is still open and fills in nothing", () => {
    expect(lacking(asks, {})).toEqual(["Where", "Which"]);
    expect(answered(asks, { site: "left", monitors: "a|b" })).toEqual({ site: "left", monitors: ["a", "b"] });
  });
  it("sends a figure exactly as it was typed", () => {
    expect(answered(asks, { size: "7.0" })).toEqual({ size: "7.0" });
  });
  it("lets one of several join and leave", () => {
    expect(flipped(flipped(undefined, "a"), "b")).toBe("a|b");
    expect(flipped("a|b", "a")).toBe("b");
  });
});
