import { describe, expect, it } from "vitest";
import type { Num, Vital } from "../wire/types";
import { told } from "./ribbon";
import { ago, MINUTE, until } from "./time";

const NOW = Date.parse("2026-11-24T10:42:00Z");
const before = (min: number): string => new Date(NOW - min * MINUTE).toISOString();

function num(text: string, min: number, mark: Num["mark"] = "measured"): Num {
  return { text, unit: "", mark, memory: false, estimated: false, at: before(min), by: "", working: null };
}
function vital(value: Num | null, stale_after_s = 600): Vital {
  return {
    reading: "spo2",
    title: "SpO₂",
    unit: "%",
    limit: "",
    value,
    extra: "",
    foot: "",
    priority: null,
    stale_after_s,
  };
}

describe("a cell of the ribbon", () => {
  it("is one dash when nothing is known", () => {
    expect(told(vital(null), NOW)).toMatchObject({ figure: "—", icon: null, stale: false });
  });

  it("says now for a fresh measured value and the clock for a typed one", () => {
    expect(told(vital(num("98", 0)), NOW).foot).toBe("now");
    expect(told(vital(num("36.2", 2, "typed")), NOW).foot).toMatch(/^typed \d\d:40$/);
  });

  it("is two dashes once it is stale, and keeps the last figure with its age", () => {
    const t = told(vital(num("98", 12)), NOW);
    expect(t).toMatchObject({ figure: "– –", icon: "stale", stale: true, foot: "last 98, 12 min ago" });
  });
});

describe("times in words", () => {
  it("say how long until, how late and how long ago", () => {
    expect(until(NOW + 2 * MINUTE, NOW)).toBe("2 min");
    expect(until(NOW - 3 * MINUTE, NOW)).toBe("3 min late");
    expect(until(NOW - 10_000, NOW)).toBe("now");
    expect(until(NOW + 200 * MINUTE, NOW)).toBe("3 h 20 min");
    expect(ago(NOW - 12 * MINUTE, NOW)).toBe("12 min ago");
    expect(ago(NOW - 5_000, NOW)).toBe("just now");
    expect(ago(NOW - 240 * MINUTE, NOW)).toMatch(/^at \d\d:42$/);
  });
});
