/** Two points on a frozen picture and what lies between them; and the marks of the breaths that a point snaps to. */
import type { LiveBreath } from "../wire/types";
import type { Ring } from "../wire/ring";

export interface Point {
  at: number;
  value: number | null;
  /** "start", "end-tidal", "end", or "" where no mark was near. */
  mark: string;
}

export interface Snap {
  at: number;
  mark: string;
}

/** Start and end of each expiration, and its highest sample, where they lie between the two moments. */
export function snaps(breaths: readonly LiveBreath[], ring: Ring, from: number, to: number): Snap[] {
  const found: Snap[] = [];
  for (const breath of breaths) {
    found.push({ at: breath.start_ms, mark: "start" });
    const top = highest(ring, breath.start_ms, breath.end_ms);
    if (top !== null && top !== breath.end_ms) found.push({ at: top, mark: "end-tidal" });
    found.push({ at: breath.end_ms, mark: "end" });
  }
  return found
    .filter((one) => one.at >= from && one.at <= to && valueAt(ring, one.at) !== null)
    .sort((a, b) => a.at - b.at);
}

function highest(ring: Ring, from: number, to: number): number | null {
  let [best, at]: [number, number | null] = [-Infinity, null];
  for (let n = Math.max(ring.first, ring.after(from) - 1); n < ring.after(to); n += 1) {
    const value = ring.value(n);
    if (value !== null && value >= best) [best, at] = [value, ring.at(n)];
  }
  return at;
}

/** The raw sample nearest to a moment; null if none lies within two steps. */
export function valueAt(ring: Ring, at: number): number | null {
  const n = ring.after(at);
  const near = [n - 1, n].filter((i) => !ring.missing(i) && Math.abs(ring.at(i) - at) <= 2 * ring.step + 0.5);
  near.sort((a, b) => Math.abs(ring.at(a) - at) - Math.abs(ring.at(b) - at));
  return near.length ? ring.value(near[0]!) : null;
}

/** A touched moment as a point: on the nearest mark if one lies within `reach`, else where it was touched. */
export function pointAt(at: number, marks: readonly Snap[], ring: Ring, reach: number): Point {
  const near = [...marks].sort((a, b) => Math.abs(a.at - at) - Math.abs(b.at - at))[0];
  const snapped = near && Math.abs(near.at - at) <= reach ? near : { at, mark: "" };
  return { ...snapped, value: valueAt(ring, snapped.at) };
}

/** The next mark from a point, one way or the other. */
export function step(point: Point, marks: readonly Snap[], ring: Ring, way: 1 | -1): Point {
  const on = way > 0 ? marks.find((m) => m.at > point.at + 0.5) : marks.filter((m) => m.at < point.at - 0.5).at(-1);
  return on ? { ...on, value: valueAt(ring, on.at) } : point;
}

export interface Between {
  seconds: string;
  difference: string;
  rate: string;
}

/** Whether two moments lie in different breaths: one begins between them, or no breath known here lasts so long. */
function apart(from: number, to: number, breaths: readonly LiveBreath[]): boolean {
  const starts = breaths.map((one) => one.start_ms).sort((a, b) => a - b);
  if (starts.some((s) => s > from + 0.5 && s <= to + 0.5)) return true;
  const cycles = starts.slice(1).map((s, i) => s - starts[i]!);
  return cycles.length > 0 && to - from >= 0.9 * Math.max(...cycles);
}

/** Words for two points; `unit` is the wave's. A rate only from one breath to another; `breaths` null: from beat to beat. */
export function between(a: Point, b: Point, unit: string, breaths: readonly LiveBreath[] | null): Between {
  const s = Math.abs(b.at - a.at) / 1000;
  const known = a.value !== null && b.value !== null;
  const later = a.at <= b.at ? [a, b] : [b, a];
  const d = known ? later[1]!.value! - later[0]!.value! : null;
  const sign = d === null ? "" : d > 0 ? "+" : d < 0 ? "−" : "";
  return {
    seconds: `${s.toFixed(2)} s`,
    difference: d === null ? "no sample there" : `${sign}${Math.abs(d).toFixed(1)} ${unit}`,
    rate: rateOf(s, breaths === null || apart(later[0]!.at, later[1]!.at, breaths)),
  };
}

function rateOf(s: number, many: boolean): string {
  if (!many) return "one breath: no rate";
  return s >= 0.15 ? `${(60 / s).toFixed(s > 3 ? 1 : 0)} /min` : "too short for a rate";
}
