import { describe, expect, it } from "vitest";
import { DIGITS, type DigitKey, judged, plain, typed, valueOf } from "./typing";

const keyed = (...keys: DigitKey[]): string => keys.reduce(typed, "");

describe("the number keys", () => {
  it("stand in one order, four rows of three", () => {
    expect(DIGITS.join(" ")).toBe("1 2 3 4 5 6 7 8 9 0. 0 ←");
  });

  it("0. writes a leading zero into an empty field and a point after a digit", () => {
    expect(keyed("0.", "5")).toBe("0.5");
    expect(keyed("3", "0.", "6")).toBe("3.6");
  });

  it("a second point does nothing", () => {
    expect(keyed("1", "0.", "0.", "2", "0.")).toBe("1.2");
  });

  it("leading zeros vanish except before the point", () => {
    expect(keyed("0", "0", "7")).toBe("7");
    expect(keyed("0", "0.", "0", "7")).toBe("0.07");
  });

  it("← takes one, and 0. as the one key it was", () => {
    expect(keyed("1", "2", "←")).toBe("1");
    expect(keyed("0.", "←")).toBe("");
    expect(keyed("←")).toBe("");
  });

  it("never writes a bare point or grows without end", () => {
    let text = "";
    for (let i = 0; i < 400; i += 1) {
      text = typed(text, DIGITS[(i * 7 + (i >> 3)) % DIGITS.length] ?? "1");
      expect(text).toMatch(/^(\d{0,7}|\d+\.\d*)$/);
      expect(text.length).toBeLessThanOrEqual(7);
      expect(text).not.toMatch(/^0\d/);
    }
  });
});

describe("what a text stands for", () => {
  it("is nothing until the figure is finished", () => {
    expect(valueOf("")).toBeNull();
    expect(valueOf("36.")).toBeNull();
    expect(valueOf("36.2")).toBe(36.2);
  });

  it("a comma, an exponent, a sign or a word is no number", () => {
    for (const text of ["1,5", "1e3", "-4", "NaN", ".5", "1.2.3", " 4"]) expect(valueOf(text)).toBeNull();
  });

  it("is written without trailing zeros", () => {
    expect(plain("0.50")).toBe("0.5");
    expect(plain("5.0")).toBe("5");
    expect(plain("50")).toBe("50");
  });
});

describe("held against its bounds", () => {
  const bounds = { low: 20, high: 45, askLow: 35, askHigh: 39.5, places: 1 };
  it.each([
    ["", "empty"],
    ["37.2", "fine"],
    ["20", "ask"],
    ["45", "ask"],
    ["39.6", "ask"],
    ["19.9", "refused"],
    ["372", "refused"],
    ["37.25", "refused"],
  ])("%s is %s", (text, state) => {
    expect(judged(text, "a temperature", "°C", bounds).state).toBe(state);
  });

  it("a refusal says what would be accepted", () => {
    const j = judged("372", "a temperature", "°C", bounds);
    expect(j).toEqual({
      state: "refused",
      says: "372\u00a0°C cannot be a temperature.",
      accepts: "Accepted: 20 to 45\u00a0°C.",
    });
  });
});
