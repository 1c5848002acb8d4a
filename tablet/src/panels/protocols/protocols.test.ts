import { describe, expect, it } from "vitest";
import type { ProtocolOffer, ProtocolOfferLine } from "../../wire/types";
import { graded } from "../plan/heeding";
import { atLine, slug } from "./keeping";
import { entries, first } from "./starting";

const line = (order: string, drug: string, optional = false): ProtocolOfferLine =>
  ({ line: { order, drug, name: drug }, optional, note: "", order: { order, drug, low: 0.2 } }) as never;
const offer = {
  title: "Plain",
  why_not: "",
  lines: [line("a", "methadone"), line("b", "ketamine"), line("c", "maropitant", true)],
  start: { protocol: "plain", version: 2, title: "Plain" },
  limits: [{ reading: "map", below: 60, action: "call" }],
} as never as ProtocolOffer;
const start = { offer, taken: first(offer), vet: "svr", how: "oral" as const, back: "nkw", reason: "" };

describe("a plan from a protocol", () => {
  it("orders no optional line until it is chosen, and the record says what was left out", () => {
    const [begun, ...rest] = entries({ ...start, taken: new Set(["a"]) });
    expect(begun![1]).toEqual({ protocol: "plain", version: 2, title: "Plain", left_out: ["ketamine", "maropitant"] });
    expect(rest.map(([name, fields]) => [name, fields.drug ?? fields.reading])).toEqual([
      ["DrugOrdered", "methadone"],
      ["LimitOrdered", "map"],
    ]);
    expect([...first(offer)]).toEqual(["a", "b"]);
  });
  it("says who ordered and who read it back, and no reader of a written order", () => {
    expect(entries(start)[1]![1]).toMatchObject({ ordered_by: "svr", given_as: "oral", read_back_by: "nkw", low: 0.2 });
    expect(entries({ ...start, how: "written" })[1]![1]).toMatchObject({ given_as: "written", read_back_by: "" });
  });
  it("carries a veterinarian's word only against the protocol's own conditions", () => {
    expect(entries(start)[0]![1]).not.toHaveProperty("said_by");
    const against = { ...offer, why_not: "Is not for this." };
    expect(entries({ ...start, offer: against, reason: "seen by me" })[0]![1]).toMatchObject({
      said_by: "svr",
      reason: "seen by me",
    });
  });
});

describe("a protocol kept", () => {
  it("gets its id from its name", () => expect(slug("  Dog, old & café: 2 ")).toBe("dog-old-cafe-2"));
  it("finds the line a refusal names", () => {
    expect(atLine({ field: "line 2, Methadone, dose" })).toBe(2);
    expect(atLine({ field: "version" })).toBe(0);
  });
});

it("puts the gravest caution first and keeps the order of equals", () => {
  const flags = ["care", "never", "care", "avoid"].map((severity, i) => ({ severity, title: String(i) }));
  expect(graded(flags as never).map((flag) => flag.title)).toEqual(["1", "3", "0", "2"]);
});
