import { describe, expect, it } from "vitest";
import { offered } from "../../pads/rowing";
import { toldNow } from "../../trace/ribbon-live";
import { fresh, toldLive, toldPressure } from "../../trace/told-live";
import { live } from "../../wire/live.svelte";
import type {
  AirwayOffer,
  LiveFinding,
  LiveNumber,
  LivePressure,
  LiveState,
  LiveWave,
  PadLine,
  Vital,
} from "../../wire/types";
import { chartLines, saidOf } from "./charting";
import { foremost, LASTS, sorted, spelt, standing, takeable } from "./telling";

const NOW = Date.parse("2026-12-01T10:02:00Z");
const ago = (s: number): string => new Date(NOW - s * 1000).toISOString();
const ROW = "2026-12-01T10:00:00Z";

function number(over: Partial<LiveNumber> = {}): LiveNumber {
  return {
    reading: "spo2",
    label: "SpO₂",
    state: "good",
    text: "98",
    value: 98,
    unit: "%",
    raw: "98 %",
    monitor: "m-1",
    quality: "good",
    site: "tongue",
    method: "",
    at: ago(1),
    why: "",
    limits: "",
    alarm: "",
    ...over,
  };
}
const CUFF: LivePressure = {
  sap: 90,
  map: 62,
  dap: 48,
  method: "oscillometric",
  state: "good",
  quality: "good",
  monitor: "m-1",
  raw: "90; 62; 48",
  text: "90/48 (62)",
  at: ago(100),
  site: "left forelimb",
  why: "",
};
function state(numbers: LiveNumber[], over: Partial<LiveState> = {}): LiveState {
  return {
    case: "c",
    as_of: ago(0),
    link: "live",
    link_text: "",
    monitor: "m-1",
    monitor_name: "Bench",
    place: "",
    paired_at: ROW,
    skew_text: "",
    practice: false,
    held_back: "",
    waves: [],
    numbers,
    pressure: null,
    findings: [],
    breath_text: "",
    airway: null,
    candidates: [],
    unknown: [],
    dials: [],
    replay_from: null,
    replay_until: null,
    replay_speed: 0,
    replay_at: null,
    ...over,
  };
}

describe("a live number", () => {
  it("is now, grey from ten seconds, two dashes from thirty", () => {
    const look = (s: number): [string, string] => {
      const t = toldLive(number({ at: ago(s) }), NOW);
      return [t.look, t.figure];
    };
    expect([look(0), look(9.9), look(10), look(29.9), look(30)]).toEqual([
      ["now", "98"],
      ["now", "98"],
      ["grey", "98"],
      ["grey", "98"],
      ["dashes", "– –"],
    ]);
    expect(toldLive(number({ at: ago(40) }), NOW).foot).toBe("last 98, 40 s ago");
  });
  it("is hollow in doubt and a dash with its reason as a gap", () => {
    expect(toldLive(number({ state: "questionable", why: "early estimate" }), NOW)).toMatchObject({
      hollow: true,
      foot: "early estimate",
    });
    expect(toldLive(number({ state: "gap", value: null, why: "probe off" }), NOW)).toMatchObject({
      figure: "—",
      foot: "probe off",
    });
  });
  it("of a cuff ages in the cuff's own time", () => {
    expect(toldPressure(CUFF, NOW).look).toBe("now");
    expect(toldPressure({ ...CUFF, method: "arterial line" }, NOW).look).toBe("dashes");
  });
});

describe("charting a row from the monitor", () => {
  it("takes each value with its device, raw text, quality, site and own time", () => {
    const [one, two] = chartLines(state([number()], { pressure: CUFF }), NOW, ROW, []);
    expect(one?.entry).toEqual({
      event: "ReadingTaken",
      at: new Date(ago(1)),
      fields: {
        reading: "spo2",
        value: 98,
        unit: "%",
        source: "device",
        monitor: "m-1",
        raw: "98 %",
        quality: "good",
        site: "tongue",
        method: "",
        row_at: ROW,
      },
    });
    expect(two?.entry?.fields).toMatchObject({ sap: 90, map: 62, dap: 48, source: "device", method: "oscillometric" });
    expect(saidOf([one!, two!], ROW)).toMatch(/from the monitor: SpO₂ 98, Pressure 90\/48 \(62\)$/);
  });
  it("refuses what is old or a gap, in words, and cannot be made to take it", () => {
    const lines = chartLines(
      state([number({ at: ago(14) }), number({ reading: "etco2", state: "gap", value: null, why: "line blocked" })]),
      NOW,
      ROW,
      [],
    );
    expect(lines.map((l) => [l.not, l.may, l.entry])).toEqual([
      ["14 s old", false, null],
      ["line blocked", false, null],
    ]);
  });
  it("leaves what is in doubt or stands there already to a person", () => {
    const lines = chartLines(
      state([number({ state: "questionable", quality: "questionable", why: "early estimate" })], { pressure: CUFF }),
      NOW,
      ROW,
      [["pressure", "91/60/47", "x"]],
    );
    expect(lines.map((l) => [l.not, l.may])).toEqual([
      ["early estimate", true],
      ["91/60/47 stands there already", true],
    ]);
    expect(lines[0]?.entry?.fields).toMatchObject({ quality: "questionable" });
  });
  it("does not take a cuff of the row before", () => {
    const [cuff] = chartLines(state([], { pressure: { ...CUFF, at: ago(301) } }), NOW, ROW, []);
    expect([cuff?.may, cuff?.entry]).toEqual([false, null]);
  });
});

describe("the row pad's offer", () => {
  const line: PadLine = {
    id: "spo2",
    title: "SpO₂",
    unit: "%",
    choices: [],
    last: "",
    low: null,
    high: null,
    ask_low: null,
    ask_high: null,
    places: 0,
  };
  it("is there only while the number is fresh and undoubted", () => {
    expect(offered(line, state([number()]), NOW)?.text).toBe("98");
    expect(offered(line, state([number({ at: ago(10) })]), NOW)).toBeNull();
    expect(offered(line, state([number({ state: "questionable" })]), NOW)).toBeNull();
    expect(offered(line, null, NOW)).toBeNull();
    expect(fresh(number({ at: null }), NOW)).toBe(false);
  });
});

describe("the ribbon with a monitor", () => {
  const vital: Vital = {
    reading: "spo2",
    title: "SpO₂",
    unit: "%",
    limit: "",
    value: {
      text: "95",
      unit: "%",
      mark: "measured",
      memory: false,
      estimated: false,
      at: ago(200),
      by: "",
      working: null,
    },
    extra: "",
    foot: "",
    priority: null,
    stale_after_s: 600,
  };
  it("shows the live number; the charted one only where there is none, and says so", () => {
    expect(toldNow(vital, state([number()]), NOW, NOW)).toMatchObject({ figure: "98", foot: "now" });
    expect(toldNow(vital, state([]), NOW, NOW).foot).toMatch(/^charted \d\d:58$/);
    expect(toldNow(vital, null, NOW, NOW).foot).toBe("3 min");
  });
  it("says the charted value beside it while a condition rests on that", () => {
    expect(toldNow({ ...vital, priority: "medium" }, state([number()]), NOW, NOW).foot).toBe("now · charted 95");
  });
  it("takes the pulse where the ECG gives no rate", () => {
    const hr = { ...vital, reading: "heart_rate", value: null };
    const both = state([
      number({ reading: "heart_rate", state: "gap", value: null }),
      number({ reading: "pulse_rate", text: "88" }),
    ]);
    expect(toldNow(hr, both, NOW, NOW)).toMatchObject({ figure: "88", foot: "now · pulse" });
  });
});

it("puts the gravest finding that lasts first, and what is over last", () => {
  const finding = (name: string, over: Partial<LiveFinding>): LiveFinding => ({
    name,
    title: name,
    why: "",
    degree: "mild",
    priority: null,
    since: ago(60),
    until: null,
    measured: [],
    checks: [],
    causes: [],
    ...over,
  });
  const all = [
    finding("over", { priority: "high", until: ago(5) }),
    finding("mild", { priority: "low" }),
    finding("worst", { priority: "medium", degree: "severe" }),
    finding("less", { priority: "medium" }),
  ];
  expect(sorted(all).map((f) => f.name)).toEqual(["worst", "less", "mild", "over"]);
  expect(foremost(state([], { findings: all }))?.name).toBe("worst");
  expect(foremost(state([], { findings: all.slice(0, 1) }))).toBeNull();
});

describe("a monitor that says nothing (D6)", () => {
  const stream = (link: LiveState["link"], link_text: string): Parameters<typeof standing>[0] => ({
    state: state([], { link, link_text }),
    open: true,
    since: NOW,
    heardAt: NOW,
    speaks: () => true,
  });
  it("is said in words with its name and how long", () => {
    expect(standing(stream("stale", "Bench is silent since 17 s."), NOW)).toBe("no word from Bench since 17 s");
    const lost = "Bench, 2 is silent since 3 min. Look at the animal; look at cable and network.";
    expect(standing(stream("lost", lost), NOW)).toBe("no word from Bench, 2 since 3 min");
    expect(standing(stream("live", ""), NOW)).toBe("");
  });
});

describe("breaths as proof (D7)", () => {
  const offer = (side: AirwayOffer["side"], breaths: number): AirwayOffer => ({
    side,
    breaths,
    needed: 6,
    text: "",
    since: ROW,
  });
  it("are taken over only from the needed number on, and never in doubt", () => {
    expect(takeable(offer("counting", 5), 0)).toBe(false);
    expect(takeable(offer("proof", 6), 0)).toBe(true);
    expect(takeable(offer("doubt", 9), 0)).toBe(false);
    expect(takeable(offer("proof", 6), 6)).toBe(false);
    expect(takeable(null, 0)).toBe(false);
  });
});

describe("words", () => {
  it("of a finding that is over say until when", () => {
    const over = { since: "2026-12-01T09:50:00Z", until: "2026-12-01T09:55:00Z" } as LiveFinding;
    expect(LASTS(over, NOW)).toMatch(/^until \d\d:55, from \d\d:50$/);
  });
  it("have their small figures low", () => {
    expect(spelt("6 breaths with CO2, SpO2 97")).toBe("6 breaths with CO₂, SpO₂ 97");
  });
});

describe("the line", () => {
  it("keeps the seconds that come with it, before any panel stands", () => {
    const wave: LiveWave = {
      wave: "co2",
      label: "CO₂",
      unit: "mmHg",
      rate_hz: 50,
      scale: 1,
      offset: 0,
      low: 0,
      high: 60,
      device: "",
    };
    live.begin("c");
    live.linked(true);
    live.took(state([], { waves: [wave] }), NOW);
    for (let i = 0; i < 12; i += 1)
      live.drew({ wave: "co2", first: i * 50, at_ms: NOW - 12_000 + i * 1000, samples: Array(50).fill(i) }, NOW);
    const ring = live.ring("co2")!;
    expect([ring.next - ring.first, ring.value(ring.first), ring.value(ring.next - 1)]).toEqual([600, 0, 11]);
    expect(live.head(NOW)).toBeGreaterThan(NOW - 3000);
  });
});
