/** Clock words. No medicine here: only how a moment and a span are written. */

const two = (n: number): string => String(n).padStart(2, "0");

/** "10:42" in the tablet's own zone. */
export function hhmm(moment: string | Date | number): string {
  const at = new Date(moment);
  return `${two(at.getHours())}:${two(at.getMinutes())}`;
}

/** "10:42:05", for the logs where seconds count. */
export function hhmmss(moment: string | Date | number): string {
  return `${hhmm(moment)}:${two(new Date(moment).getSeconds())}`;
}

const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/** "Tue 14 Apr". */
export function dayMonth(moment: string | Date | number): string {
  const at = new Date(moment);
  return `${DAYS[at.getDay()]} ${at.getDate()} ${MONTHS[at.getMonth()]}`;
}

export function sameDay(a: string | Date | number, b: string | Date | number): boolean {
  return new Date(a).toDateString() === new Date(b).toDateString();
}

const SAME_SHIFT_MS = 12 * 3_600_000;

/** When it was: the time of this day or this shift, with the day before that. */
export function when(moment: string | Date | number, now: number): string {
  return sameDay(moment, now) || Math.abs(now - new Date(moment).getTime()) < SAME_SHIFT_MS
    ? hhmm(moment)
    : `${dayMonth(moment)} ${hhmm(moment)}`;
}

/** "1:05": minutes and seconds of a running clock. */
export function minSec(ms: number): string {
  const s = Math.max(0, Math.floor(ms / 1000));
  return `${Math.floor(s / 60)}:${two(s % 60)}`;
}

/** "0:47": hours and minutes since something began. */
export function hourMin(ms: number): string {
  const min = Math.max(0, Math.floor(ms / 60_000));
  return `${Math.floor(min / 60)}:${two(min % 60)}`;
}

/** A span in words: "now" under ten seconds, "40 s", "7 min", "3 h 20 min", "2 days". */
export function span(ms: number): string {
  const s = Math.floor(Math.abs(ms) / 1000);
  if (s < 10) return "now";
  if (s < 60) return `${s} s`;
  const min = Math.floor(s / 60);
  if (min < 60) return `${min} min`;
  const hours = Math.floor(min / 60);
  if (hours < 24) return min % 60 ? `${hours} h ${min % 60} min` : `${hours} h`;
  const days = Math.floor(hours / 24);
  return days === 1 ? "1 day" : `${days} days`;
}

/** How old a reading is, in words. */
export function age(moment: string | Date | number, now: number): string {
  return span(now - new Date(moment).getTime());
}

/** ISO 8601 with this tablet's own offset: the log keeps the zone the hand was in. */
export function isoZone(at: Date): string {
  const offset = -at.getTimezoneOffset();
  const local = new Date(at.getTime() + offset * 60_000).toISOString().slice(0, -1);
  const away = Math.abs(offset);
  return `${local}${offset < 0 ? "-" : "+"}${two(Math.floor(away / 60))}:${two(away % 60)}`;
}

/** How far a wait has gone: 1 just begun, 0 due. Without a beginning, ten minutes are taken as the whole wait. */
export function openness(from: string | null | undefined, to: string, now: number): number {
  const end = new Date(to).getTime();
  const start = from ? new Date(from).getTime() : end - 600_000;
  if (end <= start) return now < end ? 1 : 0;
  return Math.min(1, Math.max(0, (end - now) / (end - start)));
}

/** The full hours between two moments. */
export function hoursBetween(from: number, to: number): number[] {
  const first = new Date(from);
  first.setMinutes(0, 0, 0);
  const marks: number[] = [];
  for (let at = first.getTime() + 3_600_000; at < to; at += 3_600_000) marks.push(at);
  return marks;
}

/** Tomorrow at a full hour. */
export function tomorrow(hour: number, now: number): Date {
  const at = new Date(now + 86_400_000);
  at.setHours(hour, 0, 0, 0);
  return at;
}
