"""A predicted level as a picture: the band of the population hatched in plum, the middle as a thin line.

What is past is solid, what is to come dashed, by the moment `now_min`; without one nothing has been given yet and all is dashed.
Nothing here is drawn like a reading: no marks on the line, hatching instead of a fill, and the words stand in the picture.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

WIDTH, LEFT, RIGHT, PANEL, APART, HEAD = 640.0, 52.0, 14.0, 176.0, 34.0, 24.0
LANE, FOOT = 18.0, 22.0
INK, QUIET, FAINT, PLUM, TEAL = "#1A221E", "#414A44", "#CFC6B3", "#74306B", "#0C5A53"
SANS = "'Source Sans 3'"  # the face's name ends in a digit, so it stands in quotes: without them no letter is printed
WORDS = "≈ est., predicted, not measured"
BUCKETS, GLYPH = 560, 0.5
STEPS = (0.1, 0.25, 0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 360, 720, 1440)
HATCH = (f'<defs><pattern id="guess" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
         f'<path d="M0 0V5" stroke="{PLUM}" stroke-width="1.3"/></pattern></defs>')  # fmt: skip


@dataclass(frozen=True, slots=True)
class Panel:
    """One curve: `middle` at each time, `low` and `high` at `band_times` where a population exists, `lines` as levels asked for."""

    title: str
    unit: str
    middle: Sequence[float]
    low: Sequence[float] = ()
    high: Sequence[float] = ()
    band_times: Sequence[float] = ()
    lines: Sequence[float] = ()
    band_says: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A dose at a minute, or over a stretch of minutes."""

    start_min: float
    stop_min: float
    text: str


@dataclass(frozen=True, slots=True)
class LevelPicture:
    times_min: Sequence[float]
    panels: tuple[Panel, ...]
    marks: tuple[Mark, ...] = ()
    now_min: float | None = None
    says: str = ""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a minute and a level lie on the page."""

    first: float
    last: float
    top: float
    ceiling: float

    def x(self, minute: float) -> float:
        inside = min(max(minute, self.first), self.last)
        return LEFT + (WIDTH - LEFT - RIGHT) * (inside - self.first) / (self.last - self.first)

    def y(self, level: float) -> float:
        return self.top + PANEL * (1 - min(max(level / self.ceiling, 0.0), 1.0))


def level_svg(picture: LevelPicture) -> str:
    """The whole picture, 640 units wide. No panel or fewer than two times is an empty string: there is nothing to draw.

    >>> level_svg(LevelPicture((0, 1), (Panel("plasma", "mg/L", (2, 1)),))).count("<svg")
    1
    """
    if not picture.panels or len(picture.times_min) < 2:
        return ""
    first, last = picture.times_min[0], picture.times_min[-1]
    parts, top = [HATCH], HEAD
    for panel in picture.panels:
        frame = Frame(first, last, top, round_top(_highest(panel)))
        parts += [*_grid(panel, frame), *_band(panel, frame), *_curve(panel, picture, frame),
                  *_lines(panel, frame), *_now(picture, frame), *_title(panel, frame)]  # fmt: skip
        top += PANEL + APART
    frame = Frame(first, last, top - APART, 1.0)
    parts += _minutes(frame)
    below = top - APART + FOOT
    lanes = _lanes(picture.marks, frame)
    for row, marks in enumerate(lanes):
        for mark in marks:
            parts += _mark(mark, frame, below + row * LANE)
    height = below + len(lanes) * LANE + 6
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img" font-family="{SANS}" '
            f'font-size="11" fill="{INK}"><title>{escape(picture.says or WORDS)}</title>{"".join(parts)}</svg>')  # fmt: skip


def round_top(highest: float) -> float:
    """The top of a scale: the least of 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 x a power of ten that holds the highest level.

    >>> round_top(7.3), round_top(0.021), round_top(0.0)
    (8.0, 0.025, 1.0)
    """
    if not (highest > 0 and math.isfinite(highest)):
        return 1.0
    power = 10.0 ** math.floor(math.log10(highest))
    return next(
        float(f"{s * power:.12g}") for s in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if s * power >= highest * 0.999999
    )


def level_ticks(ceiling: float) -> list[float]:
    """From nothing up to the top of a scale in steps of 1, 2 or 5 x a power of ten, six steps at most.

    >>> level_ticks(15.0), level_ticks(8.0), level_ticks(0.025)
    ([0.0, 5.0, 10.0, 15.0], [0.0, 2.0, 4.0, 6.0, 8.0], [0.0, 0.005, 0.01, 0.015, 0.02, 0.025])
    """
    power = 10.0 ** (math.floor(math.log10(ceiling)) - 1)
    step = next(s * power for s in (1, 2, 5, 10, 20, 50) if ceiling <= 6.000001 * s * power)
    return [float(f"{n * step:.12g}") for n in range(int(ceiling / step + 1e-9) + 1)]


def _highest(panel: Panel) -> float:
    """What the scale has to hold. A level asked for that lies far above the curve is told in words, not drawn."""
    curve = max(*panel.middle, max(panel.high, default=0.0))
    return max([curve, *(line for line in panel.lines if line <= 2 * curve)])


def drawn(values: Sequence[float], buckets: int = BUCKETS) -> list[int]:
    """Which of many values are drawn: in each stretch the first, the highest and the lowest, so that no peak is lost.

    >>> drawn([0, 1, 9, 1, 0, 0, 0, 0], 2)
    [0, 2, 4, 7]
    """
    count = len(values)
    if count <= buckets:
        return list(range(count))
    kept = {0, count - 1}
    for b in range(buckets):
        own = range(b * count // buckets, (b + 1) * count // buckets)
        kept |= {own[0], max(own, key=values.__getitem__), min(own, key=values.__getitem__)}
    return sorted(kept)


def _text(x: float, y: float, words: str, anchor: str = "start", *, size: float = 11, weight: int = 400,
          fill: str = INK) -> str:  # fmt: skip
    return (f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" font-weight="{weight}" '
            f'fill="{fill}">{escape(words)}</text>')  # fmt: skip


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, wide: float, extra: str = "") -> str:
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{stroke}" stroke-width="{wide:g}" fill="none" {extra}/>'


def _grid(panel: Panel, frame: Frame) -> Iterable[str]:
    for n, level in enumerate(level_ticks(frame.ceiling)):
        y = frame.y(level)
        yield _line(LEFT, y, WIDTH - RIGHT, y, INK if n == 0 else FAINT, 1 if n == 0 else 0.6)
        yield _text(LEFT - 6, y + 3.5, f"{level:.4g}", "end", size=10, fill=QUIET)
    for minute in _ticks(frame):
        yield _line(frame.x(minute), frame.top, frame.x(minute), frame.top + PANEL, FAINT, 0.5)


def _title(panel: Panel, frame: Frame) -> Iterable[str]:
    yield _text(LEFT, frame.top - 8, f"{panel.title}, {panel.unit}", weight=600, size=12)
    yield _text(WIDTH - RIGHT, frame.top - 8, WORDS, "end", weight=600, size=12, fill=PLUM)
    if panel.band_says:
        yield _text(WIDTH - RIGHT - 4, frame.top + 13, panel.band_says, "end", size=10, fill=PLUM)


def _ticks(frame: Frame) -> list[float]:
    span = frame.last - frame.first
    step = next((s for s in STEPS if span / s <= 12), span / 8)
    return [frame.first + n * step for n in range(int(span / step + 1e-9) + 1)]


def _minutes(frame: Frame) -> Iterable[str]:
    for minute in _ticks(frame):
        yield _text(frame.x(minute), frame.top + 13, f"{minute:g}", "middle", size=10, fill=QUIET)
    yield _text(LEFT - 6, frame.top + 13, "min", "end", size=10, fill=QUIET)


def _points(times: Sequence[float], frame: Frame, values: Sequence[float], which: Iterable[int]) -> str:
    return "L".join(f"{frame.x(times[i]):.1f} {frame.y(values[i]):.1f}" for i in which)


def _band(panel: Panel, frame: Frame) -> Iterable[str]:
    if not panel.low or not panel.high:
        return
    up = _points(panel.band_times, frame, panel.high, drawn(panel.high))
    down = _points(panel.band_times, frame, panel.low, reversed(drawn(panel.low)))
    yield f'<path d="M{up}L{down}Z" fill="{PLUM}" fill-opacity="0.08" stroke="none"/>'
    yield f'<path d="M{up}L{down}Z" fill="url(#guess)" fill-opacity="0.75" stroke="none"/>'


def _curve(panel: Panel, picture: LevelPicture, frame: Frame) -> Iterable[str]:
    which = drawn(panel.middle)
    now = picture.now_min
    past = [i for i in which if now is not None and picture.times_min[i] <= now]
    coming = which[max(0, len(past) - 1) :]
    for part, dash in ((past, ""), (coming, ' stroke-dasharray="6 4"')):
        if len(part) > 1:
            yield (f'<path d="M{_points(picture.times_min, frame, panel.middle, part)}" fill="none" stroke="#fff" stroke-width="3.4" '
                   'stroke-opacity="0.8"/>')  # fmt: skip
            yield (f'<path d="M{_points(picture.times_min, frame, panel.middle, part)}" fill="none" stroke="{PLUM}" '
                   f'stroke-width="1.6"{dash}/>')  # fmt: skip


def _lines(panel: Panel, frame: Frame) -> Iterable[str]:
    for level in panel.lines:
        if level > frame.ceiling:
            continue
        y = frame.y(level)
        yield _line(LEFT, y, WIDTH - RIGHT, y, INK, 0.9, 'stroke-dasharray="2 3"')
        yield _text(WIDTH - RIGHT - 4, y - 3, f"asked: {level:.4g}", "end", size=10)


def _now(picture: LevelPicture, frame: Frame) -> Iterable[str]:
    if picture.now_min is None:
        return
    x = frame.x(picture.now_min)
    yield _line(x, frame.top, x, frame.top + PANEL, TEAL, 1.4)
    yield _text(x + 3, frame.top + 10, "now", size=10, weight=600, fill=TEAL)


def _lanes(marks: Sequence[Mark], frame: Frame) -> list[list[Mark]]:
    """Doses side by side where there is room for their words; the next lane down where there is not, five at most."""
    lanes: list[list[Mark]] = []
    ends: list[float] = []
    for mark in sorted(marks, key=lambda m: m.start_min):
        left, right = _reach(mark, frame)
        for n, end in enumerate(ends):
            if left >= end:
                lanes[n].append(mark)
                ends[n] = right
                break
        else:
            if len(lanes) == 5:
                lanes[-1].append(Mark(mark.start_min, mark.stop_min, ""))
                continue
            lanes.append([mark])
            ends.append(right)
    return lanes


def _reach(mark: Mark, frame: Frame) -> tuple[float, float]:
    words = len(mark.text) * 10 * GLYPH + 14
    left, right = frame.x(mark.start_min), frame.x(mark.stop_min)
    return (left - 5 if left + words < WIDTH else left - words), max(right, left + words) + 4


def _mark(mark: Mark, frame: Frame, top: float) -> Iterable[str]:
    left, right = frame.x(mark.start_min), frame.x(mark.stop_min)
    words = len(mark.text) * 10 * GLYPH + 14
    turned = left + words >= WIDTH and right - left < words
    if right - left > 3:
        yield (f'<rect x="{left:.1f}" y="{top + 1:.1f}" width="{right - left:.1f}" height="13" fill="#fff" '
               f'stroke="{INK}" stroke-width="1"/>')  # fmt: skip
        outside = turned and right - left <= words
        x, anchor = (left - 4, "end") if outside else (left + 4, "start")
        yield _text(x, top + 11, mark.text, anchor, size=10)
        return
    yield f'<path d="M{left:.1f} {top + 1:.1f}l4.5 9h-9z" fill="{INK}"/>'
    yield _text(left - 7 if turned else left + 7, top + 10.5, mark.text, "end" if turned else "start", size=10)
