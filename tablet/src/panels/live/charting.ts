/** What one touch would chart from the monitor: each value with its device, raw text and quality, or why it is not taken. */
import { DASHES_MS, GREY_MS } from "../../trace/told-live";
import { hhmm, span } from "../../wire/times";
import type { Fields, LiveNumber, LivePressure, LiveState } from "../../wire/types";

/** Between two rows: a cuff that read since the last row belongs to this one. */
export const EVERY_MS = 300_000;
type Reading = Fields<"ReadingTaken">["reading"];

/** The log's unit as it is printed. */
const PRINTED: Record<string, string> = { Cel: "°C", "1": "" };
export const unitText = (unit: string): string => PRINTED[unit] ?? unit;

export type Charted =
  | { event: "ReadingTaken"; fields: Fields<"ReadingTaken">; at: Date }
  | { event: "PressureTaken"; fields: Fields<"PressureTaken">; at: Date };

export interface ChartLine {
  id: string;
  label: string;
  text: string;
  /** As printed; empty where nothing stands. */
  unit: string;
  /** Why it is not taken of itself; empty when it is. */
  not: string;
  /** In doubt or there already: a person may still take it. */
  may: boolean;
  entry: Charted | null;
}

export function readingFrom(n: LiveNumber, rowAt: string | null): Fields<"ReadingTaken"> {
  return {
    reading: n.reading as Reading,
    value: n.value!,
    unit: n.unit,
    source: "device",
    monitor: n.monitor,
    raw: n.raw,
    quality: n.quality,
    site: n.site,
    method: n.method,
    row_at: rowAt,
  };
}

export function pressureFrom(p: LivePressure, rowAt: string | null): Fields<"PressureTaken"> {
  return {
    sap: p.sap,
    map: p.map,
    dap: p.dap,
    method: p.method,
    site: p.site,
    source: "device",
    monitor: p.monitor,
    raw: p.raw,
    quality: p.quality,
    row_at: rowAt,
  };
}

/** Why a value is too old to be written as this row's; empty if it is not. */
function tooOld(at: string, now: number, most: number): string {
  const age = now - Date.parse(at);
  if (age < most) return "";
  return age < DASHES_MS ? `${span(age)} old` : `last at ${hhmm(at)}, ${span(age)} ago`;
}

interface Read {
  id: string;
  label: string;
  unit: string;
  read: LiveNumber | LivePressure;
  old: (at: string) => string;
  entry: (at: Date) => Charted;
}

/** Every value the monitor sends, in its order, for the row at `rowAt`. `filled`: what stands in that row already. */
export function chartLines(
  state: LiveState,
  now: number,
  rowAt: string,
  filled: readonly (readonly [string, string, string])[],
): ChartLine[] {
  const stands = new Map(filled.map(([line, text]) => [line, text]));
  const all: Read[] = state.numbers.map((n) => ({
    id: n.reading,
    label: n.label,
    unit: unitText(n.unit),
    read: n,
    old: (at) => tooOld(at, now, GREY_MS),
    entry: (at) => ({ event: "ReadingTaken", fields: readingFrom(n, rowAt), at }),
  }));
  const p = state.pressure;
  if (p)
    all.push({
      id: "pressure",
      label: "Pressure",
      unit: "mmHg",
      read: p,
      old: (at) => tooOld(at, now, p.method === "arterial line" ? GREY_MS : EVERY_MS),
      entry: (at) => ({ event: "PressureTaken", fields: pressureFrom(p, rowAt), at }),
    });
  return all.map((one) => line(one, stands));
}

function line({ id, label, unit, read, old, entry }: Read, stands: ReadonlyMap<string, string>): ChartLine {
  const bare = { id, label, text: read.text, unit, may: false, entry: null };
  if (read.state === "gap" || !read.at || ("value" in read && read.value === null))
    return { ...bare, text: "—", unit: "", not: read.why || "no value" };
  const age = old(read.at);
  if (age) return { ...bare, not: age };
  const taken = { ...bare, entry: entry(new Date(read.at)), may: true };
  const there = stands.get(id);
  if (there !== undefined) return { ...taken, not: `${there} stands there already` };
  if (read.state === "questionable") return { ...taken, not: read.why || "the monitor doubts it" };
  return { ...taken, not: "" };
}

/** What the undo strip says. */
export function saidOf(taken: readonly ChartLine[], rowAt: string): string {
  const words = taken.map((one) => `${one.label} ${one.text}`).join(", ");
  return `Row ${hhmm(rowAt)} from the monitor: ${words}`;
}
