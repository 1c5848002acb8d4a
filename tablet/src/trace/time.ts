/** Times on the chart and in its lists. `now` always comes from the caller, so that a test can say what time it is. */
import { hhmm, span } from "../wire/times";

export const MINUTE = 60_000;

export const ms = (iso: string): number => Date.parse(iso);

/** `2 min`, `now`, `3 min late`: how long until something falls due. */
export function until(at: number | string, now: number): string {
  const left = new Date(at).getTime() - now;
  if (left <= -MINUTE) return `${span(left)} late`;
  return left < MINUTE ? "now" : span(left);
}

/** `4 min ago`, or the clock when it is more than three hours old. */
export function ago(at: number | string, now: number): string {
  const past = now - new Date(at).getTime();
  if (past < MINUTE) return "just now";
  return past > 180 * MINUTE ? `at ${hhmm(at)}` : `${span(past)} ago`;
}
