/** The tiles of the Note pad: a moment, a position, a loss. One touch writes the plain ones; the others ask one thing. */
import type { Fields } from "../wire/types";

export type Mark = Fields<"TimeMarked">["mark"];
export type Ask = "turned" | "moved" | "packs in" | "packs out" | "blood loss" | "sample" | "event" | "call" | "other";

export interface Tile {
  id: string;
  title: string;
  small?: string;
  mark?: Mark;
  ask?: Ask;
  eyes?: boolean;
}

export const TILES: readonly Tile[] = [
  { id: "start", title: "Start", small: "of the procedure", mark: "procedure start" },
  { id: "end", title: "End", small: "of the procedure", mark: "procedure end" },
  { id: "turned", title: "Turned", small: "disconnect first", ask: "turned" },
  { id: "moved", title: "Moved", small: "to a room", ask: "moved" },
  { id: "agent off", title: "Agent off", mark: "agent off" },
  { id: "packs in", title: "Packs in", ask: "packs in" },
  { id: "packs out", title: "Packs out", ask: "packs out" },
  { id: "eyes", title: "Eye care", small: "lubricated", eyes: true },
  { id: "loss", title: "Blood loss", small: "mL", ask: "blood loss" },
  { id: "sample", title: "Sample", small: "gas, glucose", ask: "sample" },
  { id: "event", title: "Trouble", small: "what is wrong", ask: "event" },
  { id: "call", title: "Call", small: "whom", ask: "call" },
];

/** A number with a unit has its own place in the record; free text would hide it from every limit. */
export function doseInWords(text: string): boolean {
  return /\d\s*(mg|mcg|µg|ug|ml|iu|units?|meq|%|mg\/kg|l\/min)\b/i.test(text);
}

export const POSITIONS = ["left side", "right side", "on the back", "on the chest"] as const;
