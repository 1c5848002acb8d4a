import { describe, expect, it } from "vitest";
import { Playout } from "../wire/playout";
import { Ring } from "../wire/ring";
import type { LiveBreath } from "../wire/types";
import { between, pointAt, snaps, step, valueAt, type Point } from "./measure";
import { bars, holes, lines, oldest, timeAt, xOf, yOf, type Sheet } from "./sweep";

const S: Sheet = { width: 200, height: 100, window: 20_000, gap: 10, low: 0, high: 40, margin: 10 };
const T0 = 1_700_000_000_000; // a whole number of windows

/** Ten a second from T0 on; one unit a sample. */
function ring(...samples: (number | null)[]): Ring {
  const made = new Ring(10, 1, 0);
  made.put({ first: 0, at_ms: T0, samples });
  return made;
}

describe("where a sample lies", () => {
  it("goes from edge to edge in one window and begins again", () => {
    expect(xOf(T0, S)).toBe(0);
    expect(xOf(T0 + 5000, S)).toBe(50);
    expect(xOf(T0 + 25_000, S)).toBe(50);
  });
  it("has the scale's foot under and its top above, with the margin free", () => {
    expect([yOf(0, S), yOf(20, S), yOf(40, S)]).toEqual([90, 50, 10]);
  });
  it("reads the time back from a place, within the last window", () => {
    const head = T0 + 25_000;
    expect(timeAt(xOf(head, S), head, S)).toBe(head);
    expect(timeAt(40, head, S)).toBe(T0 + 24_000);
    expect(timeAt(60, head, S)).toBe(T0 + 6000);
    expect(oldest(head, S)).toBe(T0 + 6000);
  });
});

describe("the line", () => {
  it("passes through every raw sample, none smoothed and none left out", () => {
    const values = [0, 40, 0, 40, 3, 39];
    expect(lines(ring(...values), 0, 6, S)).toEqual([values.map((v, i) => [i, yOf(v, S)])]);
  });
  it("is joined to what was drawn before", () => {
    expect(lines(ring(0, 20, 40), 2, 3, S)).toEqual([
      [
        [1, 50],
        [2, 10],
      ],
    ]);
  });
  it("is broken where samples are missing, and a lone sample stays a dot", () => {
    const made = ring(1, 2, null, 4, null, 6, 7);
    expect(lines(made, 0, 7, S).map((one) => one.length)).toEqual([2, 1, 2]);
  });
  it("never runs back across the sheet", () => {
    const made = new Ring(10, 1, 0);
    made.put({ first: 0, at_ms: T0 + 19_900, samples: [1, 2, 3] });
    expect(lines(made, 0, 3, S).map((one) => one.map(([x]) => x))).toEqual([[199], [0, 1]]);
  });
});

describe("holes", () => {
  it("are the stretches without samples, from the last one before", () => {
    const made = ring(1, 2, null, null, null, null, null, 8, 9);
    expect(holes(made, T0, T0 + 800)).toEqual([[T0 + 100, T0 + 700]]);
  });
  it("last until now where nothing comes any more", () => {
    expect(holes(ring(1, 2), T0, T0 + 2000)).toEqual([[T0 + 100, T0 + 2000]]);
  });
  it("are none before the first sample of all", () => {
    expect(holes(ring(1, 2), T0 - 9000, T0 + 100)).toEqual([]);
  });
});

it("wipes two bars where the pen has gone round", () => {
  expect(bars(T0 + 1000, T0 + 2000, S)).toEqual([{ x: 10, width: 10 }]);
  expect(bars(T0 + 19_000, T0 + 21_000, S)).toEqual([
    { x: 190, width: 10 },
    { x: 0, width: 10 },
  ]);
  expect(bars(T0, T0 + 20_000, S)).toEqual([{ x: 0, width: 200 }]);
});

describe("the ring of samples", () => {
  it("keeps raw numbers and says them in the wave's unit", () => {
    const made = new Ring(100, 0.01, 1);
    made.put({ first: 0, at_ms: T0, samples: [0, 4100, null] });
    expect([0, 1, 2, 3].map((n) => made.value(n))).toEqual([1, 42, null, null]);
  });
  it("leaves numbers that were skipped missing", () => {
    const made = ring(1, 2);
    made.put({ first: 5, at_ms: T0 + 500, samples: [6] });
    expect([0, 1, 2, 3, 4, 5].map((n) => made.value(n))).toEqual([1, 2, null, null, null, 6]);
    expect(made.joined(5)).toBe(false);
  });
  it("takes a repeated chunk once", () => {
    const made = ring(1, 2);
    made.put({ first: 1, at_ms: T0 + 100, samples: [9, 3] });
    expect([0, 1, 2].map((n) => made.value(n))).toEqual([1, 2, 3]);
  });
  it("does not join what came before a new line to what comes after it", () => {
    const made = ring(1, 2);
    made.restart();
    made.put({ first: 0, at_ms: T0 + 4000, samples: [3, 4] });
    expect([made.next, made.joined(2), made.joined(3)]).toEqual([4, false, true]);
    expect(holes(made, T0, T0 + 4100)).toEqual([[T0 + 100, T0 + 4000]]);
  });
  it("lets the wobble of the line glide, and not a gap", () => {
    const made = ring(1, 2);
    made.put({ first: 2, at_ms: T0 + 250, samples: [3] });
    expect(made.at(2)).toBe(T0 + 205);
    made.put({ first: 3, at_ms: T0 + 1300, samples: [4] });
    expect(made.at(3)).toBe(T0 + 1300);
  });
  it("forgets the oldest, and everything when time went back", () => {
    const made = new Ring(10, 1, 0, 2);
    made.put({ first: 0, at_ms: T0, samples: Array.from({ length: 30 }, (_, i) => i) });
    expect([made.first, made.next, made.value(9), made.value(10)]).toEqual([10, 30, null, 10]);
    made.put({ first: 30, at_ms: T0 - 60_000, samples: [5] });
    expect([made.next - made.first, made.newest]).toEqual([1, T0 - 60_000]);
  });
});

describe("the pen's place", () => {
  it("goes evenly between chunks, behind by as long as a chunk lasts", () => {
    const pen = new Playout();
    for (let i = 1; i <= 5; i += 1) pen.heard(T0 + i * 200, 200, i * 200);
    const [a, b] = [pen.head(1000)!, pen.head(1100)!];
    expect(b - a).toBeCloseTo(100, 6);
    expect(T0 + 1000 - a).toBeGreaterThanOrEqual(200);
    expect(T0 + 1000 - a).toBeLessThan(260);
  });
  it("never steps back when a chunk is late", () => {
    const pen = new Playout();
    pen.heard(T0, 40, 0);
    const before = pen.head(100)!;
    pen.heard(T0 + 40, 40, 700);
    expect(pen.head(701)!).toBeGreaterThanOrEqual(before);
  });
  it("runs as fast as a replay is played", () => {
    const pen = new Playout(10);
    pen.heard(T0, 400, 0);
    const before = pen.head(400)!;
    expect(pen.head(500)! - before).toBeCloseTo(1000, 6);
  });
});

describe("measuring", () => {
  const made = ring(0, 10, 20, 30, 31, 32, 20, 0);
  const breath: LiveBreath = { start_ms: T0, end_ms: T0 + 600, etco2: 32, fico2: 0, text: "", doubtful: false };
  const marks = snaps([breath], made, T0, T0 + 1000);

  it("knows start, highest sample and end of a breath", () => {
    expect(marks).toEqual([
      { at: T0, mark: "start" },
      { at: T0 + 500, mark: "end-tidal" },
      { at: T0 + 600, mark: "end" },
    ]);
  });
  it("snaps to a mark within reach and else stays where it was touched", () => {
    expect(pointAt(T0 + 480, marks, made, 60)).toEqual({ at: T0 + 500, mark: "end-tidal", value: 32 });
    expect(pointAt(T0 + 310, marks, made, 60)).toEqual({ at: T0 + 310, mark: "", value: 30 });
    expect(step(pointAt(T0, marks, made, 60), marks, made, 1).mark).toBe("end-tidal");
  });
  it("gives the raw sample, never one between two, and none where there is none", () => {
    expect(valueAt(made, T0 + 149)).toBe(10);
    expect(valueAt(made, T0 + 5000)).toBeNull();
  });
  it("says span, difference with its sign, and rate", () => {
    const a = { at: T0, value: 2, mark: "" };
    const b = { at: T0 + 4000, value: 41.5, mark: "" };
    expect(between(a, b, "mmHg", null)).toEqual({ seconds: "4.00 s", difference: "+39.5 mmHg", rate: "15.0 /min" });
    expect(between(b, a, "mmHg", null).difference).toBe("+39.5 mmHg");
    expect(between(a, { ...b, value: null }, "mmHg", null).difference).toBe("no sample there");
  });
  it("gives a rate only for two points in different breaths (D5)", () => {
    const point = (ms: number): Point => ({ at: T0 + ms, value: 2, mark: "" });
    const breath = (ms: number): LiveBreath => ({ start_ms: T0 + ms, end_ms: T0 + ms + 2000 }) as LiveBreath;
    const known = [breath(0), breath(5000)];
    const rate = (from: number, to: number): string => between(point(from), point(to), "mmHg", known).rate;
    expect(rate(0, 750)).toBe("one breath: no rate");
    expect(rate(750, 5750)).toBe("12.0 /min");
    expect(rate(5000, 9990)).toBe("12.0 /min"); // its breath is not over, and no breath here lasts so long
    expect(between(point(0), point(750), "mmHg", []).rate).toBe("one breath: no rate");
  });
});
