/** What the strip says beside the wave: the finding that matters most, or how the line and the monitor stand. */
import type { Stream } from "../../wire/live.svelte";
import { hhmm, span } from "../../wire/times";
import type { AirwayOffer, LiveFinding, LiveState, Priority } from "../../wire/types";

const RANK: Record<Priority, number> = { high: 3, medium: 2, low: 1 };
const DEGREE = { severe: 3, moderate: 2, mild: 1 } as const;
const rank = (f: LiveFinding): number => (f.priority ? RANK[f.priority] : 0) * 10 + DEGREE[f.degree];

/** Those that last, the gravest first; then those that are over, the latest first. */
export function sorted(findings: readonly LiveFinding[]): LiveFinding[] {
  const lasting = findings.filter((f) => !f.until).sort((a, b) => rank(b) - rank(a) || at(b.since) - at(a.since));
  const over = findings.filter((f) => f.until).sort((a, b) => at(b.until!) - at(a.until!));
  return [...lasting, ...over];
}

const at = (moment: string): number => Date.parse(moment);

export function foremost(state: LiveState | null): LiveFinding | null {
  return sorted(state?.findings ?? []).find((f) => !f.until) ?? null;
}

/** Why there is no live picture, in words; empty while there is one. */
export function standing(
  stream: Pick<Stream, "state" | "open" | "since" | "heardAt" | "speaks">,
  local: number,
): string {
  const { state } = stream;
  if (state?.link === "replay") return stream.open ? "" : "it has ended";
  if (!stream.open)
    return stream.heardAt
      ? `no link since ${hhmm(stream.since)}: the picture stands still`
      : "no link: nothing is known of a monitor";
  if (!state) return "asking for the monitor";
  if (!stream.speaks(local)) return `nothing came for ${span(local - stream.heardAt)}`;
  return state.link === "live" ? "" : saidBy(state);
}

const SILENT = /^(.+) is silent since (\d+ \w+)\./;
const saidBy = (state: LiveState): string => {
  if (state.link === "held back" && state.held_back) return state.held_back;
  const [, name, since] = SILENT.exec(state.link_text) ?? [];
  return name && since ? `no word from ${name} since ${since}` : state.link_text;
};

export const LASTS = (f: LiveFinding, now: number): string =>
  f.until ? `until ${hhmm(f.until)}, from ${hhmm(f.since)}` : `since ${hhmm(f.since)} · ${span(now - at(f.since))}`;

/** Figures of the server's plain words as the tablet sets them. */
export const spelt = (words: string): string => words.replaceAll("CO2", "CO₂").replaceAll("SpO2", "SpO₂");

/** A hand may take the breaths over: as many as the proof asks, more than stand already, and no doubt about them. */
export const takeable = (offer: AirwayOffer | null, counted: number): boolean =>
  offer !== null && offer.side !== "doubt" && offer.breaths >= offer.needed && offer.breaths > counted;
