import { describe, expect, it } from "vitest";
import type { Chart, ChartPoint, ChartPressure } from "../wire/types";
import { plot, scrolledBack, windowOf } from "./geometry";
import { COLUMN_PX } from "./plotted";
import { wrapped } from "./plotting";
import { shortName } from "./rows";
import { nearest, touchables } from "./touch";
import { MINUTE } from "./time";

/** Clock times of one invented morning, on a whole quarter hour so that the grid is easy to see. */
const TEN = Date.parse("2026-11-24T10:00:00Z");
const at = (min: number): string => new Date(TEN + min * MINUTE).toISOString();
const room = { width: 762, height: 408, left: 78 };

function point(min: number, value: number, more: Partial<ChartPoint> = {}): ChartPoint {
  return {
    event_id: `p${min}`,
    at: at(min),
    value,
    text: String(value),
    mark: "measured",
    by: "monitor",
    struck: false,
    artefact: false,
    late: false,
    recorded_at: at(min),
    ...more,
  };
}

function cuff(min: number, sap: number | null, map: number | null, dap: number | null): ChartPressure {
  return {
    event_id: `b${min}`,
    at: at(min),
    sap,
    map,
    dap,
    method: "oscillometric",
    text: "",
    mark: "measured",
    by: "monitor",
    struck: false,
    artefact: false,
    late: false,
    recorded_at: at(min),
  };
}

function chart(more: Partial<Chart> = {}): Chart {
  return {
    from_at: at(-60),
    to_at: at(60),
    every_min: 5,
    low: 40,
    high: 160,
    rate: [],
    pressures: [],
    rows: [],
    bands: [],
    given: [],
    events: [],
    gaps: [],
    limits: [],
    ...more,
  };
}

describe("the hour that is shown", () => {
  it("is twelve columns of 57 px at the tablet width", () => {
    const p = plot(chart(), room, TEN);
    expect(p.column).toBeCloseTo(COLUMN_PX);
    expect(p.ticks).toHaveLength(13);
    expect(p.span.to - p.span.from).toBe(60 * MINUTE);
  });

  it("ends more than five and at most ten minutes ahead, whatever the minute", () => {
    for (let s = 0; s < 3600; s += 17) {
      const now = TEN + s * 1000;
      const ahead = windowOf(room, now).to - now;
      expect(ahead).toBeGreaterThan(5 * MINUTE);
      expect(ahead).toBeLessThanOrEqual(10 * MINUTE);
    }
  });

  it("scrolls back a whole window, stops at the beginning, and comes back to now", () => {
    const began = TEN - 140 * MINUTE;
    const end = scrolledBack(room, TEN, null, began);
    expect(windowOf(room, TEN, end).to).toBe(windowOf(room, TEN).from);
    const again = scrolledBack(room, TEN, end, began);
    expect(windowOf(room, TEN, again).from).toBeLessThanOrEqual(began);
    expect(windowOf(room, TEN, again).from).toBeGreaterThan(began - 10 * MINUTE);
    expect(scrolledBack(room, TEN, again, began)).toBe(again);
    expect(windowOf(room, TEN, null)).toEqual(windowOf(room, TEN));
  });

  it("a phone shows fewer columns, never under three", () => {
    expect(plot(chart(), { width: 370, height: 136, left: 34 }, TEN).ticks.length).toBe(7);
    expect(plot(chart(), { width: 90, height: 136, left: 34 }, TEN).ticks.length).toBe(4);
  });
});

describe("where a value lies", () => {
  it("later is to the right by 57 px for five minutes, higher is up", () => {
    const p = plot(chart({ rate: [point(-20, 80), point(-15, 120)] }), room, TEN);
    const [a, b] = p.dots;
    expect((b?.x ?? 0) - (a?.x ?? 0)).toBeCloseTo(57);
    expect(b?.y).toBeLessThan(a?.y ?? 0);
  });

  it("the scale is 40 to 160 and silent about it", () => {
    const p = plot(chart({ rate: [point(-20, 160), point(-15, 40)] }), room, TEN);
    expect([p.low, p.high, p.scaleWord]).toEqual([40, 160, ""]);
    expect(p.dots[0]?.y).toBeCloseTo(p.plotTop);
    expect(p.dots[1]?.y).toBeCloseTo(p.plotBottom);
  });

  it("steps to 200 or 240 when a value needs it, and says so", () => {
    expect(plot(chart({ rate: [point(-5, 182)] }), room, TEN).high).toBe(200);
    const p = plot(chart({ pressures: [cuff(-5, 236, 150, 90)] }), room, TEN);
    expect([p.high, p.scaleWord]).toEqual([240, "scale 40 to 240"]);
    expect(plot(chart({ pressures: [cuff(-5, 60, 38, 25)] }), room, TEN).low).toBe(20);
  });

  it("an artefact or a struck value does not stretch the scale", () => {
    const rate = [point(-5, 230, { artefact: true }), point(-10, 220, { struck: true })];
    const p = plot(chart({ rate }), room, TEN);
    expect(p.high).toBe(160);
    expect(p.dots.map((d) => d.off)).toEqual(["above", "above"]);
    expect(p.dots.map((d) => d.shown)).toEqual(["artefact", "struck"]);
  });

  it("beyond the last scale a value stays on the edge and is marked as off it", () => {
    const p = plot(chart({ rate: [point(-5, 280)] }), room, TEN);
    expect(p.dots[0]?.off).toBe("above");
    expect(p.dots[0]?.y).toBeCloseTo(p.plotTop);
  });

  it("a pressure keeps only what was measured", () => {
    const p = plot(chart({ pressures: [cuff(-5, 110, null, null)] }), room, TEN);
    expect(p.cuffs[0]).toMatchObject({ map: null, dap: null });
    expect(p.cuffs[0]?.sap).not.toBeNull();
  });
});

describe("the rate is joined honestly", () => {
  const rate = [point(-30, 90), point(-25, 92), point(-20, 95), point(-15, 96)];
  it("dot to dot when every row is there", () => {
    const p = plot(chart({ rate }), room, TEN);
    expect(p.joins).toHaveLength(1);
    expect(p.joins[0]?.match(/[ML]/g)).toHaveLength(4);
  });

  it("never across a gap", () => {
    const gaps = [{ from_at: at(-24), to_at: at(-21), text: "gap moved" }];
    expect(plot(chart({ rate, gaps }), room, TEN).joins).toHaveLength(2);
  });

  it("never across a long silence", () => {
    const p = plot(chart({ rate: [point(-40, 90), point(-35, 90), point(-20, 90), point(-15, 90)] }), room, TEN);
    expect(p.joins).toHaveLength(2);
  });

  it("never through an artefact or a struck value", () => {
    const marked = [rate[0], { ...rate[1], artefact: true }, { ...rate[2], struck: true }, rate[3]] as ChartPoint[];
    const p = plot(chart({ rate: marked }), room, TEN);
    expect(p.joins).toHaveLength(0);
    expect(p.dots).toHaveLength(4);
    const one = [rate[0], { ...rate[1], struck: true }, rate[2], rate[3]] as ChartPoint[];
    expect(plot(chart({ rate: one }), room, TEN).joins.map((d) => d.match(/[ML]/g)?.length)).toEqual([2]);
  });
});

describe("rows, bands and flags", () => {
  it("two figures never lie over each other: the newer stands, the older becomes a dot", () => {
    const points = [point(-10, 97), point(-9, 98), point(-4, 99)];
    const p = plot(chart({ rows: [{ reading: "spo2", title: "SpO₂", unit: "%", points }] }), room, TEN);
    expect(p.rows[0]?.figures.map((f) => f.thin)).toEqual([true, false, false]);
  });

  it("a band that still runs ends at now, one that began before is cut at the left", () => {
    const parts = [
      { event_id: "v1", from_at: at(-120), to_at: at(-20), text: "2 %" },
      { event_id: "v2", from_at: at(-20), to_at: null, text: "1.5 %" },
    ];
    const bands: Chart["bands"] = [
      { id: "v", title: "Iso dial", kind: "vaporiser", parts, total_text: "", running: true },
    ];
    const p = plot(chart({ bands }), room, TEN);
    const [first, second] = p.bands[0]?.bars ?? [];
    expect(first?.x).toBe(78);
    expect((second?.x ?? 0) + (second?.width ?? 0)).toBeCloseTo(p.nowX ?? 0);
  });

  it("a hatch spans its gap and carries its words", () => {
    const gaps = [{ from_at: at(-15), to_at: at(-5), text: "gap no cuff" }];
    const h = plot(chart({ gaps }), room, TEN).hatches[0];
    expect(h?.width).toBeCloseTo(114);
    expect(h?.lines.join(" ")).toBe("gap no cuff");
  });

  it("words of limits never lie over each other", () => {
    const row = { text: "", unit: "", action: "", whose: "", memory: false, cited: [] };
    const limits = [
      { ...row, reading: "map", low: 60, high: null },
      { ...row, reading: "heart_rate", low: 62, high: 140 },
      { ...row, reading: "spo2", low: 94, high: null },
    ];
    const l = plot(chart({ limits }), room, TEN).limits;
    expect(l.map((x) => x.text).sort()).toEqual(["mean 60", "rate 140", "rate 62"]);
    for (let i = 1; i < l.length; i += 1) {
      expect((l[i - 1]?.labelY ?? 0) - (l[i]?.labelY ?? 0)).toBeGreaterThanOrEqual(16);
    }
  });

  it("everything lies inside the drawing, whatever the hour", () => {
    const rate = Array.from({ length: 60 }, (_, i) => point(-300 + i * 6, 60 + ((i * 37) % 120)));
    for (const end of [null, TEN - 60 * MINUTE, TEN - 200 * MINUTE]) {
      const p = plot(chart({ from_at: at(-300), rate }), room, TEN, end);
      for (const t of touchables(p)) {
        expect(t.x).toBeGreaterThanOrEqual(room.left);
        expect(t.x).toBeLessThanOrEqual(room.width);
        expect(t.y).toBeLessThanOrEqual(p.height);
      }
    }
  });
});

describe("a touch", () => {
  const p = plot(chart({ rate: [point(-20, 80), point(-15, 120)] }), room, TEN);
  it("finds the nearest mark within a finger", () => {
    const [a, b] = p.dots;
    expect(nearest(p, (a?.x ?? 0) + 20, (a?.y ?? 0) + 10)?.id).toBe("p-20");
    expect(nearest(p, (b?.x ?? 0) - 5, b?.y ?? 0)?.id).toBe("p-15");
  });

  it("finds nothing on empty paper", () => {
    expect(nearest(p, 300, 30)).toBeNull();
  });
});

describe("words in a hatch", () => {
  it("break between words and stay four lines", () => {
    expect(wrapped("no pressure, cuff slipped off the leg again and again", 70).length).toBeLessThanOrEqual(4);
    expect(wrapped("gap no cuff", 57)).toEqual(["gap no", "cuff"]);
  });
});

describe("names that have to fit", () => {
  const mark = (min: number, text: string, number: number | null = null): Chart["given"][number] => ({
    event_id: `m${min}`,
    at: at(min),
    text,
    detail: "",
    number,
    struck: false,
  });

  it("an amount never stands without its drug", () => {
    const p = plot(chart({ given: [mark(-30, "alfaxalone 4.5 mg"), mark(-29, "4.5 mg")] }), room, TEN);
    expect(p.given.filter((g) => g.fits).map((g) => g.text)).toEqual(["alfaxalone 4.5 mg"]);
    const roomy = plot(chart({ given: [mark(-40, "alfaxalone 4.5 mg"), mark(-20, "4.5 mg")] }), room, TEN);
    expect(roomy.given.map((g) => g.text)).toEqual(["alfaxalone 4.5 mg", "4.5 mg"]);
  });

  it("rings that would overlap become one, from the first number to the last", () => {
    const events = [mark(-40, "a", 1), mark(-30, "b", 2), mark(-29, "c", 3), mark(-28, "d", 4)];
    expect(plot(chart({ events }), room, TEN).rings.map((r) => r.text)).toEqual(["1", "2–4"]);
  });

  it("a long name is cut in the margin and said in full in its bar", () => {
    const parts = [{ event_id: "f", from_at: at(-45), to_at: null, text: "11 mL/h" }];
    const long: Chart["bands"] = [
      { id: "f", title: "balanced crystalloid", kind: "fluid", parts, total_text: "", running: true },
    ];
    const band = plot(chart({ bands: long }), room, TEN).bands[0];
    expect(band?.name).toBe("balanced…");
    expect(band?.bars[0]?.text).toBe("balanced crystalloid, 11 mL/h");
    expect(shortName("Iso dial")).toBe("Iso dial");
  });
});
