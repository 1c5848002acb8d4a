import type { Entry } from "../../wire/outbox";
import type { CheckList, ListLine } from "../../wire/types";

/** A line answered on this tablet and not yet on the server. */
export type Line = ListLine & { kept?: boolean };

/** The list as this tablet's hands have left it: lines kept here count as answered, so that reading goes on without a link. */
export function answeredHere(list: CheckList, entries: readonly Entry[]): Line[] {
  const here = new Map<string, Entry>();
  for (const entry of entries) {
    const { event } = entry;
    if (entry.state !== "refused" && event.event === "CheckLineDone" && event.list === list.list)
      here.set(event.line, entry);
  }
  let open = true;
  return list.lines.map((line): Line => {
    const entry = here.get(line.id);
    if (entry?.event.event === "CheckLineDone") {
      const { outcome = "done", detail = "", happened_at, by } = entry.event;
      return { ...line, state: outcome, note: detail, at: happened_at, by, kept: true };
    }
    if (line.state !== "now" && line.state !== "ahead") return line;
    const state = open ? "now" : "ahead";
    open = false;
    return { ...line, state };
  });
}
