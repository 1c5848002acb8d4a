/** Finding a mark by finger or by key. */
import type { Plotted, Touchable } from "./plotted";

/** A finger reaches this far: twice it is a target of 64 px. */
export const REACH_PX = 32;

/** One look may stand in several rows: its id alone does not tell its figures apart. */
export const keyOf = (t: Touchable): string => `${t.kind} ${t.id} ${Math.round(t.y)}`;

/** The mark nearest to a touch, or null where none is within a finger's reach. */
export function nearest(p: Plotted, x: number, y: number, reach = REACH_PX): Touchable | null {
  let best: Touchable | null = null;
  let least = reach;
  for (const t of touchables(p)) {
    const d = distance(t, x, y);
    if (d <= least) {
      best = t;
      least = d;
    }
  }
  return best;
}

/** Every mark in the order of time, for the keyboard. */
export function touchables(p: Plotted): Touchable[] {
  const all: Touchable[] = [...p.dots, ...p.cuffs, ...p.rows.flatMap((r) => r.figures)];
  all.push(...p.bands.flatMap((b) => b.bars), ...p.given, ...p.events);
  return all.sort((a, b) => a.x - b.x || a.y - b.y);
}

function distance(t: Touchable, x: number, y: number): number {
  if (t.kind === "band") {
    const dx = Math.max(t.x - x, 0, x - t.x - t.width);
    return Math.hypot(dx, t.y - y);
  }
  if (t.kind === "pressure") {
    const heights = [t.sap, t.map, t.dap].filter((v): v is number => v !== null);
    return Math.min(...heights.map((h) => Math.hypot(t.x - x, h - y)));
  }
  return Math.hypot(t.x - x, t.y - y);
}
