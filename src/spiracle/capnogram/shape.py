"""The figures of breaths, from their own stretch of the signal. Many breaths at once or one by one: the same floats, because nothing
is ever summed across two breaths.

Moments come from the averaged signal, pressures from the raw one. End-tidal and inspired CO2 are medians of the raw samples beside
the highest (lowest) point, over 0.1 s or a tenth of the expiration (inspiration), whichever is shorter, so that one noisy sample does
not set them, and only over what the averaged signal shows within LIKE of it, so that a ripple's flanks do not lower its peak. Where a
tenth is less than one sample, the point itself, as far as the lines through its neighbours reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import isnan
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spiracle.capnogram.angle import alpha_deg
from spiracle.capnogram.breath import Breath
from spiracle.capnogram.breaths import Hump
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.signal import Samples

Index = NDArray[np.int64]
RISE_S, FALL_S, SEEN_S, MEAN_S, STEP_S = 0.5, 3.0, 0.15, 0.1, 0.1
SINKS_S, SINKS = 0.4, 0.05
"""A second corner so much later, and so far above the line from the first, ends the expiration."""
LIKE = 0.4
"""mmHg."""
POINTS = 32
"""Looked back from a known rise, back from a fall, on after it, averaged for a pressure; a corner later
than this overrules the foot."""


@dataclass(slots=True)
class Before:
    """The breath before, as far as the next one needs it."""

    start_s: float | None = None
    end: float | None = None


class Flat:
    """Many stretches [lo, hi) of one array laid end to end."""

    def __init__(self, lo: Index, hi: Index) -> None:
        self.lo = lo
        self.size = np.maximum(hi - lo, 1)
        self.starts = np.concatenate((np.zeros(1, np.int64), np.cumsum(self.size)[:-1]))
        self.where = np.arange(int(self.size.sum()), dtype=np.int64) + self.spread(lo - self.starts)

    def spread(self, each: NDArray[Any]) -> NDArray[Any]:
        return np.repeat(each, self.size)

    def furthest(self, values: Samples) -> Index:
        """Index (in the array laid out) of each stretch's highest value, the first of equals."""
        top = np.maximum.reduceat(values, self.starts)
        hits = np.flatnonzero(values == self.spread(top))
        return np.asarray(self.where[hits[np.searchsorted(hits, self.starts)]])

    def first(self, hits: Index, after: Index, otherwise: Index) -> Index:
        """First hit (position in the flat array) at or after a place of the array, else the other."""
        place = after - self.lo + self.starts
        k = np.searchsorted(hits, place)
        found = hits[np.minimum(k, len(hits) - 1)] if len(hits) else np.full(len(place), -1)
        good = (k < len(hits)) & (found < self.starts + self.size)
        return np.where(good, found - self.starts + self.lo, otherwise)

    def last(self, hits: Index, before: Index, otherwise: Index) -> Index:
        """Last hit before a place of the array, else the other."""
        place = before - self.lo + self.starts
        k = np.searchsorted(hits, place) - 1
        found = hits[np.maximum(k, 0)] if len(hits) else np.full(len(place), -1)
        good = (k >= 0) & (found >= self.starts)
        return np.where(good, found - self.starts + self.lo, otherwise)


def grid(lo: Index, hi: Index, points: int) -> Index:
    """So many places from lo to hi, both included, in one row for each stretch; nearest samples, so some may repeat."""
    share = np.arange(points) / (points - 1)
    return np.asarray(lo[:, None] + np.rint((hi - lo)[:, None] * share).astype(np.int64))


def measure(
    humps: list[Hump], known_s: list[float], raw: Samples, averaged: Samples, at: int, setup: Setup, before: Before
) -> list[Breath]:
    """The breaths of these humps, one or more; `raw` and `averaged` begin at index `at` of the recording. `before` is moved on."""
    return _Measuring(humps, raw, averaged, at, setup).breaths(before, known_s)


class _Measuring:
    def __init__(self, humps: list[Hump], raw: Samples, averaged: Samples, at: int, setup: Setup) -> None:
        self.humps, self.raw, self.setup, self.at, self.hz = humps, raw, setup, at, setup.rate_hz
        self.averaged = averaged
        grab = [(h.foot_at, h.rise_known, h.top_at, h.last_high, h.over, h.low_at) for h in humps]
        foot_at, known, self.top_at, last_high, self.over, self.low_at = np.array(grab, dtype=np.int64).T - at
        self.foot, self.top = np.array([(h.foot, h.top) for h in humps]).T
        self.height = self.top - self.foot
        self._rise(np.maximum(np.maximum(foot_at, known - setup.samples(RISE_S)), 0), known)
        self._end(np.maximum(last_high, self.over - setup.samples(FALL_S)))
        self._knee()

    def _share(self, flat: Flat) -> Samples:
        """Averaged signal as a share of the height."""
        level = self.averaged[flat.where]
        level -= flat.spread(self.foot)
        level *= flat.spread(1 / self.height)
        return np.asarray(level)

    def _crossing(self, k: Index, share: float) -> Samples:
        """Moment between samples k - 1 and k at which the share of the height is crossed."""
        k = np.maximum(k, 1)
        a, b = self.averaged[k - 1], self.averaged[k]
        want = self.foot + share * self.height
        step = b - a
        part = np.where(step == 0, 1.0, (want - a) / np.where(step == 0, 1.0, step))
        return np.asarray(k - 1 + np.clip(part, 0.0, 1.0))

    def _rise(self, lo: Index, known: Index) -> None:
        there = grid(np.minimum(known, self.top_at), self.top_at, POINTS)
        risen = self.averaged[there] >= (self.foot + 0.9 * self.height)[:, None]
        risen[:, -1] = True
        by = there[np.arange(len(there)), risen.argmax(axis=1)]
        flat = Flat(lo, np.maximum(by, lo) + 1)
        level = self._share(flat)
        half = flat.first(np.flatnonzero(level >= 0.5), lo, self.top_at)
        self.high = flat.first(np.flatnonzero(level >= 0.9), half, self.top_at)
        ten = flat.last(np.flatnonzero(level < 0.1), half, lo) + 1
        thirty = flat.last(np.flatnonzero(level < 0.3), half + 1, lo) + 1
        t10, t30, t90 = self._crossing(ten, 0.1), self._crossing(thirty, 0.3), self._crossing(self.high, 0.9)
        start = np.maximum(t10 - (t30 - t10) / 2, lo)
        corner = self._corner(lo, half)
        self.start = np.where(corner - start > STEP_S * self.hz, corner, start)
        self.upstroke = np.maximum(t90 - t10, 0.5)  # in samples; nothing is known to be faster than half of one

    def _corner(self, lo: Index, hi: Index) -> Index:
        """Furthest below the straight line between two places: where the rise begins, if the baseline was stepped or bent before."""
        flat = Flat(lo, hi + 1)
        slope = (self.averaged[hi] - self.averaged[lo]) / np.maximum(hi - lo, 1)
        return flat.furthest(flat.spread(slope) * (flat.where - flat.spread(lo)) - self.averaged[flat.where])

    def _end(self, lo: Index) -> None:
        """The corner before the fall: furthest above the straight line from the last high to where the fall was known. Where the
        plateau sinks (a leak) that is where it begins to sink; a second corner well after it is where inspiration begins."""
        self.begin = np.ceil(self.start).astype(np.int64)
        self.end, _ = self._bend(np.minimum(np.maximum(lo, self.begin), self.over), self.over)
        slow = np.flatnonzero(self.over - self.end >= SINKS_S * self.hz)
        if len(slow):
            first = self.end[slow]
            second, away = self._bend(first, self.over[slow])
            later = (second - first >= SINKS_S * self.hz) & (away >= SINKS * self.height[slow])
            self.end[slow] = np.where(later, second, first)
        self.begin = np.minimum(self.begin, self.end)

    def _bend(self, lo: Index, over: Index) -> tuple[Index, Samples]:
        """Furthest above the line to where the fall was known, and how far: on a grid first, then around its best point."""
        slope = (self.averaged[over] - self.averaged[lo]) / np.maximum(over - lo, 1)
        there = grid(lo, over, POINTS)
        away = self.averaged[there] - slope[:, None] * (there - lo[:, None])
        best = away.argmax(axis=1)
        each = np.arange(len(there))
        first, last = there[each, np.maximum(best - 1, 0)], there[each, np.minimum(best + 1, POINTS - 1)]
        flat = Flat(first, last + 1)
        bend = flat.furthest(self.averaged[flat.where] - flat.spread(slope) * (flat.where - flat.spread(lo)))
        return bend, self.averaged[bend] - slope * (bend - lo) - self.averaged[lo]

    def _knee(self) -> None:
        """The corner between upstroke and plateau: furthest above the line from the start to the end, on a grid."""
        there = grid(self.begin, self.end, POINTS)
        slope = (self.averaged[self.end] - self.averaged[self.begin]) / np.maximum(self.end - self.begin, 1)
        away = self.averaged[there] - slope[:, None] * (there - self.begin[:, None])
        self.knee = there[np.arange(len(there)), away.argmax(axis=1)]

    def _plateau_slope(self) -> Samples:
        """Least squares through the middle three fifths between the knee and the end [mmHg/s]."""
        fifth = (self.end - self.knee) // 5
        there = grid(self.knee + fifth, self.end - fifth, POINTS)
        y = self.averaged[there] - self.foot[:, None]
        x = (there - self.knee[:, None]) / self.hz
        x = x - x.mean(axis=1)[:, None]
        square = (x * x).sum(axis=1)
        return np.asarray(np.where(square > 0, (x * y).sum(axis=1) / np.where(square > 0, square, 1.0), 0.0))

    def _fraction(self) -> Samples:
        """Share of fifty points of the expiration that lie above four fifths of the height."""
        there = grid(self.begin, self.end, 50)
        return np.asarray((self.averaged[there] >= (self.foot + 0.8 * self.height)[:, None]).mean(axis=1))

    def _area(self, lows: Samples) -> tuple[Samples, Samples]:
        """Sum of the raw samples seen above the foot over the expiration [mmHg s], and the share missing."""
        marks = np.stack((self.begin, self.end + 1)).T.reshape(-1)
        marks = marks[marks < len(self.raw)]
        lost = np.isnan(self.raw)
        size = self.end + 1 - self.begin
        gone = np.add.reduceat(lost.astype(np.int64), marks)[::2] if lost.any() else np.zeros(len(size), dtype=np.int64)
        total = np.add.reduceat(np.where(lost, 0.0, self.raw), marks)[::2]
        return (total - lows * (size - gone)) / self.hz, gone / size

    def _fall(self) -> Samples:
        """Seconds from 90 to 10 % of the height after the end; nan where the breath was told before it came so low."""
        last = np.minimum(self.over + self.setup.samples(SEEN_S), len(self.averaged) - 1)
        flat = Flat(self.end, last + 1)
        level = self._share(flat)
        low = flat.first(np.flatnonzero(level < 0.1), self.end, last + 1)
        high = flat.first(np.flatnonzero(level < 0.9), self.end, last)
        t10 = np.where(low <= last, self._crossing(np.minimum(low, last), 0.1), np.nan)
        return np.asarray((t10 - np.maximum(self._crossing(high, 0.9), self.end)) / self.hz)

    def _beside(self, where: Index, width: Index, lo: Index, hi: Index, *, highest: bool) -> Samples:
        """The higher (lower) of the medians of raw samples before and after a place, within bounds; nan where none is seen."""
        sign = 1.0 if highest else -1.0
        widest = self.setup.samples(MEAN_S)
        single = (width == 0).astype(np.int64)
        sides = []
        like = sign * self.averaged[where] - LIKE
        # where a tenth is less than a sample both sides are the sample and its neighbours
        for steps, first, last in (
            (np.arange(-widest, 2), np.minimum(-width, -single), single),
            (np.arange(-1, widest + 1), -single, np.maximum(width, single)),
        ):
            index = where[:, None] + steps
            use = (steps >= first[:, None]) & (steps <= last[:, None]) & (index >= lo[:, None]) & (index <= hi[:, None])
            index = np.clip(index, 0, len(self.raw) - 1)
            use &= (np.abs(steps) <= 1) | (sign * self.averaged[index] >= like[:, None])
            sides.append(_medians(np.where(use, self.raw[index], np.nan)))
        found = np.fmax(*sides) if highest else np.fmin(*sides)
        pointed = np.flatnonzero(single)
        if len(pointed):
            found[pointed] = sign * np.fmax(sign * found[pointed], self._tip(where[pointed], sign))
        return np.asarray(found)

    def _tip(self, where: Index, sign: float) -> Samples:
        """A pointed top (or bottom): the furthest sample beside a place, no further than a line through two neighbours reaches."""
        tips = []
        for step in (-1, 0, 1):
            a, b, c, d, e = (
                sign * self.raw[np.clip(where + step + k, 0, len(self.raw) - 1)] for k in (-2, -1, 0, 1, 2)
            )
            tips.append(np.fmin(c, np.fmax(2 * b - a, 2 * d - e)))
        return np.asarray(np.fmax(np.fmax(tips[0], tips[1]), tips[2]))

    def _tenth(self, length: Index) -> Index:
        return np.minimum(self.setup.samples(MEAN_S), length // 10)

    def breaths(self, before: Before, known_s: list[float]) -> list[Breath]:
        hz = self.hz
        ends = self.end.astype(np.float64) + self.at
        prior = np.array([np.nan if h.first else 0.0 for h in self.humps])
        prior += np.concatenate(([np.nan if before.end is None else before.end], ends[:-1]))
        firsts = np.where(np.isnan(prior), self.low_at - 1, prior - self.at).astype(np.int64)
        width = self._tenth(self.end - self.begin)
        tops = self._beside(self.top_at, width, np.minimum(self.high, self.end), self.end, highest=True)
        width = self._tenth(self.begin - firsts)
        lows = self._beside(self.low_at, width, np.maximum(firsts, 0), self.begin, highest=False)
        area, missing = self._area(np.where(np.isnan(lows), self.foot, lows))
        up = self.upstroke / hz
        rise = 0.8 * self.height / up
        slope, fraction, fall = self._plateau_slope(), self._fraction(), self._fall()
        first, last = (self.start + self.at) / hz, ends / hz
        rows = np.stack(
            [first, last, prior / hz, tops, lows, up, rise, slope, fraction, area, fall, missing]
        ).T.tolist()
        made = []
        for hump, row, known in zip(self.humps, rows, known_s, strict=True):
            made.append(_breath(hump, row, before.start_s, hz, known))
            before.start_s = row[0]
        before.end = float(ends[-1])
        return made


def _medians(rows: Samples) -> Samples:
    """Median of each row without its nan; nan where nothing is left."""
    rows = np.sort(rows, axis=1)
    n = np.sum(~np.isnan(rows), axis=1)
    each = np.arange(len(rows))
    return np.asarray((rows[each, np.maximum(n - 1, 0) // 2] + rows[each, np.minimum(n // 2, rows.shape[1] - 1)]) / 2)


def _breath(hump: Hump, row: list[float], before_s: float | None, hz: float, known_s: float) -> Breath:
    start, end, prior, top, low, up, rise, slope, fraction, area, fall, missing = row
    first = isnan(prior)
    doubts = _doubts(hump, missing, top, low)
    top = hump.top if isnan(top) else top
    low = hump.foot if isnan(low) else low
    rate = None if first or before_s is None or start <= before_s else 60 / (start - before_s)
    return Breath(
        start_s=start,
        end_s=end,
        before_s=None if first else prior,
        etco2=top,
        fico2=low,
        top=top,
        foot=low,
        upstroke_s=up,
        upstroke_slope=rise,
        plateau_slope=slope,
        alpha_deg=alpha_deg(rise, slope),
        plateau_fraction=fraction,
        area=area,
        downstroke_s=None if isnan(fall) else fall,
        ripple=hump.ripple,
        ripple_per_min=_ripple_rate(hump.highs, hz),
        rate_per_min=rate,
        ie_ratio=None if first or end <= start else max(0.0, start - prior) / (end - start),
        missing=missing,
        quality="doubtful" if doubts else "good",
        doubts=doubts,
        fallen_s=max(hump.fell / hz, end),
        known_s=known_s,
    )


def _doubts(hump: Hump, missing: float, top: float, low: float) -> tuple[str, ...]:
    if not hump.in_noise and missing <= 0.05 and not isnan(top) and not isnan(low):
        return ()
    said = []
    if missing > 0.05 or isnan(top) or isnan(low):
        said.append("samples missing")
    if hump.in_noise:
        said.append("noise")
    return tuple(said)


def _ripple_rate(highs: tuple[int, ...], hz: float) -> float | None:
    """Highs a minute where at least two steps between them are even."""
    if len(highs) < 3:
        return None
    steps = [b - a for a, b in pairwise(highs)]
    usual = median(steps)
    even = [s for s in steps if abs(s - usual) <= 0.3 * usual]
    return 60 * hz / usual if usual > 0 and len(even) >= max(2, 0.7 * len(steps)) else None
