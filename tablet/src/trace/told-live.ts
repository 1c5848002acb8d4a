/** How a monitor's number is told: large while it is now, grey from ten seconds, dashes from thirty; a gap says why. */
import type { LiveNumber, LivePressure, MarkName } from "../wire/types";
import { hhmm, span } from "../wire/times";

export const GREY_MS = 10_000;
export const DASHES_MS = 30_000;
/** A cuff reads when it reads: its value is as old as two of its usual cycles before it is called old. */
const CUFF_GREY_MS = 600_000;

export type LiveLook = "now" | "grey" | "dashes" | "gap";

export interface ToldLive {
  figure: string;
  look: LiveLook;
  /** Read, but the monitor itself doubts it. */
  hollow: boolean;
  icon: MarkName | "stale" | "artefact" | null;
  foot: string;
  short: string;
}

type Read = Pick<LiveNumber, "state" | "text" | "at" | "why">;

export function toldLive(read: Read, now: number, greyAt = GREY_MS, dashesAt = DASHES_MS): ToldLive {
  if (read.state === "gap" || !read.at) return absent(read.why || "no value comes");
  const age = Math.max(0, now - Date.parse(read.at));
  if (age >= dashesAt) return gone(read.text, read.at, age);
  return read.state === "questionable" ? doubted(read, age, age >= greyAt) : good(read.text, age, age >= greyAt);
}

function good(figure: string, age: number, grey: boolean): ToldLive {
  const when = grey ? `${span(age)} ago` : span(age);
  const icon = grey ? "stale" : "measured";
  return { figure, look: grey ? "grey" : "now", hollow: false, icon, foot: when, short: when };
}

function doubted({ text, why }: Read, age: number, grey: boolean): ToldLive {
  const foot = [grey ? `${span(age)} ago` : "", why || "questionable"].filter(Boolean).join(" · ");
  return { figure: text, look: grey ? "grey" : "now", hollow: true, icon: "artefact", foot, short: "in doubt" };
}

const absent = (why: string): ToldLive => ({
  figure: "—",
  look: "gap",
  hollow: false,
  icon: null,
  foot: why,
  short: why,
});

function gone(text: string, at: string, age: number): ToldLive {
  const past = age > 3 * 3_600_000 ? `at ${hhmm(at)}` : `${span(age)} ago`;
  const [foot, short] = [`last ${text}, ${past}`, `${text}, ${span(age)}`];
  return { figure: "– –", look: "dashes", hollow: false, icon: "stale", foot, short };
}

/** The pressure: by a line it ages as any number, by a cuff in its own time. */
export function toldPressure(read: LivePressure, now: number): ToldLive {
  return read.method === "arterial line" ? toldLive(read, now) : toldLive(read, now, CUFF_GREY_MS, 2 * CUFF_GREY_MS);
}

/** May be taken over as it stands: read, not in doubt, not yet grey. */
export function fresh(read: Read, now: number): boolean {
  return read.state === "good" && !!read.at && now - Date.parse(read.at) < GREY_MS;
}
