import { describe, expect, it } from "vitest";
import type { DrugLine } from "../../wire/types";
import { lotOf, mark } from "./drawing";

const line = (lot: string, expires: string): DrugLine =>
  ({
    order: "o1",
    drug: "cefazolin",
    vial: "100 mg/mL",
    strength: "100 mg/mL",
    barrel: "3 mL",
    lot,
    expires,
  }) as DrugLine;

describe("a draw in one touch", () => {
  it("writes the shelf's one lot, as its key says", () => {
    const written = mark(line("K77", "2027-01"), "s1");
    expect([written.lot, written.expires]).toEqual(["K77", "2027-01"]);
    expect(lotOf(line("K77", "2027-01"))).toBe("lot K77, to 2027-01");
  });
  it("fills in nothing that nobody told", () => {
    const written = mark(line("", ""), "s1");
    expect([written.lot, written.expires]).toEqual(["", ""]);
    expect(lotOf(line("", ""))).toBe("lot and expiry not noted");
    expect(lotOf(line("", "2027-01"))).toBe("no lot, to 2027-01");
  });
});
