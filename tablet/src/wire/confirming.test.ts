import { describe, expect, it } from "vitest";
import { mayConfirm } from "./confirming";
import type { AnyEvent } from "./types";

const event = (fields: Record<string, unknown>): AnyEvent => fields as unknown as AnyEvent;

describe("a question from the server", () => {
  it("may be answered once, for an entry that can say it is meant", () => {
    expect(mayConfirm(event({ event: "GasSet" }), { name: "AskAgain" })).toBe(true);
    expect(mayConfirm(event({ event: "GasSet", confirmed: true }), { name: "AskAgain" })).toBe(false);
  });
  it("is no question when the entry was refused, or cannot say so", () => {
    expect(mayConfirm(event({ event: "GasSet" }), { name: "OverLimit" })).toBe(false);
    expect(mayConfirm(event({ event: "DrugOrdered" }), { name: "AskAgain" })).toBe(false);
    expect(mayConfirm(event({ event: "GasSet" }), null)).toBe(false);
  });
});
