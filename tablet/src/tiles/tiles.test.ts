import { cleanup, fireEvent, render, screen } from "@testing-library/svelte";
import { afterEach, describe, expect, it } from "vitest";
import type { AirwayPlan, DrawnTube, Num as Figure } from "../wire/types";
import { working } from "../wire/working.svelte";
import Key from "./Key.svelte";
import Num from "./Num.svelte";
import Prio from "./Prio.svelte";
import Refusal from "./Refusal.svelte";
import TubeChoice from "./TubeChoice.svelte";
import TubeInPatient from "./TubeInPatient.svelte";

afterEach(() => {
  cleanup();
  working.close();
});

const figure = (more: Partial<Figure> = {}): Figure => ({
  text: "0.4",
  unit: "mL",
  mark: "worked",
  memory: false,
  estimated: false,
  at: null,
  by: "",
  working: null,
  ...more,
});

describe("a figure", () => {
  it("is a dash when nothing is known, never a nought", () => {
    const { container } = render(Num, { num: null });
    expect(container.textContent?.trim()).toBe("—");
  });
  it("says in words that it is from memory or from an estimate", () => {
    render(Num, { num: figure({ memory: true, estimated: true }) });
    expect(screen.getByText("from memory")).toBeTruthy();
    expect(screen.getByText("ESTIMATED")).toBeTruthy();
  });
  it("says of a prediction that it is one", () => {
    const { container } = render(Num, { num: figure({ mark: "predicted" }) });
    expect(container.textContent).toContain("≈");
    expect(container.textContent).toContain("est.");
  });
  it("opens its working at a touch", async () => {
    const sheet = {
      title: "Volume",
      says: "2 mg ÷ 5 mg/mL",
      inputs: [],
      held: [],
      bar: null,
      cited: [],
      memory: false,
      estimated: false,
    };
    render(Num, { num: figure({ working: sheet }) });
    await fireEvent.click(screen.getByRole("button"));
    expect(working.shown?.working).toEqual(sheet);
  });
});

describe("a key", () => {
  it("takes one touch for one: a second within 400 ms writes nothing", async () => {
    let count = 0;
    render(Key, { label: "Given", onpress: () => (count += 1) });
    const key = screen.getByRole("button");
    await fireEvent.click(key);
    await fireEvent.click(key);
    expect(count).toBe(1);
  });
  it("takes every touch where figures are typed", async () => {
    let count = 0;
    render(Key, { label: "7", quick: true, onpress: () => (count += 1) });
    const key = screen.getByRole("button");
    await fireEvent.click(key);
    await fireEvent.click(key);
    expect(count).toBe(2);
  });
  it("still answers when it would be refused, so that it can say why", async () => {
    let count = 0;
    render(Key, { label: "Over order", dashed: true, onpress: () => (count += 1) });
    await fireEvent.click(screen.getByRole("button"));
    expect(count).toBe(1);
  });
});

describe("danger", () => {
  it.each([
    ["high", "Act now"],
    ["medium", "Act soon"],
    ["low", "Be aware"],
  ] as const)("%s is said in words", (priority, word) => {
    render(Prio, { priority, title: "Mean pressure under 60" });
    expect(screen.getByText(word)).toBeTruthy();
  });
  it("offers the one likely value as a key and takes nothing by itself", async () => {
    let used = "";
    const refused = { says: "26 mL is more than this syringe holds.", accepts: "At most 3 mL.", use: "0.26 mL" };
    render(Refusal, { refused, onuse: (text: string) => (used = text) });
    expect(used).toBe("");
    await fireEvent.click(screen.getByRole("button", { name: "Use 0.26 mL" }));
    expect(used).toBe("0.26 mL");
  });
});

describe("the choice of a tube", () => {
  const air = {
    tubes: [
      {
        role: "first choice",
        id_text: "3.5",
        id_mm: 3.5,
        od_mm: 4.9,
        od_memory: false,
        cuffed: true,
        fits: 0.8,
        why: "",
      },
    ],
    estimates: [{ name: "weight", text: "ID 3.7 ± 0.2 mm", id_mm: 3.7, sd_mm: 0.25, memory: true, working: null }],
    ranked: [
      {
        id_text: "3.5",
        id_mm: 3.5,
        od_mm: 4.9,
        od_memory: false,
        cuffed: true,
        too_small: 0.1,
        fits: 0.87,
        too_large: 0.03,
        place: "first",
        why: "",
      },
      {
        id_text: "2.0",
        id_mm: 2,
        od_mm: 2.9,
        od_memory: false,
        cuffed: true,
        too_small: 1,
        fits: 0,
        too_large: 0,
        place: "may be first",
        why: "",
      },
    ],
  } as unknown as AirwayPlan;

  it("says that its chances are expected, and leaves out what has next to none", () => {
    render(TubeChoice, { air });
    const picture = screen.getByRole("img");
    expect(picture.getAttribute("aria-label")).toBe(
      "Expected, not measured: by weight ID 3.7 ± 0.2 mm, ID 3.5 fits 87 %",
    );
    expect(picture.textContent).not.toContain("2.0");
  });
});

describe("the tube in the patient", () => {
  const place = (at_mm: number | null, how = "measured") => ({ at_mm, how });
  const drawn = {
    id_text: "ID 3.5 mm",
    id_mm: 3.5,
    od_mm: 4.9,
    od_memory: false,
    cuffed: true,
    trachea_mm: null,
    larynx: place(null, "not known"),
    inlet: place(115),
    tip: place(115),
    cuff_top: place(null, "not known"),
    cuff_bottom: place(null, "not known"),
    side_hole: place(null, "not known"),
    has_side_hole: true,
    uncut_end: place(-85, "memory"),
    stylet_tip: place(105, "memory"),
    fork_low_mm: null,
    fork_high_mm: null,
    questions: ["How many cm to the larynx?"],
  } as unknown as DrawnTube;

  it("leaves open what nobody measured, and asks", () => {
    const { container } = render(TubeInPatient, { drawn });
    expect(screen.getByRole("img").getAttribute("aria-label")).toContain("larynx not measured");
    expect(container.textContent).toContain("How many cm to the larynx?");
    expect(container.textContent).not.toContain("cuff");
    expect(container.textContent).toContain("stylet 10 mm inside");
  });
});
