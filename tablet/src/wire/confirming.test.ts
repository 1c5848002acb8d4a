import { describe, expect, it } from "vitest";
import { mayConfirm } from "./confirming";
import type { AnyEvent } from "./types";

const event = (fields: Record<string, unknown>): AnyEvent => fields as unknown as AnyEvent;

describe("a question from the server", () => {
  it("may be answered once for each sentence, for an entry that can say it is meant", () => {
    expect(mayConfirm(event({ event: "GasSet" }), { name: "AskAgain", says: "so?" })).toBe(true);
    expect(
      mayConfirm(event({ event: "GasSet", confirmed: true, answered: ["so?"] }), { name: "AskAgain", says: "so?" }),
    ).toBe(false);
  });
  it("may be answered again where it is another", () => {
    expect(
      mayConfirm(event({ event: "DrugGiven", confirmed: true, answered: ["so?"] }), {
        name: "AskAgain",
        says: "and so?",
      }),
    ).toBe(true);
  });
  it("is no question when the entry was refused, or cannot say so", () => {
    expect(mayConfirm(event({ event: "GasSet" }), { name: "OverLimit", says: "so?" })).toBe(false);
    expect(mayConfirm(event({ event: "DrugOrdered" }), { name: "AskAgain", says: "so?" })).toBe(false);
    expect(mayConfirm(event({ event: "GasSet" }), null)).toBe(false);
  });
});
