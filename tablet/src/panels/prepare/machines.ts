import type { Entry } from "../../wire/outbox";
import type { MachineDay, MachineLine } from "../../wire/types";

/** A line answered on this tablet and not yet in the book. */
export type Line = MachineLine & { kept?: boolean };

/** The day's list as this tablet's hands have left it: lines kept here count as answered, so that reading goes on without a link. */
export function readHere(day: MachineDay, entries: readonly Entry[]): Line[] {
  const here: Record<string, Entry> = {};
  for (const entry of entries) {
    const { event } = entry;
    if (entry.state !== "refused" && event.event === "MachineLineDone" && event.machine === day.machine)
      here[event.line] = entry;
  }
  let open = true;
  return day.lines.map((line): Line => {
    const event = here[line.id]?.event;
    if (event?.event === "MachineLineDone") {
      const { outcome = "done", detail = "", happened_at, by } = event;
      return { ...line, state: outcome, note: detail, at: happened_at, by, kept: true };
    }
    if (line.state !== "now" && line.state !== "ahead") return line;
    const state = open ? "now" : "ahead";
    open = false;
    return { ...line, state };
  });
}

/** A machine's state in a word or two, for its key. */
export function shortly(day: MachineDay): string {
  const faults = day.faults.length;
  if (faults) return faults === 1 ? "1 open fault" : `${faults} open faults`;
  if (day.complete) return "checked today";
  return day.done ? `${day.done} of ${day.of} today` : "not read today";
}

/** Where a leak and its limit stand on one scale, in per cent of the scale's width. */
export function onScale(leak: number, limit: number): { leak: number; limit: number } {
  const most = Math.max(leak, limit) * 1.15;
  return { leak: (leak / most) * 100, limit: (limit / most) * 100 };
}
