import { describe, expect, it } from "vitest";
import type { OwnFigure, OwnGroup, OwnPart } from "../../wire/types";
import { along, whose } from "./scale";

const figure = (value: number): OwnFigure => ({
  text: String(value),
  value,
  unit: "mg/kg",
  ucum: "mg/kg",
  working: "as given",
  predicted: false,
});
const few = (asa: string, ...doses: number[]): OwnPart => ({
  asa,
  n: doses.length,
  few: true,
  says: "too few to say: under 6",
  doses: doses.map(figure),
  median: null,
  interval: null,
  spread: null,
  mean: null,
  mean_interval: null,
  next_range: null,
  next_logs: null,
  minutes: null,
  minutes_interval: null,
  pushes: null,
  pushes_range: null,
});
const group = (...parts: OwnPart[]): OwnGroup => ({
  species: "cat",
  agent: "alfaxalone",
  name: "alfaxalone",
  premedication: "none",
  beside: "",
  title: "Cat, alfaxalone, no premedication",
  n: 2,
  parts,
  published: [{ says: "label", low: figure(5), high: figure(5), memory: false, cited: [] }],
});

describe("the line of a group", () => {
  it("ends at the greatest of what was given and what is published", () => {
    expect(along(group(few("all", 2, 4)))(5)).toBe(100);
    expect(along(group(few("all", 2, 10)))(5)).toBe(50);
    expect(along(group(few("all", 2)))(0)).toBe(0);
  });
  it("says whose it is", () => {
    expect(["all", "I-II", "not graded"].map((asa) => whose(few(asa, 1)))).toEqual(["All", "ASA I-II", "Not graded"]);
  });
});
