import type { Num, WorkingShape } from "./types";

/** The working that lies open over the right column: one at a time. */
class Working {
  shown = $state<{ working: WorkingShape; num: Num | null } | null>(null);

  show(what: Num | WorkingShape): void {
    if ("says" in what) this.shown = { working: what, num: null };
    else if (what.working) this.shown = { working: what.working, num: what };
  }

  close(): void {
    this.shown = null;
  }
}

export const working = new Working();
