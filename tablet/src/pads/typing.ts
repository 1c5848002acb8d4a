/** What the number keys do to a field. The text stays text: it is read once, at the server's door. */

export type DigitKey = "1" | "2" | "3" | "4" | "5" | "6" | "7" | "8" | "9" | "0" | "0." | "←";

/** The keys in their order, which never changes. */
export const DIGITS: readonly DigitKey[] = ["1", "2", "3", "4", "5", "6", "7", "8", "9", "0.", "0", "←"];

const MOST = 7;

/** The field after one key. Leading zeros vanish, a second point does nothing, ← takes one. */
export function typed(text: string, key: DigitKey): string {
  if (key === "←") return text === "0." ? "" : text.slice(0, -1);
  if (key === "0.") {
    if (text === "") return "0.";
    return text.includes(".") || text.length >= MOST ? text : `${text}.`;
  }
  if (text.length >= MOST) return text;
  if (text === "0") return key === "0" ? "0" : key;
  return text + key;
}

/** The number a finished text stands for; null while it is empty or ends in its point. */
export function valueOf(text: string): number | null {
  if (!/^\d+(\.\d+)?$/.test(text)) return null;
  return Number(text);
}

/** `0.50` is the same mark as `0.5`, but nothing with a trailing zero is written down. */
export function plain(text: string): string {
  return text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
}

export interface Bounds {
  low?: number | null;
  high?: number | null;
  askLow?: number | null;
  askHigh?: number | null;
  places?: number;
}

export type Judged =
  | { state: "empty" }
  | { state: "fine" }
  | { state: "ask"; says: string }
  | { state: "refused"; says: string; accepts: string };

/** Held against the field's own bounds at each key: outside is refused, far from the usual is asked in words. */
export function judged(text: string, label: string, unit: string, bounds: Bounds): Judged {
  const value = valueOf(text);
  if (value === null) return { state: "empty" };
  const fine = tooFine(text, label, bounds.places);
  if (fine) return fine;
  const { low = null, high = null } = bounds;
  if (outside(value, low, high)) {
    return { state: "refused", says: `${text}${gap(unit)} cannot be ${label}.`, accepts: accepted(low, high, unit) };
  }
  return asked(value, bounds.askLow ?? null, bounds.askHigh ?? null);
}

function tooFine(text: string, label: string, places: number | undefined): Judged | null {
  const after = text.split(".")[1]?.length ?? 0;
  if (places === undefined || after <= places) return null;
  const words = ["a whole number", "one place after the point"];
  const most = words[places] ?? `${places} places after the point`;
  return { state: "refused", says: `${label} is read to ${most}.`, accepts: "Take the last figure away." };
}

function outside(value: number, low: number | null, high: number | null): boolean {
  return (low !== null && value < low) || (high !== null && value > high);
}

function asked(value: number, low: number | null, high: number | null): Judged {
  if (low !== null && value < low) return { state: "ask", says: `under ${low}` };
  if (high !== null && value > high) return { state: "ask", says: `over ${high}` };
  return { state: "fine" };
}

function accepted(low: number | null, high: number | null, unit: string): string {
  if (low !== null && high !== null) return `Accepted: ${low} to ${high}${gap(unit)}.`;
  return low !== null ? `Accepted: ${low}${gap(unit)} or more.` : `Accepted: up to ${high}${gap(unit)}.`;
}

function gap(unit: string): string {
  return unit ? `\u00a0${unit}` : "";
}
