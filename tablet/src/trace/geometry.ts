/**
 * Where everything of the anaesthetic chart lies, in pixels, from the chart's data and a time. Pure: it draws nothing,
 * reads no clock and works out no dose. Five minutes are 57 px at the tablet's width; the right edge lies up to ten
 * minutes ahead, so that the next rows have a place before they are due.
 */
import type { BandPart, Chart, ChartPoint, ChartPressure } from "../wire/types";
import { MINUTE, ms } from "./time";

export const COLUMN_PX = 57;
export const COLUMN_MS = 5 * MINUTE;
export const HEAD_PX = 24;
export const ROW_PX = 22;
/** Scales the chart may step to; a value outside the last is drawn at the edge with its figure. */
const TOPS = [160, 200, 240] as const;
const FLOORS = [40, 20, 0] as const;
/** A finger reaches this far: twice it is a target of 64 px. */
export const REACH_PX = 32;
/** Two rows apart and a little: farther than that, a rate is not joined to the next. */
const JOIN_MS = 12 * MINUTE;
const FIGURE_GAP_PX = 34;
const RING_PX = 21;
/** A name longer than this does not fit into the margin and is cut at a word; the bar then says it in full. */
const NAME_MOST = 9;

export interface Room {
  width: number;
  height: number;
  /** The band of names at the left. */
  left: number;
}

export interface Span {
  from: number;
  to: number;
}

export type Shown = "plain" | "struck" | "artefact";

export interface Tick {
  at: number;
  x: number;
  heavy: boolean;
}

export interface Step {
  value: number;
  y: number;
  heavy: boolean;
  /** False where its figure would lie over its neighbour's. */
  named: boolean;
}

/** Numbers of events that stand too near to be told apart: one ring with the first and the last. */
export interface Cluster {
  x: number;
  width: number;
  text: string;
  struck: boolean;
}

export interface Dot {
  id: string;
  kind: "rate";
  x: number;
  y: number;
  shown: Shown;
  late: boolean;
  off: "" | "above" | "below";
  point: ChartPoint;
}

export interface Cuff {
  id: string;
  kind: "pressure";
  x: number;
  y: number;
  sap: number | null;
  map: number | null;
  dap: number | null;
  shown: Shown;
  late: boolean;
  point: ChartPressure;
}

export interface Figure {
  id: string;
  kind: "figure";
  x: number;
  y: number;
  text: string;
  typed: boolean;
  shown: Shown;
  late: boolean;
  /** True where a newer figure stands too near: drawn as a small dot, still to be touched. */
  thin: boolean;
  point: ChartPoint;
}

export interface Row {
  title: string;
  unit: string;
  top: number;
  figures: Figure[];
}

export interface Bar {
  id: string;
  kind: "band";
  x: number;
  y: number;
  width: number;
  text: string;
  /** False where the words do not fit into the bar. */
  fits: boolean;
  part: BandPart;
}

export interface Band {
  title: string;
  /** The name as it fits into the margin. */
  name: string;
  top: number;
  bars: Bar[];
  total: string;
  totalX: number;
  running: boolean;
}

export interface Flag {
  id: string;
  kind: "given" | "event";
  x: number;
  y: number;
  text: string;
  detail: string;
  number: number | null;
  shown: Shown;
  fits: boolean;
  at: number;
}

export interface Hatch {
  x: number;
  width: number;
  lines: string[];
  /** How many lines of words stand above these, where gaps overlap. */
  below: number;
}

export interface Limit {
  y: number;
  text: string;
  labelY: number;
}

export interface Plotted {
  room: Room;
  span: Span;
  column: number;
  low: number;
  high: number;
  /** Said when the scale had to step past its usual 40 to 160. */
  scaleWord: string;
  plotTop: number;
  plotBottom: number;
  height: number;
  nowX: number | null;
  ticks: Tick[];
  steps: Step[];
  dots: Dot[];
  joins: string[];
  cuffs: Cuff[];
  rows: Row[];
  bands: Band[];
  givenTop: number;
  given: Flag[];
  eventsTop: number;
  events: Flag[];
  rings: Cluster[];
  hatches: Hatch[];
  limits: Limit[];
}

export type Touchable = Dot | Cuff | Figure | Bar | Flag;

/** One look may stand in several rows: its id alone does not tell its figures apart. */
export const keyOf = (t: Touchable): string => `${t.kind} ${t.id} ${Math.round(t.y)}`;

/** How many five-minute columns the room holds: twelve at the tablet's width, never under three. */
export function columnsOf(room: Room): number {
  return Math.max(3, Math.round((room.width - room.left) / COLUMN_PX));
}

/** The hour that is shown. `end` is a time scrolled to; without it the window follows `now`. */
export function windowOf(room: Room, now: number, end: number | null = null): Span {
  const to = end ?? Math.floor(now / COLUMN_MS) * COLUMN_MS + 2 * COLUMN_MS;
  return { from: to - columnsOf(room) * COLUMN_MS, to };
}

/** One window back, but not past the chart's beginning. Null: back to `now`. */
export function scrolledBack(room: Room, now: number, end: number | null, chartFrom: number): number | null {
  const shown = windowOf(room, now, end);
  if (shown.from <= chartFrom) return end;
  const earliest = Math.ceil(chartFrom / COLUMN_MS) * COLUMN_MS + (columnsOf(room) - 1) * COLUMN_MS;
  return Math.max(earliest, shown.to - columnsOf(room) * COLUMN_MS);
}

export function plot(chart: Chart, room: Room, now: number, end: number | null = null): Plotted {
  const span = windowOf(room, now, end);
  const column = (room.width - room.left) / columnsOf(room);
  const x = (at: number): number => room.left + ((at - span.from) / COLUMN_MS) * column;
  const inside = (at: number): boolean => at >= span.from && at <= span.to;

  const rows = chart.rows.filter((r) => r.points.length > 0);
  const bands = chart.bands.filter((b) => b.parts.some((p) => overlaps(p, span, now)));
  const below = (rows.length + bands.length + 2) * ROW_PX + 8;
  const plotTop = HEAD_PX;
  const plotBottom = Math.max(plotTop + 110, room.height - below);
  const scale = scaleOf(chart, span);
  const y = (value: number): number => {
    const held = Math.min(scale.high, Math.max(scale.low, value));
    return plotBottom - ((held - scale.low) / (scale.high - scale.low)) * (plotBottom - plotTop);
  };

  const dots = chart.rate.filter((p) => inside(ms(p.at))).map((p) => dotOf(p, x, y, scale));
  const rowsTop = plotBottom + 6;
  const events = flagsOf(chart.events, "event", inside, x, 0, room.width);
  const bandsTop = rowsTop + rows.length * ROW_PX;
  const givenTop = bandsTop + bands.length * ROW_PX;
  const eventsTop = givenTop + ROW_PX;
  const stops = { left: room.left, right: room.width };
  return {
    room,
    span,
    column,
    low: scale.low,
    high: scale.high,
    scaleWord: scale.high > TOPS[0] || scale.low < FLOORS[0] ? `scale ${scale.low} to ${scale.high}` : "",
    plotTop,
    plotBottom,
    height: eventsTop + ROW_PX + 2,
    nowX: inside(now) ? x(now) : null,
    ticks: ticksOf(span, x),
    steps: stepsOf(scale, y),
    dots,
    joins: joinsOf(dots, chart),
    cuffs: chart.pressures.filter((p) => inside(ms(p.at))).map((p) => cuffOf(p, x, y)),
    rows: rows.map((r, i) => ({
      title: r.title,
      unit: r.unit,
      top: rowsTop + i * ROW_PX,
      figures: figuresOf(r.points, inside, x, rowsTop + (i + 0.5) * ROW_PX),
    })),
    bands: bands.map((b, i) => bandOf(b, bandsTop + i * ROW_PX, span, now, x, stops)),
    givenTop,
    given: flagsOf(chart.given, "given", inside, x, givenTop + ROW_PX / 2, room.width),
    eventsTop,
    events: events.map((e) => ({ ...e, y: eventsTop + ROW_PX / 2 })),
    rings: ringsOf(events),
    hatches: hatchesOf(chart, span, x),
    limits: limitsOf(chart, scale, y, plotTop),
  };
}

/** The mark nearest to a touch, or null where none is within a finger's reach. */
export function nearest(p: Plotted, x: number, y: number, reach = REACH_PX): Touchable | null {
  let best: Touchable | null = null;
  let least = reach;
  for (const t of touchables(p)) {
    const d = distance(t, x, y);
    if (d <= least) {
      best = t;
      least = d;
    }
  }
  return best;
}

/** Every mark in the order of time, for the keyboard. */
export function touchables(p: Plotted): Touchable[] {
  const all: Touchable[] = [...p.dots, ...p.cuffs, ...p.rows.flatMap((r) => r.figures)];
  all.push(...p.bands.flatMap((b) => b.bars), ...p.given, ...p.events);
  return all.sort((a, b) => a.x - b.x || a.y - b.y);
}

/** `gap` and its reason in lines that fit the hatch. */
export function wrapped(text: string, width: number, perChar = 7.2): string[] {
  const most = Math.max(4, Math.floor(width / perChar));
  const lines: string[] = [];
  for (const word of text.split(" ")) {
    const last = lines[lines.length - 1];
    if (last !== undefined && last.length + 1 + word.length <= most) lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines.slice(0, 4);
}

function distance(t: Touchable, x: number, y: number): number {
  if (t.kind === "band") {
    const dx = Math.max(t.x - x, 0, x - t.x - t.width);
    return Math.hypot(dx, t.y - y);
  }
  if (t.kind === "pressure") {
    const heights = [t.sap, t.map, t.dap].filter((v): v is number => v !== null);
    return Math.min(...heights.map((h) => Math.hypot(t.x - x, h - y)));
  }
  return Math.hypot(t.x - x, t.y - y);
}

function overlaps(part: BandPart, span: Span, now: number): boolean {
  const to = part.to_at ? ms(part.to_at) : now;
  return ms(part.from_at) <= span.to && to >= span.from;
}

function scaleOf(chart: Chart, span: Span): { low: number; high: number } {
  const seen: number[] = [];
  for (const p of chart.rate) if (counts(p, span)) seen.push(p.value);
  for (const p of chart.pressures) {
    if (counts(p, span)) for (const v of [p.sap, p.map, p.dap]) if (v != null) seen.push(v);
  }
  const top = Math.max(chart.high, ...seen);
  const bottom = Math.min(chart.low, ...seen);
  return {
    high: TOPS.find((t) => t >= top) ?? TOPS[2],
    low: FLOORS.find((f) => f <= bottom) ?? 0,
  };
}

/** Artefacts and struck values do not set the scale: they are acted on by nothing. */
function counts(p: ChartPoint | ChartPressure, span: Span): boolean {
  const at = ms(p.at);
  return !p.struck && !p.artefact && at >= span.from && at <= span.to;
}

function ticksOf(span: Span, x: (at: number) => number): Tick[] {
  const ticks: Tick[] = [];
  for (let at = span.from; at <= span.to; at += COLUMN_MS) {
    ticks.push({ at, x: x(at), heavy: new Date(at).getMinutes() % 15 === 0 });
  }
  return ticks;
}

function stepsOf(scale: { low: number; high: number }, y: (v: number) => number): Step[] {
  const steps: Step[] = [];
  const close = Math.abs(y(scale.low) - y(scale.low + 20)) < 20;
  for (let v = scale.low; v <= scale.high; v += 20) {
    const heavy = v % 40 === 0;
    steps.push({ value: v, y: y(v), heavy, named: heavy || !close });
  }
  return steps;
}

/** Events drawn: rings that would overlap are one, from the first number to the last. */
function ringsOf(events: readonly Flag[]): Cluster[] {
  const groups: Flag[][] = [];
  for (const e of events) {
    const group = groups[groups.length - 1];
    const last = group?.[group.length - 1];
    if (group && last && e.x - last.x < RING_PX) group.push(e);
    else groups.push([e]);
  }
  return groups.map((g) => {
    const [first, last] = [g[0], g[g.length - 1]] as [Flag, Flag];
    const text = g.length === 1 ? `${first.number ?? "·"}` : `${first.number ?? "·"}–${last.number ?? "·"}`;
    const width = Math.max(19, last.x - first.x + 19, text.length * 8 + 10);
    return { x: (first.x + last.x) / 2, width, text, struck: g.every((e) => e.shown === "struck") };
  });
}

function shownAs(p: { struck: boolean; artefact?: boolean }): Shown {
  if (p.struck) return "struck";
  return p.artefact ? "artefact" : "plain";
}

function dotOf(
  p: ChartPoint,
  x: (at: number) => number,
  y: (v: number) => number,
  scale: { low: number; high: number },
): Dot {
  const off = p.value > scale.high ? "above" : p.value < scale.low ? "below" : "";
  return {
    id: p.event_id,
    kind: "rate",
    x: x(ms(p.at)),
    y: y(p.value),
    shown: shownAs(p),
    late: p.late,
    off,
    point: p,
  };
}

function cuffOf(p: ChartPressure, x: (at: number) => number, y: (v: number) => number): Cuff {
  const at = (v: number | null | undefined): number | null => (v == null ? null : y(v));
  const [sap, map, dap] = [at(p.sap), at(p.map), at(p.dap)];
  return {
    id: p.event_id,
    kind: "pressure",
    x: x(ms(p.at)),
    y: map ?? sap ?? dap ?? y(0),
    sap,
    map,
    dap,
    shown: shownAs(p),
    late: p.late,
    point: p,
  };
}

/** The rate is joined, dot to dot, but never across a gap, an artefact's place or a long silence. */
function joinsOf(dots: Dot[], chart: Chart): string[] {
  const runs: Dot[][] = [];
  const stand = dots.filter((d) => d.shown === "plain").sort((a, b) => a.x - b.x);
  for (const dot of stand) {
    const run = runs[runs.length - 1];
    const before = run?.[run.length - 1];
    if (run && before && joined(before, dot, chart)) run.push(dot);
    else runs.push([dot]);
  }
  return runs
    .filter((r) => r.length > 1)
    .map((r) => r.map((d, i) => `${i ? "L" : "M"}${d.x.toFixed(1)} ${d.y.toFixed(1)}`).join(""));
}

function joined(a: Dot, b: Dot, chart: Chart): boolean {
  const [from, to] = [ms(a.point.at), ms(b.point.at)];
  if (to - from > JOIN_MS) return false;
  return !chart.gaps.some((g) => ms(g.from_at) >= from && ms(g.to_at) <= to);
}

function figuresOf(
  points: readonly ChartPoint[],
  inside: (at: number) => boolean,
  x: (at: number) => number,
  y: number,
): Figure[] {
  const shown = points.filter((p) => inside(ms(p.at))).sort((a, b) => ms(a.at) - ms(b.at));
  const figures: Figure[] = shown.map((p) => ({
    id: p.event_id,
    kind: "figure",
    x: x(ms(p.at)),
    y,
    text: p.text,
    typed: p.mark === "typed",
    shown: shownAs(p),
    late: p.late,
    thin: false,
    point: p,
  }));
  let free = Infinity;
  for (const f of [...figures].reverse()) {
    if (f.x > free) f.thin = true;
    else free = f.x - FIGURE_GAP_PX;
  }
  return figures;
}

function bandOf(
  band: Chart["bands"][number],
  top: number,
  span: Span,
  now: number,
  x: (at: number) => number,
  stops: { left: number; right: number },
): Band {
  const bars: Bar[] = [];
  const name = shortName(band.title);
  for (const part of band.parts) {
    if (!overlaps(part, span, now)) continue;
    const from = Math.max(stops.left, x(ms(part.from_at)));
    const to = Math.min(stops.right, x(part.to_at ? ms(part.to_at) : Math.max(now, ms(part.from_at))));
    const width = Math.max(2, to - from);
    const text = name === band.title || bars.length ? part.text : `${band.title}, ${part.text}`;
    bars.push({
      id: part.event_id,
      kind: "band",
      x: from,
      y: top + ROW_PX / 2,
      width,
      text,
      fits: text.length * 7.4 + 12 <= width,
      part,
    });
  }
  const last = bars[bars.length - 1];
  return {
    title: band.title,
    name,
    top,
    bars,
    total: band.total_text,
    totalX: last ? last.x + last.width - 7 : stops.right - 7,
    running: band.running,
  };
}

function flagsOf(
  marks: Chart["given"],
  kind: "given" | "event",
  inside: (at: number) => boolean,
  x: (at: number) => number,
  y: number,
  right: number,
): Flag[] {
  const flags: Flag[] = marks
    .filter((m) => inside(ms(m.at)))
    .sort((a, b) => ms(a.at) - ms(b.at))
    .map((m) => ({
      id: m.event_id,
      kind,
      x: x(ms(m.at)),
      y,
      text: m.text,
      detail: m.detail,
      number: m.number ?? null,
      shown: m.struck ? "struck" : "plain",
      fits: true,
      at: ms(m.at),
    }));
  flags.forEach((f, i) => {
    const next = flags[i + 1]?.x ?? right;
    f.fits = f.text.length * 7.4 + 16 <= next - f.x;
  });
  if (kind === "given") nameUnnamed(flags, right);
  return flags;
}

/**
 * A repeat is written as its amount alone, after the name. Where the name had no room, the first of the repeats that has
 * room carries it, so that an amount never stands without its drug; without room for both it is not written.
 */
function nameUnnamed(flags: Flag[], right: number): void {
  let drug = "";
  let said = false;
  flags.forEach((f, i) => {
    const bare = /^[\d.]/.test(f.text);
    if (!bare) {
      drug = f.text.replace(/ [\d.].*$/, "");
      said = f.fits;
      return;
    }
    if (said || !drug) return;
    f.text = `${drug} ${f.text}`;
    f.fits = f.text.length * 7.4 + 16 <= (flags[i + 1]?.x ?? right) - f.x;
    said = f.fits;
  });
}

/** Gaps of the same time are one hatch with all their words; those that only overlap put their words one under another. */
function hatchesOf(chart: Chart, span: Span, x: (at: number) => number): Hatch[] {
  const hatches: Hatch[] = [];
  for (const gap of chart.gaps) {
    const from = Math.max(span.from, ms(gap.from_at));
    const to = Math.min(span.to, ms(gap.to_at));
    if (to <= from) continue;
    const [left, width] = [x(from), x(to) - x(from)];
    const lines = wrapped(gap.text, Math.max(width, COLUMN_PX) - 6);
    const same = hatches.find((h) => Math.abs(h.x - left) < 1 && Math.abs(h.width - width) < 1);
    if (same) {
      same.lines.push(...lines);
      continue;
    }
    const over = hatches.filter((h) => h.x < left + width && left < h.x + h.width);
    const below = Math.max(0, ...over.map((h) => h.below + h.lines.length));
    hatches.push({ x: left, width, lines, below });
  }
  return hatches;
}

const LIMIT_WORDS: Record<string, string> = { map: "mean", sap: "systolic", heart_rate: "rate" };

function limitsOf(
  chart: Chart,
  scale: { low: number; high: number },
  y: (v: number) => number,
  plotTop: number,
): Limit[] {
  const limits: Limit[] = [];
  for (const row of chart.limits) {
    const word = LIMIT_WORDS[row.reading];
    if (!word) continue;
    for (const value of [row.low, row.high]) {
      if (value == null || value < scale.low || value > scale.high) continue;
      limits.push({ y: y(value), text: `${word} ${value}`, labelY: y(value) - 6 });
    }
  }
  limits.sort((a, b) => b.y - a.y);
  let free = Infinity;
  for (const l of limits) {
    l.labelY = Math.max(plotTop + 12, Math.min(l.labelY, free));
    free = l.labelY - 16;
  }
  return limits;
}

/** `isotonic crystalloid, balanced` as `isotonic…`: the margin holds nine letters. */
export function shortName(title: string): string {
  if (title.length <= NAME_MOST) return title;
  const word = title.split(/[ ,]/)[0] ?? title;
  return `${word.slice(0, NAME_MOST - 1)}…`;
}
