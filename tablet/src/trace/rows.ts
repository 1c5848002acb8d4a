/** What stands under the plot: rows of figures, bands of what runs, what was given, numbered events. */
import type { Chart, ChartPoint } from "../wire/types";
import { ROW_PX, type Band, type Bar, type Cluster, type Figure, type Flag, type Span } from "./plotted";
import { overlaps, shownAs } from "./plotting";
import { ms } from "./time";

const FIGURE_GAP_PX = 34;
const RING_PX = 21;
/** A name longer than this does not fit into the margin and is cut at a word; the bar then says it in full. */
const NAME_MOST = 9;

export function figuresOf(
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

export function bandOf(
  band: Chart["bands"][number],
  top: number,
  span: Span,
  now: number,
  x: (at: number) => number,
  stops: { left: number; right: number },
): Band {
  const bars: Bar[] = [];
  const name = shortName(band.title);
  const totalPx = band.total_text ? band.total_text.length * 7.6 + 20 : 0;
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
      fits: text.length * 7.4 + 12 + (part.to_at ? 0 : totalPx) <= width,
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

export function flagsOf(
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

/** Events drawn: rings that would overlap are one, from the first number to the last. */
export function ringsOf(events: readonly Flag[]): Cluster[] {
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

/** `isotonic crystalloid, balanced` as `isotonic…`: the margin holds nine letters. */
export function shortName(title: string): string {
  if (title.length <= NAME_MOST) return title;
  const word = title.split(/[ ,]/)[0] ?? title;
  return `${word.slice(0, NAME_MOST - 1)}…`;
}
