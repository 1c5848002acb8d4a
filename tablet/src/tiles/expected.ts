/** Words beside an expected level: what the clock makes of the core's moments, and what a curve does not hold yet. */
import { waiting } from "../panels/waiting";
import type { Entry } from "../wire/outbox";
import type { Link } from "../wire/store.svelte";
import { hhmm, hhmmss, minSec } from "../wire/times";
import type { Inhaled, Level, Pace } from "../wire/types";

const OLD_MS = 60_000;
const left = (at: string, now: number): number => Date.parse(at) - now;

/** "peaks in 0:40 to 1:50"; after it, when that was. */
export function peakRange(level: Level, now: number): string {
  const { peak_from: from, peak_at: at, peak_to: to } = level;
  if (!from || !to) return peak(level, now);
  if (left(to, now) <= 0) return at ? `peaked about ${hhmm(at)}` : `peaked by ${hhmm(to)}`;
  if (left(from, now) <= 0) return `peaks about now, at the latest in ${minSec(left(to, now))}`;
  return `peaks in ${minSec(left(from, now))} to ${minSec(left(to, now))}`;
}

/** "peaks in 0:40 to 1:50", for the line under the sum: a span as wide as the model's, never one second of it. */
export function peak(level: Level, now: number): string {
  const { peak_from: from, peak_at: at, peak_to: to } = level;
  if (from && to) {
    if (left(to, now) <= 0) return "peaked";
    const latest = minSec(left(to, now));
    return left(from, now) < 1000
      ? `peaks now, at the latest in ${latest}`
      : `peaks in ${minSec(left(from, now))} to ${latest}`;
  }
  if (!at) return "";
  return left(at, now) > 0 ? `peaks in about ${minSec(left(at, now) + 999)}` : "peaked";
}

/** From when the published pace is kept, counted down. A push is never held back by it. */
export function paceIn(pace: Pace, now: number): string {
  if (!pace.next_at) return "";
  const ms = left(pace.next_at, now);
  return ms > 0 ? `pace kept from ${hhmmss(pace.next_at)}, in ${minSec(ms + 999)}` : "pace kept from now on";
}

/** The same in a corner: "pace kept in 0:23". */
export function paceShort(pace: Pace, now: number): string {
  const ms = pace.next_at ? left(pace.next_at, now) : 0;
  return ms > 0 ? `kept in ${minSec(ms + 999)}` : "";
}

/** A sheet that was worked out long ago and can't be asked for anew. */
export function old(asOf: string | null, now: number, link: Link): string {
  return asOf && link === "none" && now - Date.parse(asOf) > OLD_MS ? `no link: as of ${hhmm(asOf)}` : "";
}

/** What the tablet wrote of this drug that the curve does not hold yet. */
export function notYetIn(level: Pick<Level, "drug" | "name">, entries: readonly Entry[]): string {
  const same = (drug: string): boolean => [level.drug, level.name].some((n) => n.toLowerCase() === drug.toLowerCase());
  const pushes = waiting(entries, "DrugGiven").filter((e) => same(e.drug));
  if (pushes.length) return `push of ${[...new Set(pushes.map((e) => hhmm(e.happened_at)))].join(", ")} not yet in it`;
  const pumps = [
    ...waiting(entries, "InfusionStarted"),
    ...waiting(entries, "InfusionChanged"),
    ...waiting(entries, "InfusionStopped"),
  ];
  return pumps.length ? `pump entry of ${hhmm(pumps[0]!.happened_at)} not yet in it` : struckSince(entries);
}

export function gasNotYetIn(entries: readonly Entry[]): string {
  const set = [...waiting(entries, "VaporiserSet"), ...waiting(entries, "GasSet")];
  return set.length ? `setting of ${hhmm(set[0]!.happened_at)} not yet in it` : struckSince(entries);
}

function struckSince(entries: readonly Entry[]): string {
  const struck = waiting(entries, "EntryStruck")[0];
  return struck ? `strike of ${hhmm(struck.happened_at)} not yet in it` : "";
}

/** "brain level, model of adult dogs, approximate": never shown without its curve, nor the curve without it. */
export function whose(level: Level): string {
  return [level.site, level.population, level.quality].filter(Boolean).join(", ");
}

/** The same where one line must do: the population by its first words; the rest stands in the rows. */
export function whoseShort(level: Level): string {
  return whose({ ...level, population: level.population.split(/[,;]/)[0] ?? "" });
}

/** What the key to the levels says under its name. */
export function levelsWord(levels: readonly Level[], inhaled: Inhaled | null): string {
  const asked = [...levels, ...(inhaled ? [inhaled] : [])];
  if (!asked.length) return "nothing yet";
  return asked.some((one) => !one.none) ? "≈ est." : "no model";
}
