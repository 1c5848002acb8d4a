import { describe, expect, it } from "vitest";
import { lacks, said, setFields } from "./venting";

describe("what a ventilator is set to", () => {
  it("has nothing chosen beforehand", () => {
    expect(lacks("", {})).toEqual(["how it breathes"]);
    expect(lacks("ventilator", {})).toEqual(["rate"]);
    expect(lacks("assisted by hand", {})).toEqual([]);
  });
  it("is not written with half a figure, nor with part of a breath a minute", () => {
    expect(lacks("ventilator", { rate: "14", tidal_ml: "4." })).toEqual(["breath"]);
    expect(lacks("ventilator", { rate: "14.5" })).toContain("rate as a whole number");
  });
  it("goes as it was typed, and what was not answered stays away", () => {
    expect(setFields("ventilator", "volume", { rate: "14", tidal_ml: "26.0" }, "")).toEqual({
      mode: "ventilator",
      held_by: "volume",
      rate: 14,
      tidal_ml: "26.0",
    });
  });
  it("leaves figures of a ventilator out when the animal breathes for itself", () => {
    expect(setFields("spontaneous", "volume", { rate: "14", tidal_ml: "26" }, "")).toEqual({ mode: "spontaneous" });
  });
  it("is said with its figures on the key", () => {
    expect(said("ventilator", { rate: "14", tidal_ml: "26" })).toBe("ventilator, rate 14, breath 26");
  });
});
