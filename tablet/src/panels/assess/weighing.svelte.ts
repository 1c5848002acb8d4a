import type { Refused } from "../../wire/types";

/** A weight that was asked for again while its case was being opened: carried to the place where it can be typed a second time. */
class Weighing {
  first = $state("");
  refused = $state.raw<Refused | null>(null);

  ask(first: string, refused: Refused): void {
    this.first = refused.name === "AskAgain" ? first : "";
    this.refused = refused;
  }

  forget(): void {
    this.first = "";
    this.refused = null;
  }
}

export const weighing = new Weighing();
