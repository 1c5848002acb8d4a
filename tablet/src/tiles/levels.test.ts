import { cleanup, fireEvent, render, screen } from "@testing-library/svelte";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import LevelsPad from "../panels/maintain/LevelsPad.svelte";
import MacPart from "../panels/maintain/MacPart.svelte";
import { clock } from "../wire/clock.svelte";
import type { Entry } from "../wire/outbox";
import { hhmm, hhmmss } from "../wire/times";
import type { AnyEvent, Inhaled, Level, MacNow, MaintainSheet, Num, Pace } from "../wire/types";
import { gasNotYetIn, levelsWord, notYetIn, old, paceIn, paceShort, peak, peakRange, whose } from "./expected";
import InhaledCurve from "./InhaledCurve.svelte";
import { bandOf, frameOf, lineOf, scaleOf, short, sidesOf, stairsOf, timesOf, wideOf, xAt, yAt } from "./level";
import LevelCurve from "./LevelCurve.svelte";
import LevelRows from "./LevelRows.svelte";
import { cutAt } from "./whole";

const BEGIN = Date.parse("2026-11-24T10:40:00Z");
const at = (seconds: number): string => new Date(BEGIN + seconds * 1000).toISOString();

/** Figures chosen for drawing by hand: a curve of 100 s in steps of 25 s on a scale of 10. */
const level = (more: Partial<Level> = {}): Level => ({
  drug: "propofol",
  name: "Propofol",
  sums: "44 mg = 1.88 mg/kg in 2 pushes",
  none: "",
  says: "A prediction for a population, not a measurement of this animal. It orders nothing.",
  population: "model of adult dogs",
  quality: "approximate",
  site: "brain level",
  unit: "mcg/mL",
  begin_at: at(0),
  step_s: 25,
  low: [0, 1, 2, 2, 1],
  middle: [0, 2, 4, 4, 2],
  high: [0, 4, 8, 8, 4],
  top: 10,
  as_of: at(40),
  now_text: "≈ 2 to 7 mcg/mL",
  pushes: [at(0), at(30)],
  peak_text: "",
  peak_from: at(110),
  peak_at: at(140),
  peak_to: at(180),
  next: { text: "2.2 mL now: up to ≈ 4 to 9 mcg/mL", low: [3, 4, 3], high: [9, 12, 9] },
  marks: [
    { text: "jaw loose", low: 2, high: 4, level_text: "2 to 4 mcg/mL", memory: true, cited: [] },
    { text: "intubation", low: 3, high: 6, level_text: "3 to 6 mcg/mL", memory: false, cited: [] },
  ],
  unplaced: [],
  plateau_text: "",
  half_text: "",
  falls: [],
  cautions: [],
  memory: false,
  working: null,
  ...more,
});
const pace = (more: Partial<Pace> = {}): Pace => ({
  text: "4.6 mg/kg/min",
  advice: "slower was published",
  faster: true,
  next_at: at(80),
  memory: false,
  cited: [],
  ...more,
});
function entry(event: Record<string, unknown>, state: Entry["state"] = "waiting"): Entry {
  const whole = { id: "e", case: "c", happened_at: at(60), recorded_at: at(60), by: "h", ...event };
  return { id: "e", case: "c", event: whole as unknown as AnyEvent, say: "", state, refused: null };
}

// The document of these tests has no layout, so nothing there is ever resized.
class Still {
  observe(): void {}
  unobserve(): void {}
  disconnect(): void {}
}
globalThis.ResizeObserver ??= Still as unknown as typeof ResizeObserver;

beforeEach(() => void (clock.now = BEGIN + 50_000));
afterEach(cleanup);

const frame = frameOf(level(), { width: 131, height: 120, left: 30, above: 10, below: 10 })!;

describe("where a level lies", () => {
  it("spans the curve's own time and scale", () => {
    expect([frame.left, frame.right, frame.top, frame.bottom]).toEqual([30, 130, 10, 110]);
    expect(xAt(frame, BEGIN + 50_000)).toBe(80);
    expect(yAt(frame, 5)).toBe(60);
  });
  it("is never drawn beyond its paper", () => {
    expect(xAt(frame, BEGIN + 500_000)).toBe(130);
    expect(yAt(frame, 25)).toBe(10);
  });
  it("is nothing without a beginning, a step or a second value", () => {
    for (const none of [{ begin_at: null }, { step_s: 0 }, { middle: [1] }, { top: 0 }])
      expect(frameOf(level(none), { width: 130, height: 120, left: 30, above: 10, below: 10 })).toBeNull();
  });
  it("draws a line, a band and the steps of a dial", () => {
    expect(lineOf(frame, [0, 10, 0, 0, 0])).toBe("M30 110L55 10L80 110L105 110L130 110");
    expect(bandOf(frame, [0, 0], [10, 10])).toBe("M30 10L55 10L55 110L30 110Z");
    expect(stairsOf(frame, [2, 2, 5])).toBe("M30 90H55V90H80V60");
  });
  it("begins later where its values begin later, and leaves out what lies behind the edge", () => {
    expect(lineOf(frame, [1, 1, 1, 1], BEGIN + 75_000)).toBe("M105 100L130 100");
  });
  it("names two or three round figures", () => {
    expect(scaleOf(7.2, 2).map((s) => s.text)).toEqual(["0", "5"]);
    expect(scaleOf(2.3, 4).map((s) => s.text)).toEqual(["0", "1", "2"]);
    expect(scaleOf(0.45, 2).map((s) => s.text)).toEqual(["0.0", "0.4"]); // never a lone nought
    expect(scaleOf(0.5, 3).map((s) => s.text)).toEqual(["0.0", "0.2", "0.4"]);
  });
  it("pushes words at the side apart and leaves out those without room", () => {
    const many = Array.from({ length: 9 }, (_, i) => ({ text: `m${i}`, low: 4, high: 5 }));
    const ys = sidesOf(frame, many).flatMap((s) => (s.y === null ? [] : [s.y]));
    expect(ys.length).toBe(5);
    expect(ys.slice(1).every((y, i) => y - ys[i]! >= 17)).toBe(true);
    expect(short("a very long name of an effect")).toBe("a very long na…");
  });
  it("writes both ends and now, and gives up an end that now would cover", () => {
    const wide = frameOf(level(), { width: 331, height: 120, left: 30, above: 10, below: 10 })!;
    expect(timesOf(wide, BEGIN + 50_000).map((t) => t.text)).toEqual([hhmm(BEGIN), hhmm(BEGIN + 100_000), "now"]);
    expect(timesOf(wide, BEGIN + 5_000).map((t) => t.text)).toEqual([hhmm(BEGIN + 100_000), "now"]);
    expect(timesOf(wide, BEGIN + 900_000).map((t) => t.text)).toEqual([hhmm(BEGIN), hhmm(BEGIN + 100_000)]);
  });
});

describe("the clock beside a level", () => {
  it("counts down to the peak and then says when it was", () => {
    expect(peak(level(), BEGIN + 90_000)).toBe("peaks in 0:20 to 1:30");
    expect(peak(level(), BEGIN + 109_500)).toBe("peaks now, at the latest in 1:10");
    expect(peak(level(), BEGIN + 143_000)).toBe("peaks now, at the latest in 0:37");
    expect(peak(level(), BEGIN + 400_000)).toBe("peaked");
    expect(peakRange(level(), BEGIN + 70_000)).toBe("peaks in 0:40 to 1:50");
    expect(peakRange(level(), BEGIN + 120_000)).toBe("peaks about now, at the latest in 1:00");
    expect(peak(level({ peak_from: null }), BEGIN + 90_000)).toBe("peaks in about 0:50");
    expect(peak(level({ peak_from: null, peak_at: null }), BEGIN)).toBe("");
  });
  it("counts down to the published pace", () => {
    expect(paceIn(pace(), BEGIN + 57_000)).toBe(`pace kept from ${hhmmss(at(80))}, in 0:23`);
    expect(paceIn(pace(), BEGIN + 99_000)).toBe("pace kept from now on");
    expect(paceShort(pace(), BEGIN + 57_000)).toBe("kept in 0:23");
    expect(paceIn(pace({ next_at: null }), BEGIN)).toBe("");
  });
  it("says that it is old only without a link", () => {
    expect(old(at(0), BEGIN + 61_000, "none")).toBe(`no link: as of ${hhmm(BEGIN)}`);
    expect(old(at(0), BEGIN + 59_000, "none")).toBe("");
    expect(old(at(0), BEGIN + 3_600_000, "live")).toBe("");
  });
});

describe("what a curve does not hold yet", () => {
  it("names the push that waits, of this drug alone", () => {
    expect(notYetIn(level(), [entry({ event: "DrugGiven", drug: "propofol" })])).toBe(
      `push of ${hhmm(at(60))} not yet in it`,
    );
    expect(notYetIn(level(), [entry({ event: "DrugGiven", drug: "atropine" })])).toBe("");
    expect(notYetIn(level(), [entry({ event: "DrugGiven", drug: "propofol" }, "refused")])).toBe("");
  });
  it("names a pump, a strike, a dial", () => {
    expect(notYetIn(level(), [entry({ event: "InfusionChanged" })])).toContain("pump entry");
    expect(notYetIn(level(), [entry({ event: "EntryStruck" })])).toContain("strike");
    expect(gasNotYetIn([entry({ event: "VaporiserSet" })])).toContain("setting of");
  });
});

describe("the curve", () => {
  it("always says that it is an estimate, of what and of whom", () => {
    const { container } = render(LevelCurve, { level: level() });
    expect(container.textContent).toContain("≈ est., not measured");
    expect(container.textContent).toContain("brain level, model of adult dogs, approximate");
    expect(whose(level({ quality: "" }))).toBe("brain level, model of adult dogs");
  });
  it("is a picture with a sentence that begins with what it is not", () => {
    render(LevelCurve, { level: level(), lacks: "push of 10:41 not yet in it" });
    const said = screen.getByRole("img").getAttribute("aria-label") ?? "";
    expect(said).toMatch(/^Expected, not measured: Propofol/);
    expect(said).toContain("2 pushes");
    expect(said).toContain("intubation at 3 to 6 mcg/mL");
    expect(said).toContain("push of 10:41 not yet in it");
    expect(screen.getByText("push of 10:41 not yet in it")).toBeTruthy();
  });
  it("draws the past and what is to come apart, each push, and the next push as an outline", () => {
    const { container } = render(LevelCurve, { level: level() });
    expect(container.querySelectorAll(".past .middle, .ahead .middle")).toHaveLength(2);
    expect(container.querySelectorAll("path[fill='var(--ink)']")).toHaveLength(2);
    const next = [...container.querySelectorAll(".next")].map((path) => path.getAttribute("d") ?? "");
    expect(next).toHaveLength(2);
    // three steps that end where the curve ends: they begin in its middle
    expect(next[0]!.split("L")).toHaveLength(3);
  });
  it("has a key to its lines where they stand in full", () => {
    const { container } = render(LevelCurve, { level: level(), h: 140 });
    expect(container.querySelector(".key")?.textContent).toMatch(/went in.*to come.*10\s+to 90 % of animals/s);
  });
  it("keeps its scale's unit out of the plot, where the line of now runs", () => {
    const { container } = render(LevelCurve, { level: level(), h: 140 });
    const axis = container.querySelector("path[stroke='var(--ink)']")?.getAttribute("d") ?? "";
    expect(Number(/^M([\d.]+)/.exec(axis)?.[1])).toBeGreaterThan(wideOf("10 mcg/mL"));
  });
  it("says when its time is over", () => {
    clock.now = BEGIN + 600_000;
    render(LevelCurve, { level: level() });
    expect(screen.getByText(`this curve ended at ${hhmm(BEGIN + 100_000)}`)).toBeTruthy();
  });
});

describe("the rows of a level", () => {
  it("tell the sums and why there is no curve", () => {
    const { container } = render(LevelRows, { level: level({ none: "No estimate: no set for this animal." }) });
    expect(container.querySelector("svg")).toBeNull();
    expect(container.textContent).toContain("No estimate: no set for this animal.");
    expect(container.textContent).toContain("44 mg = 1.88 mg/kg in 2 pushes");
  });
  it("mark what is from memory and order nothing", () => {
    const { container } = render(LevelRows, { level: level(), pace: pace() });
    expect(container.textContent).toContain("It orders nothing.");
    expect(screen.getAllByText("from memory")).toHaveLength(1);
    expect(screen.getByText("faster")).toBeTruthy();
    expect(container.textContent).toContain("time holds no push back");
  });
  it("let one level be asked for after a stop", async () => {
    const falls = [
      { text: "half of now", minutes_text: "≈ 8 to 14 min", from_at: at(60), to_at: at(90), memory: false },
    ];
    const { container } = render(LevelRows, { level: level({ falls }) });
    const key = screen.getByRole("button", { name: /half of now/ });
    expect(container.querySelector(".span")).toBeNull();
    await fireEvent.click(key);
    expect(key.getAttribute("aria-pressed")).toBe("true");
    expect(container.querySelector(".span")).toBeTruthy();
    expect(key.textContent).toContain(`${hhmm(at(60))} to ${hhmm(at(90))}`);
  });
});

const gas = (more: Partial<Inhaled> = {}): Inhaled => ({
  agent: "isoflurane",
  name: "Isoflurane",
  none: "",
  says: "",
  unit: "%",
  begin_at: at(0),
  step_s: 25,
  dial: [2, 2, 1, 1, 1],
  inspired: [1, 2, 1.5, 1, 1],
  low: [0, 0.4, 0.6, 0.7, 0.7],
  middle: [0, 0.5, 0.8, 0.9, 0.9],
  high: [0, 0.7, 1, 1.1, 1.1],
  top: 2.3,
  as_of: at(40),
  now_text: "≈ 0.6 to 1 % end-tidal",
  measured: [{ at: at(25), text: "0.6 %", low: 0.6, high: 0.6, mark: "measured" as const }],
  lines: [],
  cautions: [],
  memory: false,
  working: null,
  ...more,
});

describe("the inhaled agent", () => {
  it("draws set, expected and measured each in its own way", () => {
    const { container } = render(InhaledCurve, { gas: gas() });
    expect(container.querySelectorAll(".ahead .dial, .past .dial")).toHaveLength(2);
    expect(container.querySelectorAll("circle.dot")).toHaveLength(2); // one measured, one in the key to the lines
    expect(container.querySelectorAll("circle.typed")).toHaveLength(0);
    const said = screen.getByRole("img").getAttribute("aria-label");
    expect(said).toContain("expected, not measured");
    expect(said).toContain("last measured end-tidal 0.6 %");
  });
  it("keys the ink of what was read: typed, measured, or both", () => {
    const typed = { at: at(25), text: "0.6 %", low: 0.6, high: 0.6, mark: "typed" as const };
    const one = render(InhaledCurve, { gas: gas({ measured: [typed] }) });
    expect(one.container.querySelectorAll(".key circle.typed")).toHaveLength(1);
    expect(one.container.querySelectorAll(".key circle")).toHaveLength(1);
    cleanup();
    const both = render(InhaledCurve, { gas: gas({ measured: [typed, { ...typed, at: at(50), mark: "measured" }] }) });
    expect(both.container.querySelector(".key")?.textContent).toMatch(/as read, measured.*as read, typed/s);
    cleanup();
    expect(render(InhaledCurve, { gas: gas({ measured: [] }) }).container.querySelector(".key circle")).toBeNull();
  });
  it("and the key to the levels says whether anything is estimated", () => {
    expect(levelsWord([], null)).toBe("nothing yet");
    expect(levelsWord([level({ none: "No estimate" })], gas({ none: "No estimate" }))).toBe("no model");
    expect(levelsWord([level({ none: "No estimate" })], gas())).toBe("≈ est.");
  });
});

describe("MAC", () => {
  const mac: MacNow = {
    agent: "Isoflurane",
    range_text: "1.2 to 2.2 % end-tidal",
    multiple: null,
    parts: [{ text: "fentanyl runs", change: "× 0.6 to 0.8", memory: true, cited: [] }],
    not_counted: ["methadone: no figure"],
    trend: Array.from({ length: 6 }, (_, i) => ({
      at: at(i * 300),
      text: `0.${i} to 1`,
      low: i / 10,
      high: 1,
      mark: "measured" as const,
    })),
    says: "",
    memory: false,
    cited: [],
  };
  it("is a range and a number, and never a word for a depth", async () => {
    const { container } = render(MacPart, { mac });
    expect(container.textContent).toContain("1.2 to 2.2 % end-tidal");
    expect(container.textContent).toContain("no end-tidal figure yet");
    expect(container.textContent).toContain("methadone: no figure");
    expect(container.textContent?.toLowerCase()).not.toMatch(/\b(light|deep|surgical|awake)\b/);
    expect(container.querySelectorAll("tbody tr")).toHaveLength(4);
    await fireEvent.click(screen.getByRole("button", { name: "all 6" }));
    expect(container.querySelectorAll("tbody tr")).toHaveLength(6);
  });
});

describe("a multiple of MAC", () => {
  it("carries the moment of its reading, and its picture ends now", () => {
    const multiple: Num = {
      text: "0.78 to 1.2",
      unit: "× MAC",
      mark: "worked",
      memory: false,
      estimated: false,
      at: new Date(clock.now - 8 * 60_000).toISOString(),
      by: "",
      working: null,
    };
    const point = { at: multiple.at!, text: "0.78 to 1.2", low: 0.78, high: 1.2, mark: "typed" as const };
    const none = {
      agent: "Isoflurane",
      range_text: "",
      parts: [],
      not_counted: [],
      says: "",
      memory: false,
      cited: [],
    };
    const { container } = render(MacPart, { mac: { ...none, multiple, trend: [point] } });
    expect(container.textContent).toContain(`at ${hhmm(multiple.at!)}, 8 min ago`);
    expect(container.querySelector("svg .now")?.textContent).toBe("now");
  });
});

describe("the levels by vein", () => {
  it("are a page for each drug, one key away", async () => {
    const levels = [level(), level({ drug: "fentanyl", name: "Fentanyl", sums: "90 mcg in 1 push" })];
    const sheet = { levels, inhaled: null, mac: null, expected: true } as unknown as MaintainSheet;
    const { container } = render(LevelsPad, { sheet, onclose: () => undefined });
    expect(container.textContent).toContain("44 mg = 1.88 mg/kg in 2 pushes");
    expect(container.textContent).not.toContain("90 mcg in 1 push");
    await fireEvent.click(screen.getByRole("button", { name: "Fentanyl" }));
    expect(container.textContent).toContain("90 mcg in 1 push");
    expect(container.textContent).not.toContain("44 mg = 1.88 mg/kg");
  });
});

describe("rows that are shown whole", () => {
  const rows = [
    { top: 0, bottom: 60 },
    { top: 60, bottom: 130 },
  ];
  it("leave out one that the edge would cut, unless that left much empty", () => {
    expect(cutAt(rows, 0, 100)).toBe(40);
    expect(cutAt(rows, 0, 130)).toBe(0);
    expect(cutAt([{ top: 10, bottom: 900 }], 0, 500)).toBe(0);
  });
});
