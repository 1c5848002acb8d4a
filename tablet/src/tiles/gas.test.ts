import { cleanup, render, screen } from "@testing-library/svelte";
import { afterEach, describe, expect, it } from "vitest";
import type { FlowBand as Band, Num as Figure, VentilatorCard } from "../wire/types";
import FlowBand from "./FlowBand.svelte";
import Gauge from "./Gauge.svelte";
import VentCard from "./VentCard.svelte";

afterEach(cleanup);

const figure = (text: string, more: Partial<Figure> = {}): Figure => ({
  text,
  unit: "mL",
  mark: "worked",
  memory: false,
  estimated: false,
  at: null,
  by: "",
  working: null,
  ...more,
});

describe("a cylinder's gauge", () => {
  it("hatches the reserve's own share, and none where it is not known", () => {
    const { container } = render(Gauge, { part: 0.6, reserve: 0.25 });
    // a quarter of the half circle of radius 47 round (62, 62) ends at 62 - 47 cos 45°, 62 - 47 sin 45°
    expect(container.querySelector(".reserve")?.getAttribute("d")).toMatch(/28\.8 28\.8$/);
    cleanup();
    expect(render(Gauge, { part: 0.6 }).container.querySelector(".reserve")).toBeNull();
  });
  it("draws what is counted apart from what was read, and says which is which", () => {
    const { container } = render(Gauge, { part: 0.6, predicted: 0.4, reserve: 0.25 });
    expect(container.querySelector(".predicted")?.getAttribute("stroke-dasharray")).toBeTruthy();
    expect(container.querySelector(".since")?.getAttribute("fill")).toContain("hatch");
    expect(screen.getByRole("img").getAttribute("aria-label")).toContain(
      "read at 60 %, predicted now 40 %, changed at 25 %",
    );
  });
  it("draws no count while it is the reading itself", () => {
    expect(render(Gauge, { part: 0.6, predicted: 0.6 }).container.querySelector(".predicted")).toBeNull();
  });
});

describe("fresh gas as each source has it", () => {
  const band: Band = {
    phase: "maintenance",
    set: figure("1.9", { unit: "L/min" }),
    at: 1.9,
    top: 3.8,
    opinions: [
      {
        source: "Massey",
        says: "safe",
        text: "200 to 300 mL/kg/min",
        low: 0.8,
        high: 1.2,
        measured: false,
        memory: false,
        cited: [],
      },
      {
        source: "Maxima",
        says: "needed",
        text: "455 mL/kg/min",
        low: 1.82,
        high: 1.82,
        measured: true,
        memory: false,
        cited: [],
      },
      {
        source: "Walsh",
        says: "lowered",
        text: "no figure",
        low: null,
        high: null,
        measured: true,
        memory: false,
        cited: [],
      },
    ],
  };
  it("draws a bar for each figure on one scale and keeps the source that has none", () => {
    const { container } = render(FlowBand, { band });
    const bars = [...container.querySelectorAll<HTMLElement>(".bar")];
    expect(bars).toHaveLength(2);
    expect(parseFloat(bars[0]!.style.left)).toBeCloseTo((0.8 / 3.8) * 100, 3);
    expect(bars[1]!.classList.contains("measured")).toBe(true);
    expect(screen.getByText("no figure read")).toBeTruthy();
    expect(container.querySelector<HTMLElement>(".post")!.style.left).toBe("50%");
  });
});

describe("first settings of a ventilator", () => {
  const card: VentilatorCard = {
    lean: figure("2.6", { unit: "kg" }),
    basis: "lean weight at condition 7 of 9",
    starts: [
      {
        mode: "volume",
        tidal: figure("26"),
        rate: figure("18", { unit: "/min" }),
        inspiration: figure("1", { unit: "s" }),
        ratio: "1:2.3",
        peep: figure("0", { unit: "cmH2O" }),
        peak: figure("5.6", { unit: "cmH2O", mark: "predicted", memory: true }),
        set_pressure: null,
        minute_volume: null,
        cautions: ["begin lower"],
        refusal: null,
      },
    ],
    alarms: [],
    now: "",
    now_at: null,
    judged: [],
    compliance: null,
    co2: "",
    changes: [],
  };
  it("marks the expected pressure as predicted and from memory, and says for which weight", () => {
    const { container } = render(VentCard, { card });
    expect(container.textContent).toContain("lean weight at condition 7 of 9");
    expect(container.querySelector(".predicted")?.textContent).toContain("≈");
    expect(screen.getByText("from memory")).toBeTruthy();
  });
});
