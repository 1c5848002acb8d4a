import { describe, expect, it } from "vitest";
import { age, hourMin, hoursBetween, isoZone, minSec, openness, span } from "./times";

describe("spans in words", () => {
  it.each([
    [0, "now"],
    [9_999, "now"],
    [10_000, "10 s"],
    [59_999, "59 s"],
    [60_000, "1 min"],
    [3_599_000, "59 min"],
    [3_600_000, "1 h"],
    [12_000_000, "3 h 20 min"],
    [86_400_000, "1 day"],
    [190_000_000, "2 days"],
  ])("%d ms is %s", (ms, words) => expect(span(ms)).toBe(words));

  it("ages a reading by its own moment", () => {
    expect(age("2026-03-01T10:00:00+01:00", Date.parse("2026-03-01T09:07:30Z"))).toBe("7 min");
  });

  it("writes running clocks without losing a leading zero", () => {
    expect(minSec(65_000)).toBe("1:05");
    expect(minSec(3_725_000)).toBe("62:05");
    expect(hourMin(2_820_000)).toBe("0:47");
    expect(hourMin(-1)).toBe("0:00");
  });
});

describe("moments", () => {
  it("keeps the instant and names the zone", () => {
    const at = new Date("2026-07-01T12:34:56.789Z");
    const text = isoZone(at);
    expect(new Date(text).getTime()).toBe(at.getTime());
    expect(text).toMatch(/[+-]\d\d:\d\d$/);
  });

  it("finds the full hours inside a span", () => {
    const from = new Date(2026, 2, 3, 9, 20).getTime();
    const to = new Date(2026, 2, 3, 12, 10).getTime();
    expect(hoursBetween(from, to).map((at) => new Date(at).getHours())).toEqual([10, 11, 12]);
  });
});

describe("how far a pore is open", () => {
  const from = "2026-03-01T10:00:00Z";
  const to = "2026-03-01T10:10:00Z";
  it.each([
    ["2026-03-01T10:00:00Z", 1],
    ["2026-03-01T10:05:00Z", 0.5],
    ["2026-03-01T10:10:00Z", 0],
    ["2026-03-01T10:30:00Z", 0],
    ["2026-03-01T09:00:00Z", 1],
  ])("at %s it is %d", (now, o) => expect(openness(from, to, Date.parse(now))).toBe(o));
});
