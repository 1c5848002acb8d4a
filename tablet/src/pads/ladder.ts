/**
 * Finding a typed volume on the ladder the core sent with a syringe. Nothing is worked out here: mg, per kg and the zone
 * are the rung's own; a volume between two marks has none and is refused.
 */
import type { Ladder, Rung } from "../wire/types";
import { valueOf } from "./typing";

export type Found =
  | { on: "nothing" }
  | { on: "rung"; rung: Rung }
  | { on: "between"; below: Rung | null; above: Rung | null }
  | { on: "over"; holds: Rung | null };

const SAME = 1e-9;

export function find(ladder: Ladder, text: string): Found {
  const ml = valueOf(text);
  if (ml === null || ml <= 0) return { on: "nothing" };
  const rungs = ladder.rungs;
  const exact = rungs.find((r) => Math.abs(r.ml - ml) < SAME);
  if (exact) return { on: "rung", rung: exact };
  const last = rungs[rungs.length - 1] ?? null;
  if (!last || ml > last.ml) return { on: "over", holds: last };
  const at = rungs.findIndex((r) => r.ml > ml);
  return { on: "between", below: rungs[at - 1] ?? null, above: rungs[at] ?? null };
}

/** The mark next to a volume; from between two marks the lower one first, so that a step never surprises upwards. */
export function step(ladder: Ladder, text: string, way: 1 | -1): Rung | null {
  const ml = valueOf(text) ?? 0;
  const rungs = ladder.rungs;
  if (way > 0) return rungs.find((r) => r.ml > ml + SAME) ?? rungs[rungs.length - 1] ?? null;
  return [...rungs].reverse().find((r) => r.ml < ml - SAME) ?? rungs[0] ?? null;
}

/** The rung of a planned volume, or null where the syringe has no such mark. */
export function rungOf(ladder: Ladder | null | undefined, ml: number | null | undefined): Rung | null {
  if (!ladder || ml == null) return null;
  return ladder.rungs.find((r) => Math.abs(r.ml - ml) < SAME) ?? null;
}

export type Slip = "ten times" | "a tenth of" | null;

/** The slip of a decimal point: a typed volume that is about ten times the planned one, or about a tenth of it. */
export function slip(text: string, plannedMl: number | null | undefined): Slip {
  const ml = valueOf(text);
  if (!ml || !plannedMl) return null;
  const ratio = ml / plannedMl;
  if (ratio > 8 && ratio < 12.5) return "ten times";
  return ratio > 0.08 && ratio < 0.125 ? "a tenth of" : null;
}
