/**
 * Where an expected level lies, in pixels, from the core's own figures and a clock. Pure: it draws nothing, reads no clock
 * and works out no dose and no level.
 */
import { hhmm } from "../wire/times";

/** What can be drawn: values at `begin_at` and every `step_s` after it, up to `top`. */
export interface Drawn {
  begin_at: string | null;
  step_s: number;
  middle: readonly number[];
  top: number;
}

export interface Frame {
  left: number;
  right: number;
  top: number;
  bottom: number;
  from: number;
  to: number;
  high: number;
  step: number;
}

export interface Box {
  width: number;
  height: number;
  left: number;
  /** room for words at the right of the plot */
  right?: number;
  /** room above the plot and below it, for words */
  above: number;
  below: number;
}

/** The frame of a curve, or null when there is nothing to draw. */
export function frameOf(curve: Drawn, box: Box): Frame | null {
  const from = curve.begin_at ? Date.parse(curve.begin_at) : NaN;
  const step = curve.step_s * 1000;
  if (!Number.isFinite(from) || step <= 0 || curve.middle.length < 2 || curve.top <= 0) return null;
  return {
    left: box.left,
    right: Math.max(box.left + 1, box.width - 1 - (box.right ?? 0)),
    top: box.above,
    bottom: Math.max(box.above + 1, box.height - box.below),
    from,
    to: from + step * (curve.middle.length - 1),
    high: curve.top,
    step,
  };
}

export const xAt = (f: Frame, at: number): number =>
  f.left + ((Math.min(f.to, Math.max(f.from, at)) - f.from) / (f.to - f.from)) * (f.right - f.left);

export const yAt = (f: Frame, value: number): number =>
  f.bottom - (Math.min(f.high, Math.max(0, value)) / f.high) * (f.bottom - f.top);

const near = (value: number): string => String(Math.round(value * 10) / 10);

function points(f: Frame, values: readonly number[], from: number): string[] {
  return values
    .map((value, i) => ({ at: from + i * f.step, value }))
    .filter((p) => p.at <= f.to && Number.isFinite(p.value))
    .map((p) => `${near(xAt(f, p.at))} ${near(yAt(f, p.value))}`);
}

/** A line through values that begin at `from` (the curve's own beginning without it). */
export function lineOf(f: Frame, values: readonly number[], from = f.from): string {
  const found = points(f, values, from);
  return found.length > 1 ? `M${found.join("L")}` : "";
}

/** The area between two lines. */
export function bandOf(f: Frame, low: readonly number[], high: readonly number[], from = f.from): string {
  const [under, over] = [points(f, low, from), points(f, high, from)];
  return over.length > 1 && under.length > 1 ? `M${over.join("L")}L${under.reverse().join("L")}Z` : "";
}

/** A setting: it stands until it is changed, so that its line has corners. */
export function stairsOf(f: Frame, values: readonly number[]): string {
  const y = (i: number): string => near(yAt(f, values[i] ?? 0));
  return values
    .map((_, i) => i)
    .filter((i) => f.from + i * f.step <= f.to)
    .map((i) => (i === 0 ? `M${near(f.left)} ${y(0)}` : `H${near(xAt(f, f.from + i * f.step))}V${y(i)}`))
    .join("");
}

/** Two or three steps of a scale that reads by eye: 1, 2 or 5 of a power of ten. */
export function scaleOf(high: number, most = 3): { value: number; text: string }[] {
  const rough = high / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = ([1, 2, 5, 10].find((n) => n * power >= rough * 0.999) ?? 10) * power;
  const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const count = Math.floor(high / step + 1e-9);
  if (count === 0 && most < 8) {
    // the step for so few lies over the whole scale: its ends by a finer one
    const finer = scaleOf(high, most + 2);
    return finer.length > 2 ? [finer[0]!, finer.at(-1)!] : finer;
  }
  return Array.from({ length: count + 1 }, (_, i) => ({ value: i * step, text: (i * step).toFixed(places) }));
}

export interface Side<T> {
  of: T;
  y1: number;
  y2: number;
  /** where its words stand; null: no room */
  y: number | null;
}

/** Published bands at the side: each where it lies, their words pushed apart so that none covers another. */
export function sidesOf<T extends { low: number; high: number }>(f: Frame, marks: readonly T[], line = 17): Side<T>[] {
  const room = Math.floor((f.bottom - f.top) / line);
  const inside = marks.filter((m) => m.low < f.high && m.high > 0).sort((a, b) => b.low + b.high - a.low - a.high);
  let last = f.top - line;
  return inside.map((of, i) => {
    const [y1, y2] = [yAt(f, of.high), yAt(f, of.low)];
    const left = Math.min(room, inside.length) - i - 1;
    if (left < 0) return { of, y1, y2, y: null };
    const y = Math.min(Math.max((y1 + y2) / 2, last + line), f.bottom - line / 2 - left * line);
    last = y;
    return { of, y1, y2, y };
  });
}

const LETTER_PX = 7;
const LONGEST = 15;

/** Room that words of 15 px take, rounded up. */
export const wideOf = (text: string): number => Math.ceil(LETTER_PX * text.length);

/** Words of a mark as they fit beside the plot; the whole of them stands in the rows. */
export const short = (text: string): string =>
  text.length > LONGEST ? `${text.slice(0, LONGEST - 1).trimEnd()}…` : text;

/** Room for the longest of them, with its bracket. */
export function besideOf(marks: readonly { text: string }[]): number {
  return marks.length ? 14 + LETTER_PX * Math.max(...marks.map((m) => short(m.text).length)) : 0;
}

const APART = 58;
const BESIDE = 42;

/** Times on the axis: both ends and now; an end is left out where now would cover it. */
export function timesOf(f: Frame, now: number): { x: number; text: string; anchor: string; now: boolean }[] {
  const at = xAt(f, now);
  const [before, after] = [at - f.left, f.right - at];
  const shown = now >= f.from && now <= f.to;
  const ends = [
    { x: f.left, text: hhmm(f.from), anchor: "start", now: false, away: before },
    { x: f.right, text: hhmm(f.to), anchor: "end", now: false, away: after },
  ];
  const kept = ends
    .filter((e) => !shown || e.away >= BESIDE)
    .map(({ x, text, anchor }) => ({ x, text, anchor, now: false }));
  if (!shown) return kept;
  const leans = before < 18 || (before >= BESIDE && before < APART) ? "start" : after < APART ? "end" : "middle";
  return [...kept, { x: at, text: "now", anchor: leans, now: true }];
}
