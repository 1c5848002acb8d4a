import type { PhaseState } from "./types";

export type Phase = PhaseState["phase"];
export const PHASES: readonly Phase[] = ["assess", "plan", "prepare", "induce", "maintain", "recover", "record"];
export type Pad = "give" | "note" | "emergency";

export type Place =
  | { page: "day" }
  | { page: "open" }
  | { page: "no time" }
  | { page: "settings" }
  | { page: "protocols"; protocol: string; from: string }
  | { page: "case"; id: string; phase: Phase };

/** The address after `#`, read into a place. Anything unknown is the day sheet. */
export function place(hash: string): Place {
  const [page, id, phase] = hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  if (page === "open") return { page: "open" };
  if (page === "no-time") return { page: "no time" };
  if (page === "settings") return { page: "settings" };
  if (page === "protocols") return { page: "protocols", protocol: id ?? "", from: phase ?? "" };
  if (page === "case" && id) return { page: "case", id, phase: PHASES.find((known) => known === phase) ?? "assess" };
  return { page: "day" };
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

  case(id: string, phase: Phase): void {
    this.go(`#/case/${encodeURIComponent(id)}/${phase}`);
  }
}

export const route = new Route();
