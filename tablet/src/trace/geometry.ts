/**
 * Where everything of the anaesthetic chart lies, in pixels, from the chart's data and a time. Pure: it draws nothing,
 * reads no clock and works out no dose. Five minutes are 57 px at the tablet's width; the right edge lies up to ten
 * minutes ahead, so that the next rows have a place before they are due.
 */
import type { Chart } from "../wire/types";
import { COLUMN_MS, COLUMN_PX, HEAD_PX, ROW_PX, type Plotted, type Room, type Span } from "./plotted";
import {
  cuffOf,
  dotOf,
  FLOORS,
  hatchesOf,
  joinsOf,
  limitsOf,
  overlaps,
  scaleOf,
  stepsOf,
  ticksOf,
  TOPS,
} from "./plotting";
import { bandOf, figuresOf, flagsOf, ringsOf } from "./rows";
import { ms } from "./time";

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
