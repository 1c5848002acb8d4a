/**
 * What this tablet has written and the server has not answered yet, laid over the sheet, so that a key acts at once and
 * works without a link. No sum is made here: a waiting dose is named beside the sum, not added to it.
 */
import type { Entry } from "../wire/outbox";
import type { Attempt, EventName, EventOf, InduceSheet, Proof } from "../wire/types";

export function waiting<N extends EventName>(entries: readonly Entry[], name: N): EventOf<N>[] {
  return entries
    .filter((e) => e.event.event === name && (e.state === "waiting" || e.state === "needs hand"))
    .map((e) => e.event as EventOf<N>);
}

/** True while the entry that an id names has not reached the server. */
export function isWaiting(entries: readonly Entry[], id: string): boolean {
  return entries.some((e) => e.id === id && e.state !== "refused" && e.state !== "sent");
}

export function attemptsNow(sheet: readonly Attempt[], entries: readonly Entry[]): Attempt[] {
  const known = new Set(sheet.map((a) => a.attempt));
  const begun = waiting(entries, "AttemptBegan").filter((e) => !known.has(e.attempt));
  const all = [
    ...sheet,
    ...begun.map((e, i) => ({
      attempt: e.attempt,
      number: sheet.length + i + 1,
      began_at: e.happened_at,
      ended_at: null,
      outcome: "",
      tube: `ID ${e.tube_id_mm} mm`,
      operator: e.operator ?? "",
      view: "",
      changed: e.changed ?? "",
      aids: [...(e.aids ?? [])],
      blade: e.blade ?? "",
      seconds: null,
      lowest_spo2: "",
      came_out: "",
      came_out_at: null,
    })),
  ];
  const ended = new Map(waiting(entries, "AttemptEnded").map((e) => [e.attempt, e]));
  const told = all.map((a) => {
    const end = ended.get(a.attempt);
    return end && !a.ended_at ? { ...a, ended_at: end.happened_at, outcome: end.outcome, view: end.view ?? "" } : a;
  });
  const out = waiting(entries, "TubeWithdrawn").at(-1);
  const lies = told.findLastIndex((a) => a.outcome === "in" && !a.came_out);
  if (!out || lies < 0) return told;
  return told.map((a, i) => (i === lies ? { ...a, came_out: out.reason, came_out_at: out.happened_at } : a));
}

/** Whether a tube lies there: the core's word, and over it what this tablet wrote and has not sent. */
export function tubeLies(sheet: InduceSheet, entries: readonly Entry[]): boolean {
  const moved = [
    ...waiting(entries, "AttemptBegan").map((e) => ({ at: e.happened_at, lies: false })),
    ...waiting(entries, "AttemptEnded").map((e) => ({ at: e.happened_at, lies: e.outcome === "in" })),
    ...waiting(entries, "TubePlaced").map((e) => ({ at: e.happened_at, lies: true })),
    ...waiting(entries, "TubeWithdrawn").map((e) => ({ at: e.happened_at, lies: false })),
    ...waiting(entries, "Extubated").map((e) => ({ at: e.happened_at, lies: false })),
  ];
  const last = moved.sort((a, b) => Date.parse(a.at) - Date.parse(b.at)).at(-1);
  return last?.lies ?? sheet.tube_in_place;
}

/** A sign touched on this tablet counts as seen at once; what it takes to be proven stays the core's word. */
export function proofsNow(sheet: readonly Proof[], entries: readonly Entry[]): Proof[] {
  const seen = new Map(waiting(entries, "ProofNoted").map((e) => [e.sign as string, e]));
  return sheet.map((p) => {
    const e = seen.get(p.sign);
    return e && !p.seen_at ? { ...p, seen_at: e.happened_at, by: e.by, event_id: e.id } : p;
  });
}
