import { describe, expect, it } from "vitest";
import { EDITORS, fieldsOf } from "./editors";

describe("what an editor writes", () => {
  it("keeps pulse and breaths whole, and a figure with a point as it was typed so that it is refused by name", () => {
    const exam = EDITORS.temperature!;
    expect(fieldsOf(exam, { heart_rate: "132", temperature_c: "38.0" }, null)).toEqual({
      heart_rate: 132,
      temperature_c: "38.0",
    });
    expect(fieldsOf(exam, { heart_rate: "13.2" }, null)).toEqual({ heart_rate: "13.2" });
  });

  it("tells none known from a list, and a list from nothing asked", () => {
    const ask = EDITORS.allergies!;
    expect(fieldsOf(ask, { known: "none", allergies: "wool" }, null)).toEqual({ allergies: [], reaction: "" });
    expect(fieldsOf(ask, { known: "listed", allergies: "wool, dust", reaction: "hives" }, null)).toEqual({
      allergies: ["wool", "dust"],
      reaction: "hives",
    });
  });

  it("leaves out what was not answered", () => {
    expect(fieldsOf(EDITORS.patient!, { breed: "collie" }, null)).toEqual({ breed: "collie" });
  });
});
