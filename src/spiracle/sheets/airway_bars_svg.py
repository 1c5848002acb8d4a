"""Two measures for print: the stack of dead space against a breath, and a cylinder's gauge as it was read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, sin

from spiracle.airway import AirwayChoice
from spiracle.quantity import figure
from spiracle.sheets.print_marks import (
    BODY,
    DASH,
    EDGE,
    GLYPH,
    HATCH,
    INK,
    SMALL,
    WIDTH,
    figure_of,
    line,
    lines_of,
    picture,
    text,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeFigures:
    """A cylinder as it was read, in shares of its full pressure (0 to 1) and in the words that stand beside it."""

    share: float
    reserve_share: float
    gauge: str
    full: str
    litres: str
    minutes: str
    above_reserve: str
    planned: str = ""


@dataclass(frozen=True, slots=True)
class _Along:
    """From millilitres to the page."""

    full: float

    def __call__(self, ml: float) -> float:
        return EDGE + (WIDTH - 2 * EDGE) * ml / self.full


def dead_space_svg(choice: AirwayChoice) -> str:
    """Gas breathed twice, part by part, against a breath; the two lines stand where they bite."""
    total, tidal = float(choice.dead_space_after.value.number("mL")), float(choice.tidal.value.number("mL"))
    posts = [float(p) * tidal / 100 for p in (choice.caution_percent, choice.stop_percent)]
    before = choice.dead_space_before
    uncut = total if before is None else float(before.value.number("mL"))
    x_of = _Along(max(total, uncut, posts[1]) * 1.2)
    y, high = 34.0, 30.0
    parts, keys, at = [line(EDGE, y + high, WIDTH - EDGE, y + high, 1)], list[tuple[float, str]](), 0.0
    for part in choice.parts:
        left, right = x_of(at), x_of(at + float(part.ml))
        dash = DASH["memory"] if part.memory else ""
        parts.append(f'<rect x="{left:.1f}" y="{y}" width="{right - left:.1f}" height="{high}" fill="none" stroke="{INK}" '
                     f'stroke-width="1.8"{dash}/>')  # fmt: skip
        words = f"{part.name} {figure(part.ml)}"
        start, end = _widest(left, right, [x_of(p) for p in posts])
        if len(words) * BODY * GLYPH + 12 < end - start:
            parts.append(text((start + end) / 2, y + 20, words, BODY, "middle"))
        else:
            keys.append(((left + right) / 2, words))
        at += float(part.ml)
    if uncut > total:
        parts.append(f'<rect x="{x_of(total):.1f}" y="{y + 6}" width="{x_of(uncut) - x_of(total):.1f}" height="{high - 12}" '
                     f'fill="none" stroke="{INK}" stroke-width="1" stroke-dasharray="2 3"/>')  # fmt: skip
        keys.append(((x_of(total) + x_of(uncut)) / 2, f"{round(uncut - total, 2):g} gone by cutting"))
    parts += [line(x_of(p), y - 10, x_of(p), y + high + 6, 3.4) for p in posts]
    parts += _post_words(choice, [x_of(p) for p in posts], posts, y - 14)
    return _sums(choice, [*parts, *_under(keys, y + high + 22)], y + high + 26 + 17 * len(keys))


def _post_words(choice: AirwayChoice, at: Sequence[float], posts: Sequence[float], y: float) -> list[str]:
    """What the two lines say, away from each other; as one line of words where both stand too near the edge."""
    named = f"named from {choice.caution_percent:f} %, {figure_of(posts[0])} mL"
    asked = f"asked above {choice.stop_percent:f} %, {figure_of(posts[1])} mL"
    if len(named) * SMALL * GLYPH > at[0]:
        return [text(EDGE, y, f"{named}; {asked}", SMALL)]
    over = at[1] + len(asked) * SMALL * GLYPH > WIDTH
    return [
        text(at[0] + 4, y, named, SMALL, "end"),
        text(at[1] + (4 if over else -4), y, asked, SMALL, "end" if over else "start"),
    ]


def _sums(choice: AirwayChoice, parts: list[str], y: float) -> str:
    """The stack in figures under it, and the single change that helps most."""
    space, percent = figure(choice.dead_space_after.value.value, 3), figure(choice.percent_of_breath, 3)
    per_kg, breath = figure(choice.dead_space_ml_per_kg, 3), figure(choice.tidal.value.value, 3)
    parts.append(
        text(EDGE, y + 14, f"= {space} mL, {percent} % of a breath of {breath} mL, {per_kg} mL/kg", BODY + 2, bold=True)
    )
    y += 22
    for told in lines_of(f"Helps most: {choice.changes[0].says}", BODY) if choice.changes else ():
        parts.append(text(EDGE, y + 14, told, BODY))
        y += 20
    parts.append(
        text(EDGE, y + 14, "dashed part: a typical volume, from memory; the two lines are from memory too", SMALL)
    )
    return picture(parts, y + 22, "Dead space: " + ", ".join(f"{p.name} {figure(p.ml)} mL" for p in choice.parts))


def _widest(left: float, right: float, posts: Iterable[float]) -> tuple[float, float]:
    """The widest stretch of a box that no line crosses."""
    cuts = [left, *sorted(p for p in posts if left < p < right), right]
    return max(pairwise(cuts), key=lambda piece: piece[1] - piece[0])


def _under(keys: Sequence[tuple[float, str]], y: float) -> list[str]:
    """Names too long for their box, one a row, the rightmost first, so that no line up to a part crosses a name."""
    parts = []
    for row, (x, words) in enumerate(sorted(keys, reverse=True)):
        low, wide = y + 17 * row, len(words) * SMALL * GLYPH
        right = x + 11 + wide < WIDTH
        parts.append(f'<path d="M{x:.1f} {y - 20:.1f}V{low - 4:.1f}h{8 if right else -8}" fill="none" stroke="{INK}" '
                     'stroke-width="0.8"/>')  # fmt: skip
        parts.append(text(x + 11 if right else x - 11, low, words, SMALL, "start" if right else "end"))
    return parts


def gauge_svg(gauge: GaugeFigures) -> str:
    """A cylinder's gauge as it was read; the hatched share is the reserve, not to be counted on."""
    cx, cy, r = 120.0, 112.0, 84.0
    reserve = min(1.0, gauge.reserve_share)
    parts = [
        HATCH,
        f'<path d="M{_on(cx, cy, r, 0)}A{r} {r} 0 0 1 {_on(cx, cy, r, reserve)}L{_on(cx, cy, r - 18, reserve)}'
        f'A{r - 18} {r - 18} 0 0 0 {_on(cx, cy, r - 18, 0)}Z" fill="url(#hatch)" stroke="{INK}" stroke-width="1"/>',
        f'<path d="M{_on(cx, cy, r, 0)}A{r} {r} 0 0 1 {_on(cx, cy, r, 0.5)}A{r} {r} 0 0 1 {_on(cx, cy, r, 1)}" fill="none" '
        f'stroke="{INK}" stroke-width="2.4"/>',
    ]
    for quarter in range(5):
        share = quarter / 4
        parts.append(
            f'<path d="M{_on(cx, cy, r, share)}L{_on(cx, cy, r - 14, share)}" stroke="{INK}" stroke-width="2"/>'
        )
    needle = min(1.02, max(0.0, gauge.share))
    parts += [
        f'<path d="M{cx} {cy}L{_on(cx, cy, r - 8, needle)}" stroke="{INK}" stroke-width="5" stroke-linecap="round"/>',
        f'<circle cx="{cx}" cy="{cy}" r="7" fill="{INK}"/>',
        text(cx - r, cy + 18, "0", SMALL, "middle"), text(cx + r, cy + 18, gauge.full, SMALL, "middle"),
        f'<g text-decoration="underline">{text(cx, cy + 32, gauge.gauge, BODY + 4, "middle", bold=True)}</g>',
        text(250, 48, gauge.minutes, 26, bold=True),
        text(250, 74, gauge.litres, BODY),
        text(250, 96, gauge.above_reserve, BODY),
    ]  # fmt: skip
    if gauge.planned:
        parts.append(text(250, 118, gauge.planned, BODY))
    parts.append(text(250, 140, "hatched: the reserve, not to be counted on", SMALL))
    return picture(parts, 158, f"Oxygen gauge {gauge.gauge} of {gauge.full}")


def _on(cx: float, cy: float, r: float, share: float) -> str:
    turn = pi * (1 - share)
    return f"{cx + r * cos(turn):.1f} {cy - r * sin(turn):.1f}"
