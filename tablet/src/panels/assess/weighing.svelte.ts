import type { Fields, Refused } from "../../wire/types";

type Method = Fields<"Weighed">["method"];

/** A weight that was asked for again while its case was being opened: carried to the place where it can be typed a second time. */
class Weighing {
  first = $state("");
  method = $state<Method>("scale");
  scale = $state("");
  refused = $state.raw<Refused | null>(null);

  ask(first: string, refused: Refused, method: Method, scale: string): void {
    [this.method, this.scale] = [method, scale];
    this.first = refused.name === "AskAgain" ? first : "";
    this.refused = refused;
  }

  forget(): void {
    this.first = "";
    [this.method, this.scale] = ["scale", ""];
    this.refused = null;
  }
}

export const weighing = new Weighing();
