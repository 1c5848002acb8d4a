/** The plot itself: its scale, its grid, rate and pressures, limits and gaps. */
import type { BandPart, Chart, ChartPoint, ChartPressure } from "../wire/types";
import {
  COLUMN_MS,
  COLUMN_PX,
  type Cuff,
  type Dot,
  type Hatch,
  type Limit,
  type Shown,
  type Span,
  type Step,
  type Tick,
} from "./plotted";
import { MINUTE, ms } from "./time";

/** Scales the chart may step to; a value outside the last is drawn at the edge with its figure. */
export const TOPS = [160, 200, 240] as const;
export const FLOORS = [40, 20, 0] as const;
/** Two rows apart and a little: farther than that, a rate is not joined to the next. */
const JOIN_MS = 12 * MINUTE;

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

export function overlaps(part: BandPart, span: Span, now: number): boolean {
  const to = part.to_at ? ms(part.to_at) : now;
  return ms(part.from_at) <= span.to && to >= span.from;
}

export function scaleOf(chart: Chart, span: Span): { low: number; high: number } {
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

export function ticksOf(span: Span, x: (at: number) => number): Tick[] {
  const ticks: Tick[] = [];
  for (let at = span.from; at <= span.to; at += COLUMN_MS) {
    ticks.push({ at, x: x(at), heavy: new Date(at).getMinutes() % 15 === 0 });
  }
  return ticks;
}

export function stepsOf(scale: { low: number; high: number }, y: (v: number) => number): Step[] {
  const steps: Step[] = [];
  const close = Math.abs(y(scale.low) - y(scale.low + 20)) < 20;
  for (let v = scale.low; v <= scale.high; v += 20) {
    const heavy = v % 40 === 0;
    steps.push({ value: v, y: y(v), heavy, named: heavy || !close });
  }
  return steps;
}

export function shownAs(p: { struck: boolean; artefact?: boolean }): Shown {
  if (p.struck) return "struck";
  return p.artefact ? "artefact" : "plain";
}

export function dotOf(
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

export function cuffOf(p: ChartPressure, x: (at: number) => number, y: (v: number) => number): Cuff {
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
export function joinsOf(dots: Dot[], chart: Chart): string[] {
  const runs: Dot[][] = [];
  let broken = true;
  for (const dot of [...dots].sort((a, b) => a.x - b.x)) {
    const run = runs[runs.length - 1];
    const before = run?.[run.length - 1];
    if (dot.shown !== "plain") broken = true;
    else if (run && before && !broken && joined(before, dot, chart)) run.push(dot);
    else {
      runs.push([dot]);
      broken = false;
    }
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

/** Gaps of the same time are one hatch with all their words; those that only overlap put their words one under another. */
export function hatchesOf(chart: Chart, span: Span, x: (at: number) => number): Hatch[] {
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

const LIMIT_WORDS: Record<string, string> = { map: "mean", heart_rate: "rate" };

export function limitsOf(
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
