/**
 * A wave drawn as a pen draws it: left to right at a steady pace, round and round, a blank bar ahead of the pen. Every raw
 * sample is a point; nothing is smoothed, nothing thinned out, and where samples are missing there is no line.
 */
import type { Ring } from "../wire/ring";

export interface Sheet {
  width: number;
  height: number;
  /** How long the pen takes from edge to edge. */
  window: number;
  /** The blank bar ahead of the pen. */
  gap: number;
  low: number;
  high: number;
  /** Paper left free above and under the scale. */
  margin: number;
}

export type Line = [x: number, y: number][];
export interface Bar {
  x: number;
  width: number;
}

/** A stretch without samples shorter than this is not worth a hatch, though it is never bridged. */
export const HOLE_MS = 150;

export function xOf(at: number, s: Sheet): number {
  return (((at % s.window) + s.window) % s.window) * (s.width / s.window);
}

export function yOf(value: number, s: Sheet): number {
  const room = s.height - 2 * s.margin;
  return s.height - s.margin - ((value - s.low) / (s.high - s.low)) * room;
}

/** The time that stands at `x` when the pen is at `head`: always within one window before it. */
export function timeAt(x: number, head: number, s: Sheet): number {
  const back = (((xOf(head, s) - x) % s.width) + s.width) % s.width;
  return head - back * (s.window / s.width);
}

/** The oldest moment still on the sheet. */
export function oldest(head: number, s: Sheet): number {
  return head - s.window * (1 - s.gap / s.width);
}

/** The lines that the samples `from` up to, without, `to` add, each joined to the one before it. Lone samples are dots. */
export function lines(ring: Ring, from: number, to: number, s: Sheet): Line[] {
  const found: Line[] = [];
  let line: Line | null = null;
  for (let n = Math.max(from, ring.first); n < to; n += 1) {
    const value = ring.value(n);
    if (value === null) {
      line = null;
      continue;
    }
    const x = xOf(ring.at(n), s);
    const last = ring.joined(n) ? xOf(ring.at(n - 1), s) : null;
    if (last === null || last > x) found.push((line = []));
    else if (!line) found.push((line = [[last, yOf(ring.value(n - 1)!, s)]]));
    line!.push([x, yOf(value, s)]);
  }
  return found;
}

/** Stretches of `from` to `to` without samples, each from the last sample before it. */
export function holes(ring: Ring, from: number, to: number, hole = HOLE_MS): [number, number][] {
  const found: [number, number][] = [];
  const least = Math.max(hole, 3 * ring.step);
  let last = before(ring, from);
  for (let n = Math.max(ring.after(from), ring.first); n < ring.next && ring.at(n) <= to; n += 1) {
    if (ring.missing(n)) continue;
    if (last !== null && ring.at(n) - last > least) found.push([last, ring.at(n)]);
    last = ring.at(n);
  }
  if (last !== null && to - last > least) found.push([last, to]);
  return found;
}

/** The last sample not after a moment. Null before the first of all: there was no line to break. */
function before(ring: Ring, moment: number): number | null {
  let n = ring.after(moment) - 1;
  while (n >= ring.first && ring.missing(n)) n -= 1;
  if (n >= ring.first) return ring.at(n);
  return ring.first > 0 ? moment : null;
}

/** The bars of paper between two moments: two where the right edge lies between them, the whole sheet if a window does. */
export function bars(from: number, to: number, s: Sheet): Bar[] {
  if (to - from >= s.window) return [{ x: 0, width: s.width }];
  const [a, b] = [xOf(from, s), xOf(to, s)];
  if (b >= a) return [{ x: a, width: b - a }];
  return [
    { x: a, width: s.width - a },
    { x: 0, width: b },
  ];
}

/** Rounded figures of a scale: its foot, its middle if whole, its top. */
export function scaleMarks(low: number, high: number): number[] {
  const middle = (low + high) / 2;
  return Number.isInteger(middle) ? [low, middle, high] : [low, high];
}
