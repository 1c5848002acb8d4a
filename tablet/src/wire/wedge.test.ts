import { describe, expect, it } from "vitest";
import { scanned } from "./route.svelte";
import { wedge } from "./wedge";

const CODE = "http://tablet.example/#/case/89f77c5e/syringe/s-1";
const ours = (text: string): boolean => scanned(text) !== null;

function typed(text: string, gap: number, inField = false): string | null {
  const one = wedge(ours);
  let read: string | null = null;
  [...text, "Enter"].forEach((key, i) => (read = one.key(key, i * gap, inField)));
  return read;
}

describe("a scanner that types", () => {
  it("U21, U22: a burst ended by Enter is read", () => expect(typed(CODE, 8)).toBe(CODE));
  it("a hand is not a scanner", () => expect(typed("keys of a hand that has no field", 140)).toBeNull());
  it("one of our codes is taken at any pace", () => expect(typed(CODE, 140)).toBe(CODE));
  it("what was left lying is not joined to what comes later", () => expect(typed(CODE, 1600)).toBeNull());
  it("a busy device holds a few keys up", () => {
    const one = wedge(ours);
    const strange = "5012345678900-5012345678900";
    let at = 0;
    [...strange].forEach((key, i) => one.key(key, (at += i % 9 === 8 ? 300 : 8), false));
    expect(one.key("Enter", at + 8, false)).toBe(strange);
  });
  it("what goes into a field is left alone", () => expect(typed(CODE, 8, true)).toBeNull());
  it("Shift between the signs is no sign", () => {
    const one = wedge(ours);
    const keys = [...CODE].flatMap((key) => (key === ":" ? ["Shift", key] : [key]));
    keys.forEach((key, i) => one.key(key, i * 5, false));
    expect(one.key("Enter", keys.length * 5, false)).toBe(CODE);
  });
});

describe("what a code names", () => {
  it.each([
    [CODE, { id: "89f77c5e", thing: { kind: "syringe", id: "s-1" } }],
    ["spiracle:#/case/a/bag/b%201", { id: "a", thing: { kind: "bag", id: "b 1" } }],
    ["http://tablet.example/#/case/89f77c5e/plan", null],
    ["5012345678900", null],
  ])("%s", (text, meant) => expect(scanned(text)).toEqual(meant));
});
