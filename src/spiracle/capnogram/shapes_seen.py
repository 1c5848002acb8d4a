"""What a single breath shows of each shape, as figures that do not depend on the animal's size: shares of its height and of its
expiration. Nothing here decides; the grades and the persistence do."""

from __future__ import annotations

from collections import deque
from statistics import median

import msgspec

from spiracle.capnogram.breath import Breath
from spiracle.capnogram.finding import Name
from spiracle.capnogram.tables import CapnogramTables
from spiracle.capnogram.trends import Rhythm

SHAPES: tuple[Name, ...] = (
    "panting", "leak", "obstruction", "rebreathing", "cardiogenic-oscillations", "effort-notch", "high-co2", "low-co2",
)  # fmt: skip

FALL_OF_RISE = 0.8
"""A sensor's fall by two thirds takes at most this much of its rise from 10 to 90 %: 0.65 / 0.8 for a straight edge, 1.05 / 2.2 for
an exponential one (1 - e^-1.05 = 0.65, and CG8's 2.2 time constants)."""

RISE_OF_FALL = 2.1
"""And its rise at most this much of that fall: 2.2 / 1.05 for an exponential one."""

PARTED = 0.15
"""A dip that leaves this share of the height standing, between two that end at the baseline, is a notch and no pause; ours."""


class Shape(msgspec.Struct, frozen=True, gc=False):
    """Shares of one breath.

    height      top over foot [mmHg]
    short       how far the area falls short of a square of the same height and length, beyond what is the sensor's and the dead space's
    climb       rise of the plateau as it would be over the whole expiration, over the height; negative where it falls
    slow_down   fall beyond what the upstroke says of the sensor, over the whole breath
    slurred     how much of the expiration the upstroke takes beyond what the fall says of the sensor
    level       whether there is room for a plateau: an expiration of at least two upstrokes
    """

    height: float
    short: float
    climb: float
    slow_down: float
    slurred: float
    level: bool


def shape_of(breath: Breath, own_s: float, own_share: float) -> Shape | None:
    """The shares of a breath, or None where it has no height or no length.

    Rise and fall are held against each other because a slow sensor, or a thin sampling line, slows both (CG7, CG8), and an airway
    that is narrow, or leaks, only one: what the fall takes is not missed in the area. Nor is what dead space takes of a healthy
    upstroke: `own_s` seconds, at most `own_share` of the expiration (small animals empty theirs sooner).
    """
    height, expiration = breath.top - breath.foot, breath.end_s - breath.start_s
    whole, fall = breath.fallen_s - breath.start_s, max(0.0, breath.fallen_s - breath.end_s)
    if height <= 0 or expiration <= 0 or whole <= 0:
        return None
    own = min(own_s, own_share * expiration) + FALL_OF_RISE * fall
    return Shape(
        height=height,
        short=1 - breath.area / (height * expiration) - own / expiration,
        climb=breath.plateau_slope * expiration / height,
        slow_down=max(0.0, fall - FALL_OF_RISE * breath.upstroke_s) / whole,
        slurred=(breath.upstroke_s - RISE_OF_FALL * fall) / expiration,
        level=expiration >= 2 * breath.upstroke_s,
    )


def obstruction_of(shape: Shape, climb_least: float, slurred_least: float) -> float:
    """How much of the square breath is missing at its corner [%]; nothing where the plateau does not climb by more than is usual and
    the upstroke is not slurred. A long expiration may end level behind a slurred upstroke (CS4 names both signs).

    A straight ramp from foot to end misses 50 %, an upstroke with a time constant of a quarter of the expiration about 24 %.
    """
    leans = shape.climb >= climb_least or (shape.slurred >= slurred_least and shape.climb >= 0)
    return 100.0 * max(0.0, shape.short) if leans else 0.0


def leak_of(shape: Shape) -> float:
    """How much of the breath its end falls away [%]: the plateau's fall over its height, or the slow fall's share of the time."""
    return 100.0 * max(-shape.climb if shape.level else 0.0, shape.slow_down)


def inspired_of(breath: Breath, smeared_share: float) -> float | None:
    """CO2 breathed in [mmHg]. Where breaths follow each other within two rises of the sensor, its smear lifts the baseline (CG7):
    what is no more than that share of the height cannot be told from smear and is None."""
    if breath.fico2 is None or breath.before_s is None:
        return None
    pause = breath.start_s - breath.before_s
    if pause < 2 * breath.upstroke_s and breath.fico2 <= smeared_share * (breath.top - breath.foot):
        return None
    return breath.fico2


def ripple_of(breath: Breath) -> float:
    """Depth of the deepest dip in the plateau, over the height [%]."""
    height = breath.top - breath.foot
    return 100.0 * breath.ripple / height if height > 0 else 0.0


def parted_of(breath: Breath, before: Breath | None) -> float:
    """Depth of a notch so deep that it was read as the end of one breath and the start of another [%]; 0 where it was none.

    Such a second half begins far above the baseline at which the first half began, is as high as that, and the dip between them is
    shorter than either.
    """
    if before is None or before.fico2 is None or breath.fico2 is None or breath.before_s is None:
        return 0.0
    base, dip, top = before.fico2, breath.fico2, min(breath.top, before.top)
    dipped_s = breath.start_s - breath.before_s
    short = dipped_s < min(breath.end_s - breath.start_s, before.end_s - before.start_s)
    if not short or top <= base or dip - base < PARTED * (top - base) or top < 0.8 * max(breath.top, before.top):
        return 0.0
    return 100.0 * (top - dip) / (top - base)


class Panting:
    """Quick breaths are panting when they are shallow, and how shallow shows in their end-tidal CO2: low in itself, or, many times as
    quick as this animal was, no higher than what it had. Height says nothing: CO2 breathed in takes of it."""

    REMEMBERED = 20
    """Calm breaths, the newest that were no quicker than the grades call clear; ours."""

    def __init__(self, tables: CapnogramTables) -> None:
        n, ladder = tables.number, tables.ladders["panting"]
        self._low, self._times, self._share = n("pant-low"), n("pant-times"), n("pant-share") / 100
        self._calm, self._quick, self._sure = ladder.clear, ladder.mild, ladder.severe
        self._before: deque[tuple[float, float]] = deque(maxlen=self.REMEMBERED)
        self._few = tables.count("looked-at")

    def of(self, b: Breath, rhythm: Rhythm | None) -> float:
        """The rate if the breath is one of panting, else nothing."""
        if rhythm is None:
            return 0.0
        rate = 60 / rhythm.interval_s
        if rate < self._calm:
            self._before.append((rate, b.etco2))
        shallow = b.etco2 <= self._low or rate >= self._sure
        return rate if shallow or (rate >= self._quick and self._than_before(rate, b.etco2)) else 0.0

    def _than_before(self, rate: float, etco2: float) -> bool:
        if len(self._before) < self._few:
            return False
        own, had = median(r for r, _ in self._before), median(e for _, e in self._before)
        return rate >= self._times * own and etco2 <= self._share * had


class Shapes:
    """The figures of one breath for each of SHAPES, by the limits of the tables; None where the breath cannot say."""

    def __init__(self, tables: CapnogramTables) -> None:
        n = tables.number
        self._own_s, self._own_share = n("upstroke-own"), n("upstroke-share") / 100
        self._climb, self._smeared = n("climb-least") / 100, n("low-share-of-fast") / 100
        self._slow, self._fast = n("ripple-slow"), n("ripple-fast")
        self._slurred = n("slurred-share") / 100
        self._panting = Panting(tables)
        self._notch = tables.ladders["effort-notch"].mild

    def figures(self, b: Breath, before: Breath | None, rhythm: Rhythm | None) -> tuple[float | None, ...]:
        ripple, parted = ripple_of(b), parted_of(b, before)
        dip = max(ripple, parted)
        # a breath with a deep dip has neither the area nor the slope of a plateau
        shape = None if dip > self._notch else shape_of(b, self._own_s, self._own_share)
        beat = b.ripple_per_min is not None and self._slow <= b.ripple_per_min <= self._fast
        return (
            self._panting.of(b, rhythm),
            None if shape is None else leak_of(shape),
            None if shape is None else obstruction_of(shape, self._climb, self._slurred),
            None if parted else inspired_of(b, self._smeared),
            ripple if beat else 0.0,
            0.0 if beat else dip,
            b.etco2,
            b.etco2,
        )
