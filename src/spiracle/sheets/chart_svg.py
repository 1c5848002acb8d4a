"""The anaesthetic chart as a picture for print: time runs one way, traditional marks, gaps stay gaps.

Rate is a dot, systolic a downward and diastolic an upward hook, mean a cross, as on paper charts. A typed figure is
underlined, an artefact hollow and slashed, a struck value is left out of the plot (it stays in the written log).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from html import escape
from itertools import pairwise

from spiracle.sheets.shapes import Chart, ChartBand, ChartMark, ChartPoint, ChartPressure, ChartRow

WIDTH, LEFT, TOP, PLOT, ROW = 710.0, 74.0, 22.0, 190.0, 20.0
INK, FAINT, HAND, WORKED = "#1A221E", "#CFC6B3", "#7B3F0C", "#0C5A53"
SANS = "'Source Sans 3'"
ON_THE_PLOT = {"map", "heart_rate"}


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a time and a value lie on the page."""

    from_at: datetime
    to_at: datetime
    low: float
    high: float
    zone: tzinfo

    def x(self, at: datetime) -> float:
        span = (self.to_at - self.from_at).total_seconds()
        return LEFT + (WIDTH - LEFT) * (at - self.from_at).total_seconds() / span

    def y(self, value: float) -> float:
        inside = min(max(value, self.low), self.high)
        return TOP + PLOT * (1 - (inside - self.low) / (self.high - self.low))

    def off(self, value: float) -> str:
        """An arrow where a value lies off the scale; empty where it lies on it."""
        return "↑" if value > self.high else "↓" if value < self.low else ""

    def holds(self, at: datetime) -> bool:
        return self.from_at <= at < self.to_at

    def clock(self, at: datetime) -> str:
        return at.astimezone(self.zone).strftime("%H:%M")


def chart_svg(chart: Chart, from_at: datetime, to_at: datetime, zone: tzinfo, until: datetime | None = None) -> str:
    """One stretch of the chart. `zone` is the hospital's, for the clock along the top; what still runs is drawn `until` then."""
    frame = Frame(from_at, to_at, chart.low, chart.high, zone)
    below = TOP + PLOT
    parts = [
        *_grid(chart, frame),
        *_gaps(chart, frame),
        *_limits(chart, frame),
        *_pressures(chart, frame),
        *_rate(chart, frame),
    ]
    y = below
    for row in chart.rows:
        parts += _row(row, frame, y)
        y += ROW
    parts.append(_line(0, y, WIDTH, y, INK, 1.4))
    for band in chart.bands:
        parts += _band(band, frame, y, until or to_at)
        y += ROW
    parts += _given(chart.given, frame, y)
    y += ROW
    parts += _events(chart.events, frame, y)
    height = y + ROW + 2
    body = "".join(parts)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" '
            f'font-family="{SANS}" font-size="12" fill="{INK}">{body}</svg>')  # fmt: skip


def stretches(chart: Chart, hours: int = 1) -> tuple[tuple[datetime, datetime], ...]:
    """The chart cut into sheets of whole hours, beginning a step before its first so that no mark lies on the scale."""
    start = chart.from_at.replace(minute=chart.from_at.minute - chart.from_at.minute % 5, second=0, microsecond=0)
    start -= timedelta(minutes=chart.every_min)
    cuts = []
    while start < chart.to_at:
        cuts.append((start, start + timedelta(hours=hours)))
        start += timedelta(hours=hours)
    return tuple(cuts)


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float, extra: str = "") -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{stroke}" stroke-width="{width}" {extra}/>'


def _text(
    x: float, y: float, words: str, anchor: str = "start", size: float = 12, weight: int = 400, fill: str = INK
) -> str:
    return (f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" font-weight="{weight}" '
            f'fill="{fill}">{escape(words)}</text>')  # fmt: skip


def _grid(chart: Chart, frame: Frame) -> Iterable[str]:
    rows = len(chart.rows) + len(chart.bands) + 2
    bottom = TOP + PLOT + rows * ROW
    at = frame.from_at
    while at <= frame.to_at:
        x = frame.x(at)
        quarter = at.minute % 15 == 0
        yield _line(x, TOP, x, bottom, FAINT, 0.9 if quarter else 0.5)
        if quarter and at < frame.to_at:
            yield _text(x, TOP - 7, frame.clock(at), "middle", 12, 600)
        at += timedelta(minutes=chart.every_min)
    value = chart.low
    while value <= chart.high:
        yield _line(LEFT, frame.y(value), WIDTH, frame.y(value), FAINT, 0.6)
        yield _text(LEFT - 8, frame.y(value) + 4, f"{value:g}", "end", 11)
        value += 20


def _gaps(chart: Chart, frame: Frame) -> Iterable[str]:
    for gap in chart.gaps:
        x1, x2 = frame.x(max(gap.from_at, frame.from_at)), frame.x(min(gap.to_at, frame.to_at))
        if x2 <= x1:
            continue
        step = x1 - PLOT
        while step < x2:
            a, b = max(step, x1), min(step + PLOT, x2)
            yield _line(a, TOP + PLOT - (a - step), b, TOP + PLOT - (b - step), FAINT, 0.7)
            step += 7
        yield (f'<rect x="{(x1 + x2) / 2 - 34:.1f}" y="{TOP + 60:.1f}" width="68" height="18" fill="#fff"/>')
        yield _text((x1 + x2) / 2, TOP + 73, gap.text[:14], "middle", 10.5)


def _limits(chart: Chart, frame: Frame) -> Iterable[str]:
    for limit in (x for x in chart.limits if x.reading in ON_THE_PLOT):
        for bound in (limit.low, limit.high):
            if bound is not None and frame.low < bound < frame.high:
                yield _line(LEFT, frame.y(bound), WIDTH, frame.y(bound), INK, 0.9, 'stroke-dasharray="6 4"')
                yield _text(WIDTH - 2, frame.y(bound) - 3, limit.text, "end", 9.5)


def _pressures(chart: Chart, frame: Frame) -> Iterable[str]:
    for p in chart.pressures:
        if frame.holds(p.at) and not p.struck:
            yield from _pressure(p, frame)


def _pressure(p: ChartPressure, frame: Frame) -> Iterable[str]:
    x = frame.x(p.at)
    if p.artefact:
        yield from _artefact(x, frame.y(p.map or p.sap or frame.high), p.text)
        return
    if p.sap is not None and p.dap is not None:
        yield _line(x, frame.y(p.sap), x, frame.y(p.dap), INK, 0.5)
    for value, down in ((p.sap, True), (p.dap, False)):
        if value is not None:
            y, tip = frame.y(value), 6 if down else -6
            if frame.off(value):
                yield _text(x + 7, y + 4, f"{value:g} {frame.off(value)}", "start", 10)
            yield (f'<path d="M{x - 5.5:.1f} {y - tip:.1f}L{x:.1f} {y:.1f}L{x + 5.5:.1f} {y - tip:.1f}" '
                   f'fill="none" stroke="{INK}" stroke-width="1.5"/>')  # fmt: skip
    if p.map is not None:
        y = frame.y(p.map)
        yield (f'<path d="M{x - 4:.1f} {y - 4:.1f}L{x + 4:.1f} {y + 4:.1f}M{x - 4:.1f} {y + 4:.1f}L{x + 4:.1f} {y - 4:.1f}" '
               f'stroke="{INK}" stroke-width="1.4"/>')  # fmt: skip


def _artefact(x: float, y: float, words: str) -> Iterable[str]:
    yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="none" stroke="{INK}" stroke-width="1"/>'
    yield _line(x - 6, y + 6, x + 6, y - 6, INK, 1)
    yield _text(x + 8, y + 4, f"{words} artefact", "start", 10)


def _rate(chart: Chart, frame: Frame) -> Iterable[str]:
    seen = [p for p in chart.rate if frame.holds(p.at) and not p.struck]
    good = [p for p in seen if not p.artefact]
    for a, b in pairwise(good):
        if (b.at - a.at) <= timedelta(minutes=2 * chart.every_min) and not _crosses_gap(a.at, b.at, chart):
            yield _line(frame.x(a.at), frame.y(a.value), frame.x(b.at), frame.y(b.value), INK, 0.7)
    for p in seen:
        if p.artefact:
            yield from _artefact(frame.x(p.at), frame.y(p.value), p.text)
        else:
            yield f'<circle cx="{frame.x(p.at):.1f}" cy="{frame.y(p.value):.1f}" r="4" fill="{INK}"/>'
            if frame.off(p.value):
                yield _text(frame.x(p.at) + 6, frame.y(p.value) + 4, f"{p.text} {frame.off(p.value)}", "start", 10)
            if p.mark == "typed":
                yield _line(frame.x(p.at) - 5, frame.y(p.value) + 7, frame.x(p.at) + 5, frame.y(p.value) + 7, HAND, 1.2)


def _crosses_gap(a: datetime, b: datetime, chart: Chart) -> bool:
    return any(gap.from_at < b and a < gap.to_at for gap in chart.gaps)


def _row(row: ChartRow, frame: Frame, y: float) -> list[str]:
    out = [
        _line(0, y, WIDTH, y, FAINT, 0.6),
        _text(LEFT - 8, y + 14, f"{row.title} {row.unit}".strip(), "end", 11, 600),
    ]
    last = -100.0
    for p in (p for p in row.points if frame.holds(p.at) and not p.struck):
        x = frame.x(p.at)
        if x - last < 22:
            continue  # a crowded row prints what fits; every value stands in the written log
        last = x
        out += _figure(p, x, y)
    return out


def _figure(p: ChartPoint, x: float, y: float) -> list[str]:
    hand = p.mark == "typed"
    out = [_text(x, y + 14, p.text, "middle", 11.5, 400, HAND if hand else INK)]
    half = 3.4 * len(p.text)
    if hand:
        out.append(_line(x - half, y + 17, x + half, y + 17, HAND, 1))
    if p.artefact:
        out.append(_line(x - half, y + 10, x + half, y + 10, INK, 1))
    return out


def _band(band: ChartBand, frame: Frame, y: float, until: datetime) -> list[str]:
    out = [_line(0, y, WIDTH, y, FAINT, 0.6), _text(LEFT - 8, y + 14, band.title[:13], "end", 11, 600)]
    for part in band.parts:
        start, end = max(part.from_at, frame.from_at), min(part.to_at or until, frame.to_at)
        if start >= end:
            continue
        x1, x2 = frame.x(start), frame.x(end)
        out.append(f'<rect x="{x1:.1f}" y="{y + 3:.1f}" width="{x2 - x1:.1f}" height="{ROW - 6:.1f}" fill="#F1ECE0" '
                   f'stroke="{INK}" stroke-width="0.7"/>')  # fmt: skip
        if x2 - x1 > 5.2 * len(part.text):
            out.append(_text(x1 + 5, y + 14, part.text, "start", 10.5))
    if band.total_text:
        out.append(_text(WIDTH - 4, y + 14, f"= {band.total_text}", "end", 10.5, 600, WORKED))
    return out


def _given(marks: Iterable[ChartMark], frame: Frame, y: float) -> list[str]:
    out = [_line(0, y, WIDTH, y, FAINT, 0.6), _text(LEFT - 8, y + 14, "Given", "end", 11, 600)]
    seen = [m for m in marks if frame.holds(m.at) and not m.struck]
    free = LEFT
    for m in seen:
        x = frame.x(m.at)
        out.append(f'<path d="M{x:.1f} {y + 4:.1f}L{x + 7:.1f} {y + 10:.1f}L{x:.1f} {y + 16:.1f}Z" fill="{INK}"/>')
        if x + 9 >= free and x + 9 + 5.4 * len(m.text) <= WIDTH:
            out.append(_text(x + 10, y + 14, m.text, "start", 10.5))
            free = x + 14 + 5.4 * len(m.text)
    return out


def _events(marks: Iterable[ChartMark], frame: Frame, y: float) -> list[str]:
    out = [_line(0, y, WIDTH, y, FAINT, 0.6), _text(LEFT - 8, y + 14, "Events", "end", 11, 600)]
    for m in (m for m in marks if frame.holds(m.at) and not m.struck):
        x = frame.x(m.at)
        out.append(f'<circle cx="{x:.1f}" cy="{y + 10:.1f}" r="7.5" fill="#fff" stroke="{INK}" stroke-width="1"/>')
        out.append(_text(x, y + 14, str(m.number or "•"), "middle", 10, 600))
    return out
