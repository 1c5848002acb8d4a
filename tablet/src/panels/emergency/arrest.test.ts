import { describe, expect, it } from "vitest";
import { cycleOf, drugState, inFront, nextStep } from "./arrest";

const T = Date.parse("2026-11-24T10:48:00Z");
const s = (n: number): number => T + n * 1000;

// Two-minute cycles without a break, and a dose every 3 to 5 minutes: RECOVER guidelines 2024, as the sheet carries them.
describe("the cycle clock", () => {
  it.each([
    [0, 1, 120],
    [84, 1, 36],
    [119.5, 1, 0.5],
    [120, 2, 120],
    [204, 2, 36],
    [600, 6, 120],
  ])("%s s after the call is cycle %s with %s s left", (ran, number, left) => {
    const c = cycleOf(T, s(ran), 120);
    expect([c.number, c.leftMs / 1000]).toEqual([number, left]);
    expect(c.open).toBeGreaterThan(0);
    expect(c.open).toBeLessThanOrEqual(1);
  });

  it("a tablet whose clock stands behind the call still shows the first cycle", () => {
    expect(cycleOf(T, s(-3), 120)).toEqual({ number: 1, leftMs: 120_000, open: 1 });
  });
});

describe("the keys in front", () => {
  const drug = (id: string, group: "arrest" | "reversal", undoes = "") => ({ drug: id, group, undoes }) as never;
  const names = (all: { drug: string }[]): string[] => all.map((d) => d.drug);
  it("U26: a reversal stands there only for a drug the record holds, whichever comes first in the list", () => {
    const all = [
      drug("naloxone", "reversal"),
      drug("atropine", "arrest"),
      drug("atipamezole", "reversal", "dexmedetomidine 20 mcg"),
      drug("epinephrine", "arrest"),
    ];
    expect(names(inFront(all))).toEqual(["epinephrine", "atropine", "atipamezole"]);
  });
  it("nothing given, nothing to undo", () => {
    expect(names(inFront([drug("naloxone", "reversal"), drug("epinephrine", "arrest")]))).toEqual(["epinephrine"]);
  });
});

describe("a drug's interval", () => {
  const repeated = { once: false, every_min: [3, 5] as [number, number] };
  it("runs from the last dose, whatever the order of arrival", () => {
    expect(drugState(repeated, [s(200), s(10)], s(290))).toMatchObject({ state: "waits", last: s(200), open: 0.5 });
    expect(drugState(repeated, [s(0)], s(180)).state).toBe("due");
  });

  it("once is once", () => {
    expect(drugState({ once: true, every_min: null }, [s(0)], s(4000)).state).toBe("not again");
    expect(drugState({ once: true, every_min: null }, [], s(4000)).state).toBe("not given");
  });
});

describe("the next step", () => {
  it("names the pause before it comes, and the shock when the ECG asks for one", () => {
    const c = cycleOf(T, s(84), 120);
    expect(nextStep(c, "", "10 J", "0:36")).toBe("In 0:36: change who presses, look at the ECG, then press again.");
    expect(nextStep(c, "VF", "10 J", "0:36")).toMatch(/^Shock 10 J once/);
    expect(nextStep(c, "no beats", "10 J", "0:36")).not.toMatch(/Shock/);
    expect(nextStep(c, "VF", "", "0:36")).not.toMatch(/Shock/);
  });
});
