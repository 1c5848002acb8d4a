/**
 * The five-minute row: which line is next, and which entry a touch makes. Nothing is repeated; what a monitor reads now is
 * offered, marked as its own, and written only by a touch.
 */
import { EVERY_MS } from "../panels/live/charting";
import { fresh, GREY_MS } from "../trace/told-live";
import type { Fields, LiveNumber, LivePressure, LiveState, PadLine } from "../wire/types";

export type Kind = "sign" | "pressure" | "number";
type Sign = Fields<"SignSeen">["sign"];
type Reading = Fields<"ReadingTaken">["reading"];
export type Method = Fields<"PressureTaken">["method"];

export function kindOf(line: PadLine): Kind {
  if (line.choices.length) return "sign";
  return ["pressure", "map", "sap", "dap"].includes(line.id) ? "pressure" : "number";
}

export function signEntry(line: PadLine, finding: string, rowAt: string | null): Fields<"SignSeen"> {
  return { sign: line.id as Sign, finding, row_at: rowAt };
}

export function readingEntry(
  line: PadLine,
  value: string,
  rowAt: string | null,
  confirmed: boolean,
): Fields<"ReadingTaken"> {
  return { reading: line.id as Reading, value, unit: line.unit, source: "hand", row_at: rowAt, confirmed };
}

export interface PressureTyped {
  sap: string;
  map: string;
  dap: string;
}

export function pressureEntry(typed: PressureTyped, method: Method, rowAt: string | null): Fields<"PressureTaken"> {
  const or = (text: string): string | null => text || null;
  return { sap: or(typed.sap), map: or(typed.map), dap: or(typed.dap), method, source: "hand", row_at: rowAt };
}

/** What the monitor gives for a line of the row: only what is read, undoubted and not yet grey; a cuff since the row before. */
export function offered(line: PadLine, state: LiveState | null, now: number): LiveNumber | LivePressure | null {
  if (!state) return null;
  if (kindOf(line) === "number") return state.numbers.find((n) => n.reading === line.id && fresh(n, now)) ?? null;
  const p = state.pressure;
  if (kindOf(line) !== "pressure" || !p || p.state !== "good" || !p.at) return null;
  const most = p.method === "arterial line" ? GREY_MS : EVERY_MS;
  return now - Date.parse(p.at) < most ? p : null;
}

/** Order of the three figures: a mean under the diastolic or over the systolic is a slip of the hand. */
export function pressureSlip(typed: PressureTyped): string {
  const [s, m, d] = [typed.sap, typed.map, typed.dap].map((t) => (t && !t.endsWith(".") ? Number(t) : null));
  if (s != null && d != null && d >= s) return `diastolic ${d} is not under systolic ${s}`;
  if (s != null && m != null && m >= s) return `mean ${m} is not under systolic ${s}`;
  if (m != null && d != null && d >= m) return `diastolic ${d} is not under mean ${m}`;
  return "";
}

/** The next line after `from` that is still a gap, going round once; null when the row is full. */
export function nextOpen(lines: readonly PadLine[], done: ReadonlySet<string>, from: string): PadLine | null {
  const start = lines.findIndex((l) => l.id === from);
  for (let i = 1; i <= lines.length; i += 1) {
    const line = lines[(start + i) % lines.length];
    if (line && !done.has(line.id)) return line;
  }
  return null;
}
