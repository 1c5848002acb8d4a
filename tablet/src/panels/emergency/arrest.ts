/** The two-minute clock of an arrest and the drugs' intervals: times only, the volumes are the sheet's. */
import type { EmergencyDrug, LogLine } from "../../wire/types";
import { MINUTE } from "../../trace/time";

export interface Cycle {
  number: number;
  leftMs: number;
  /** 1 at the beginning of a cycle, 0 at its end. */
  open: number;
}

export function cycleOf(began: number, now: number, seconds: number): Cycle {
  const length = seconds * 1000;
  const ran = Math.max(0, now - began);
  const leftMs = length - (ran % length);
  return { number: Math.floor(ran / length) + 1, leftMs, open: leftMs / length };
}

export type DrugState =
  | { state: "not given" }
  | { state: "not again"; last: number }
  | { state: "waits"; last: number; due: number; open: number }
  | { state: "due"; last: number; due: number };

export function drugState(
  drug: Pick<EmergencyDrug, "once" | "every_min">,
  given: readonly number[],
  now: number,
): DrugState {
  const last = given.length ? Math.max(...given) : null;
  if (last === null) return { state: "not given" };
  if (drug.once || !drug.every_min) return { state: "not again", last };
  const wait = drug.every_min[0] * MINUTE;
  const due = last + wait;
  return now >= due ? { state: "due", last, due } : { state: "waits", last, due, open: (due - now) / wait };
}

const ARREST_FIRST = ["epinephrine", "atropine"];
const IN_FRONT = 4;

/** The keys in front: the first two of the arrest, then what reverses drugs this patient was given, by what the record holds. */
export function inFront(drugs: readonly EmergencyDrug[]): EmergencyDrug[] {
  const first = ARREST_FIRST.flatMap((id) => drugs.find((d) => d.drug === id && d.group === "arrest") ?? []);
  const undo = drugs.filter((d) => d.group === "reversal" && d.undoes);
  return [...first, ...undo].slice(0, IN_FRONT);
}

/** What comes next, in one sentence; the ECG at the pause chooses between shock and pressing on. */
export function nextStep(cycle: Cycle, rhythm: string, shock: string, left: string): string {
  if (["VF", "VT, no pulse"].includes(rhythm) && shock) return `Shock ${shock} once, then press again at once.`;
  if (cycle.leftMs > 110_000 && rhythm) return "Press on, no break.";
  if (cycle.leftMs <= 5_000) return "Now: change who presses, look at the ECG, press again.";
  return `In ${left}: change who presses, look at the ECG, then press again.`;
}

/** Newest first, and only what belongs to this arrest. */
export function logSince(log: readonly LogLine[], began: number | null): LogLine[] {
  const since = began === null ? -Infinity : began - 1000;
  return log
    .filter((l) => Date.parse(l.at) >= since)
    .sort((a, b) => Date.parse(b.at) - Date.parse(a.at) || b.seq - a.seq);
}
