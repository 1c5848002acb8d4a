"""Which humps are breaths. Works on turning points alone, in the order they become known, so it never sees a chunk.

A hump opens at a high and is over once the signal has fallen by most of its height, or where it turns up again after a dip too deep
and too wide for a notch. It is a breath if it is high enough against the breaths of late; that measure fades while none comes. A small
hump that stands on the baseline is held until it is plain whether breaths have become small (time passed without a larger
one) or it was a ripple on the tail of a large one.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from statistics import median

from spiracle.capnogram.humps import Turn
from spiracle.capnogram.setup import Setup

OVER = 0.65
"""Fallen by this share of its height a hump is over. Notches of relaxants and of the heart are shallower (common practice)."""
SPLIT = 0.4
"""A dip at least this deep, and as wide as a pause, parts two breaths."""
LEAST = 2.5
"""mmHg. Lower humps are no breaths."""
SMALL, RAISED = 0.2, 0.45
"""Height against the breaths of late that is enough at once: on the baseline, and above it."""
LONGEST_S = 40.0
NARROWEST_S = 0.12
LOOKS_BACK_S = 60.0


@dataclass(frozen=True, slots=True)
class Hump:
    """What shape.py needs of one expiration: indexes into the run, levels of the averaged signal."""

    foot_at: int
    foot: float
    rise_known: int
    top_at: int
    top: float
    last_high: int
    over: int
    low_at: int
    low: float
    first: bool
    ripple: float
    highs: tuple[int, ...]
    in_noise: bool


@dataclass(slots=True)
class _Open:
    """The hump that stands open."""

    foot: Turn
    top: Turn
    last: Turn
    late: int = 0
    ripple: float = 0.0
    dip: Turn | None = None
    highs: list[int] = field(default_factory=list)

    @property
    def height(self) -> float:
        return self.top.value - self.foot.value


Search = Callable[[int, int, float], int | None]
"""First index from a to b (b not included) at which the averaged signal lies below a level."""


class Judge:
    """Takes turning points and falls, gives humps that are breaths."""

    def __init__(self, setup: Setup) -> None:
        self._hz = setup.rate_hz
        self._longest = setup.samples(LONGEST_S)
        self._looks_back = setup.samples(LOOKS_BACK_S)
        self._narrowest = setup.samples(NARROWEST_S, 4)
        self._recent: deque[tuple[int, float, float]] = deque(maxlen=5)
        self.found: list[Hump] = []
        self.restart()
        self._noise = Noise(setup)

    def restart(self) -> None:
        """After a gap: nothing seen before leads into what comes now, except how breaths were."""
        self._open: _Open | None = None
        self._foot: Turn | None = None
        self._low: Turn | None = None
        self._held: list[Hump] = []
        self._first = True
        self._tail: list[int] = []
        self.level = -math.inf

    def turn(self, t: Turn) -> None:
        self._noise.take(t)
        if t.high:
            self._high(t)
        else:
            self._lowest(t)

    # --- highs

    def _high(self, t: Turn) -> None:
        hump = self._open
        if hump is None:
            if self._foot is None:
                return
            self._open = hump = _Open(self._foot, t, t)
        elif self._parts(hump, t):
            assert hump.dip is not None  # noqa: S101
            dip = hump.dip
            self._over(hump, dip.at)
            self._foot = dip
            self._keep_low(dip)
            self._open = hump = _Open(dip, t, t)
        else:
            self._joined(hump, t)
        if t.at - hump.foot.known > self._longest:
            self._open, self.level = None, -math.inf
            return
        hump.highs.append(t.at)
        hump.last = t
        if t.value >= hump.top.value - 0.3 * hump.height:
            hump.late = t.at
        if t.value > hump.top.value:
            hump.top = t
        self.level = hump.top.value - OVER * hump.height

    def _joined(self, hump: _Open, t: Turn) -> None:
        if hump.dip is not None:
            hump.ripple = max(hump.ripple, min(hump.last.value, t.value) - hump.dip.value)
            hump.dip = None

    def _parts(self, hump: _Open, t: Turn) -> bool:
        """Is the dip before this high the pause between two breaths?"""
        if hump.dip is None:
            return False
        left, right = hump.top.value - hump.dip.value, t.value - hump.dip.value
        usual = max(self._usual_height(), hump.height)
        if min(left, right) < SPLIT * usual or hump.height < LEAST:
            return False
        return (hump.dip.known - hump.last.at) / self._hz >= 0.15 * self._usual_period()

    # --- lows and falls

    def _lowest(self, t: Turn) -> None:
        if self._open is not None:
            self._open.dip = t
            return
        self._foot = t
        self._keep_low(t)

    def _keep_low(self, t: Turn) -> None:
        if self._low is None or t.value < self._low.value:
            self._low = t

    def fell(self, at: int) -> None:
        """The averaged signal fell below `level` at this index."""
        hump = self._open
        assert hump is not None  # noqa: S101
        self._over(hump, at)
        self._open, self._foot, self.level = None, None, -math.inf

    def _over(self, hump: _Open, at: int) -> None:
        if not self._narrowest <= at - hump.foot.known <= self._longest or hump.height < LEAST:
            self._tail += hump.highs
            return
        low = self._low or hump.foot
        if (
            hump.foot.known - low.at > self._looks_back
        ):  # a long pause: what was inspired is what stands before the upstroke
            low = Turn(False, max(hump.foot.at, hump.foot.known - self._narrowest), hump.foot.value, hump.foot.known)
        made = Hump(
            hump.foot.at, hump.foot.value, hump.foot.known, hump.top.at, hump.top.value, hump.late, at,
            low.at, low.value, self._first, hump.ripple, tuple(self._tail + hump.highs), self._noise.during(hump.foot.known, at),
        )  # fmt: skip
        height = hump.height
        if height < self._floor(at) or (made.in_noise and height < 3 * self._noise.level(at)):
            self._tail += hump.highs
            return
        fade = self._fade(made.rise_known)
        usual = self._usual_height() * fade
        on_base = hump.foot.value <= self._usual_foot(hump.foot.value) + max(1.5, 0.25 * self._usual_height())
        if height >= (SMALL if on_base else RAISED) * usual:
            self._take(made, fade)
        elif on_base:
            self._hold(made)
        else:
            self._tail += hump.highs

    def _hold(self, hump: Hump) -> None:
        self._held = [h for h in self._held if hump.over - h.over < self._longest]
        self._held.append(hump)
        self._low = None
        self._tail += hump.highs

    def _take(self, hump: Hump, fade: float) -> None:
        if fade < 1:  # breaths have become small: those held on the same footing were breaths too
            for h in self._held:
                if abs(h.foot - hump.foot) <= max(1.0, 0.25 * (hump.top - hump.foot)):
                    self._accept(h)
        self._held = []
        self._accept(hump)

    def _accept(self, hump: Hump) -> None:
        self.found.append(replace(hump, first=self._first))
        self._recent.append((hump.rise_known, hump.top - hump.foot, hump.foot))
        self._first = False
        self._low = None
        self._tail = []

    # --- how breaths were of late

    def _usual_height(self) -> float:
        return median(h for _, h, _ in self._recent) if self._recent else 0.0

    def _usual_foot(self, otherwise: float) -> float:
        return median(f for _, _, f in self._recent) if self._recent else otherwise

    def _usual_period(self) -> float:
        """Seconds between breaths; 4 while unknown."""
        at = [i for i, _, _ in self._recent]
        return median((b - a) / self._hz for a, b in pairwise(at)) if len(at) > 1 else 4.0

    def _fade(self, at: int) -> float:
        if not self._recent:
            return 1.0
        period = self._usual_period()
        waited = (at - self._recent[-1][0]) / self._hz - 1.5 * period
        return 1.0 if waited <= 0 else float(0.5 ** (waited / max(period, 2.0)))

    def _floor(self, at: int) -> float:
        usual, noise = self._usual_height(), 2.5 * self._noise.level(at)
        return max(LEAST, min(4.0, 0.08 * usual), min(noise, 0.4 * usual) if usual else noise)


class Noise:
    """Reversals faster than any breathing: how large they are, fading over seconds, and where they crowd."""

    def __init__(self, setup: Setup) -> None:
        self._hz = setup.rate_hz
        self._swing = 0.0
        self._at = 0
        self._turns: deque[Turn] = deque(maxlen=3)
        self._crowd: deque[int] = deque(maxlen=5)
        self._until = -1
        self._from = -1

    def take(self, t: Turn) -> None:
        self._turns.append(t)
        if len(self._turns) < 3:
            return
        a, b, c = self._turns
        if (c.at - a.at) / self._hz >= 0.2:
            return
        swing = min(abs(a.value - b.value), abs(b.value - c.value))
        self._swing, self._at = max(self.level(c.known), swing), c.known
        if swing >= 4:
            self._crowd.append(c.at)
            if len(self._crowd) == 5 and c.at - self._crowd[0] <= self._hz:
                self._from = self._crowd[0] if self._crowd[0] > self._until else self._from
                self._until = c.at

    def level(self, at: int) -> float:
        """Size of the swings of late [mmHg], halved every 5 seconds."""
        return float(self._swing * 0.5 ** ((at - self._at) / self._hz / 5)) if self._swing else 0.0

    def during(self, start: int, end: int) -> bool:
        return self._until >= start and self._from <= end
