"""What several breaths show together: their rhythm, how long a silence may be, a fall by a constant share, humps that fade."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median

import msgspec

from spiracle.capnogram.breath import Breath
from spiracle.capnogram.tables import CapnogramTables

WINDOWS = (4, 5, 6, 8, 10, 13, 17, 22)
"""Breaths over which a fall is looked for: a quick one is seen in the few last breaths, a slow one only over many."""


def height_of(breath: Breath) -> float:
    return breath.top - breath.foot


class Rhythm(msgspec.Struct, frozen=True, gc=False):
    """The middle of the last breaths: seconds from start to start, height [mmHg], and how far the intervals lie apart over their middle."""

    interval_s: float
    longest_s: float
    spread: float
    height: float


def rhythm_of(breaths: Sequence[Breath]) -> Rhythm | None:
    """The rhythm of the last nine breaths, or None with fewer than two intervals. An interval across a gap is none."""
    last = breaths[-9:]
    return rhythm_from([60 / b.rate_per_min for b in last if b.rate_per_min], [height_of(b) for b in last])


def rhythm_from(steps: list[float], heights: list[float]) -> Rhythm | None:
    """The rhythm of these intervals and heights, or None with fewer than two intervals."""
    if len(steps) < 2:
        return None
    steps.sort()
    middle, longest = _middle(steps), steps[-1]
    return Rhythm(middle, longest, (longest - steps[0]) / middle, _middle(sorted(heights)))


def _middle(row: list[float]) -> float:
    """The median of a sorted row."""
    half = len(row) // 2
    return row[half] if len(row) % 2 else (row[half - 1] + row[half]) / 2


class Waits(msgspec.Struct, frozen=True, gc=False):
    """What the tables set for `silence_s`."""

    steady_spread: float
    times_steady: float
    times: float
    loss_least: float
    loss_most: float
    apnoea_times: float
    apnoea_least: float
    apnoea_most: float

    @classmethod
    def of(cls, tables: CapnogramTables) -> Waits:
        names = ("steady-spread", "loss-times-steady", "loss-times", "loss-least", "loss-most",
                 "apnoea-times", "apnoea-least", "apnoea-most")  # fmt: skip
        return cls(*map(tables.number, names))


def silence_s(rhythm: Rhythm, n: Waits) -> tuple[float, float]:
    """Seconds from the end of a breath after which its loss, and after which an apnoea, is told.

    Both follow from the animal's own interval, and are held between a least and a most. A steady rhythm is a ventilator's or a deep
    sleeper's, which never skips; one that has paused of late may pause as long again.
    """
    times = n.times_steady if rhythm.spread <= n.steady_spread else n.times
    own = max(times * rhythm.interval_s, 1.25 * rhythm.longest_s)
    loss = min(max(own, n.loss_least), n.loss_most)
    apnoea = min(max(n.apnoea_times * rhythm.interval_s, n.apnoea_least), n.apnoea_most)
    return loss, max(apnoea, loss, 2.0 * rhythm.interval_s)


@dataclass(frozen=True, slots=True)
class Fall:
    """A fall by a constant share: from when, how much of the height is gone [%], how much with each breath [%], how well it fits."""

    from_s: float
    lost: float
    each: float
    fit: float


def fall_of(breaths: Sequence[Breath], tables: CapnogramTables) -> Fall | None:
    """The fall that the last breaths show, or None.

    ln(height) against the breath's number is a straight line when each breath loses the same share: what washes out of lungs to
    which no more comes. The line has to explain `fall-fit` of what varies, the last breath to lie under `fall-end`, the breaths to go
    on at their own rate, and at most half of the loss to come in one step (a step is a loss, not a fall).
    """
    n = tables.number
    if not breaths or breaths[-1].etco2 > n("fall-end"):
        return None
    for size in WINDOWS:
        if len(breaths) < size:
            return None
        last = breaths[-size:]
        heights = [height_of(b) for b in last]
        if min(heights) <= 0 or _doubted(last) or heights[0] < n("usual-least"):
            continue
        logs = [math.log(h) for h in heights]
        slope, fit = _line(logs)
        total = logs[0] - logs[-1]
        lost = 100 * (1 - math.exp(-total))
        steps = [a - b for a, b in pairwise(logs)]
        if (
            lost < n("fall-share")
            or fit < n("fall-fit")
            or max(steps) > 0.6 * total
            or _quicker(last, n("fall-own-rate"))
        ):
            continue
        return Fall(last[0].start_s, lost, 100 * (1 - math.exp(slope)), fit)
    return None


def _doubted(breaths: Sequence[Breath]) -> bool:
    """More than one breath in eight is doubtful, or one of the ends, on which the loss rests."""
    doubtful = sum(b.quality != "good" for b in breaths)
    return doubtful > len(breaths) // 8 or any(b.quality != "good" for b in (breaths[0], breaths[-1]))


def _line(values: Sequence[float]) -> tuple[float, float]:
    """Least-squares slope per step, and the share of the variance it explains."""
    middle, mean = (len(values) - 1) / 2, fmean(values)
    square = sum((i - middle) ** 2 for i in range(len(values)))
    slope = sum((i - middle) * (v - mean) for i, v in enumerate(values)) / square
    whole = sum((v - mean) ** 2 for v in values)
    return slope, slope * slope * square / whole if whole > 0 else 0.0


def slope_of(heights: Sequence[float]) -> float:
    """How ln(height) goes on from breath to breath: -0.1 is about 10 % less with each."""
    return _line([math.log(h) for h in heights])[0]


def _quicker(breaths: Sequence[Breath], times: float) -> bool:
    """Has the rate risen so much that the fall may be quick breathing?"""
    rates = [b.rate_per_min for b in breaths if b.rate_per_min]
    return len(rates) >= 4 and median(rates[-2:]) > times * median(rates[:2])


def fading(heights: Sequence[float], tables: CapnogramTables) -> float | None:
    """How much of the highest hump the last one has lost [%], if the humps since a start shrink one after the other; else None.

    30, 18 and 9 mmHg after a tube was placed: 70 % is gone.
    """
    n = tables.number
    if len(heights) < tables.count("fade-breaths"):
        return None
    peak = max(range(min(2, len(heights))), key=lambda i: heights[i])
    fall = heights[peak:]
    if len(fall) < tables.count("fade-breaths") or fall[-1] > n("fade-top"):
        return None
    step = 1 - n("fade-step") / 100
    grown = sum(b > step * a for a, b in pairwise(fall))
    lost = 100 * (1 - fall[-1] / fall[0])
    return lost if lost >= n("fade-share") and grown <= (len(fall) - 1) // 4 else None
