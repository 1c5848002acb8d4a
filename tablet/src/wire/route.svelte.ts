import type { PhaseState } from "./types";

export type Phase = PhaseState["phase"];
export const PHASES: readonly Phase[] = ["assess", "plan", "prepare", "induce", "maintain", "recover", "record"];
export type Pad = "give" | "note" | "emergency" | "live";

export type Place =
  | { page: "day" }
  | { page: "open" }
  | { page: "no time" }
  | { page: "settings" }
  | { page: "audit" }
  | { page: "protocols"; protocol: string; from: string }
  | { page: "machines"; machine: string; from: string }
  | { page: "case"; id: string; phase: Phase; thing?: Thing };

/** What a printed code names: a syringe, a bag or an infusion of a case. */
export interface Thing {
  kind: "syringe" | "bag" | "infusion";
  id: string;
}
const KINDS: Record<string, Thing["kind"] | undefined> = { syringe: "syringe", bag: "bag", infusion: "infusion" };

const PAGES: Record<string, Place | undefined> = {
  open: { page: "open" },
  "no-time": { page: "no time" },
  settings: { page: "settings" },
  audit: { page: "audit" },
};

/** The address after `#`, read into a place. Anything unknown is the day sheet. */
export function place(hash: string): Place {
  const [page = "", id = "", phase = "", of = ""] = hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  if (page === "protocols") return { page: "protocols", protocol: id, from: phase };
  if (page === "machines") return { page: "machines", machine: id, from: phase };
  if (page === "case" && id) return inCase(id, phase, of);
  return PAGES[page] ?? { page: "day" };
}

/** A phase of a case, or what a code names in it. */
function inCase(id: string, phase: string, of: string): Place {
  const kind = KINDS[phase];
  if (kind && of)
    return { page: "case", id, phase: kind === "syringe" ? "prepare" : "maintain", thing: { kind, id: of } };
  return { page: "case", id, phase: PHASES.find((known) => known === phase) ?? "assess" };
}

/** A code as a scanner types it: the address with its case and its syringe, bag or infusion. Nothing else is followed. */
export function scanned(text: string): { id: string; thing: Thing } | null {
  const found = /#\/case\/([^/#\s]+)\/(syringe|bag|infusion)\/([^/#\s]+)$/.exec(text.trim());
  if (!found) return null;
  const [id, kind, of] = [found[1], found[2], found[3]].map((one) => decodeURIComponent(one ?? ""));
  return id && of ? { id, thing: { kind: kind as Thing["kind"], id: of } } : null;
}

class Route {
  now = $state<Place>(place(location.hash));
  pad = $state<Pad | null>(null);

  start(): () => void {
    const moved = (): void => {
      this.now = place(location.hash);
      this.pad = null;
    };
    addEventListener("hashchange", moved);
    return () => removeEventListener("hashchange", moved);
  }

  go(hash: string): void {
    this.pad = null;
    if (location.hash === hash) this.now = place(hash);
    else location.hash = hash;
  }

  /** The hospital's protocols; `from`: the case whose plan is gone back to. */
  protocols(protocol = "", from = ""): void {
    this.go(["#/protocols", protocol, from].map((one, i) => (i ? encodeURIComponent(one) : one)).join("/"));
  }

  /** The machines' book of today; `from`: the case whose preparation is gone back to. */
  machines(machine = "", from = ""): void {
    this.go(["#/machines", machine, from].map((one, i) => (i ? encodeURIComponent(one) : one)).join("/"));
  }

  /** To what a code names. */
  thing(id: string, thing: Thing): void {
    this.go(`#/case/${encodeURIComponent(id)}/${thing.kind}/${encodeURIComponent(thing.id)}`);
  }

  case(id: string, phase: Phase): void {
    this.go(`#/case/${encodeURIComponent(id)}/${phase}`);
  }
}

export const route = new Route();
