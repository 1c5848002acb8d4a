import { describe, expect, it } from "vitest";
import { gasFields, otherWords } from "./mixing";

const N2O = { gas: "N2O", flow: "2" };

describe("oxygen beside another gas", () => {
  it("is not written before somebody has said whether the other still runs", () => {
    expect(gasFields("0.2", N2O, "")).toBeNull();
  });
  it("goes with the other gas, so that the mixture can be judged", () => {
    expect(gasFields("0.2", N2O, "runs")).toEqual({ oxygen_l_min: "0.2", other: "N2O", other_l_min: "2" });
    expect(gasFields("0.2", { gas: "air", flow: "" }, "runs")).toEqual({ oxygen_l_min: "0.2", other: "air" });
  });
  it("goes alone once the other is off, and where none ran", () => {
    expect(gasFields("0.2", N2O, "off")).toEqual({ oxygen_l_min: "0.2" });
    expect(gasFields("0.2", null, "")).toEqual({ oxygen_l_min: "0.2" });
  });
  it("is said with its flow", () => expect(otherWords(N2O)).toBe("N2O 2 L/min"));
});
