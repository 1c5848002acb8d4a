"""What moves as no gas moves: reversals faster than breathing, or as fast as a heart and as uneven as none."""

from __future__ import annotations

from collections import deque
from itertools import pairwise

from spiracle.capnogram.breath import Trouble
from spiracle.capnogram.humps import Turn
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.signal import Known
from spiracle.capnogram.usual import middle

CROWD, WILD, STILL_S = 6, 4.0, 3.0
"""So many reversals within a second, each of so many mmHg and over in 0.2 s, are no gas that moves; over once still
for so long."""
FAST_S, SLOW_S = 0.2, 0.4
ROW_S, UNEVEN = 1.6, 0.2
"""Slower reversals may be a heart's: eight in a row within ROW_S, 150 a minute, are noise too if one swing differs from the next
by this share of them, in the middle of the row. A heart's ripples are even (common practice)."""
NEAR_S = 0.5
"""Between two swings of noise no breath begins and ends."""


class Noise:
    """Reversals faster than any breathing: how large they are, fading over seconds, and where they crowd."""

    def __init__(self, setup: Setup, delay: int) -> None:
        self._hz = setup.rate_hz
        self._delay = delay
        self._swing = 0.0
        self._at = 0
        self._turns: deque[Turn] = deque(maxlen=3)
        self._crowd: deque[int] = deque(maxlen=CROWD)
        self._row: deque[Turn] = deque(maxlen=CROWD + 3)
        self._from = self._until = -1
        self._told = -1
        self._open = False
        self.troubles: list[Known] = []

    def take(self, t: Turn) -> None:
        self.passed(
            t.known + self._delay - 1
        )  # what was over before this turn was known is over, however the chunks fell
        self._turns.append(t)
        if len(self._turns) < 3:
            return
        a, b, c = self._turns
        swing = min(abs(a.value - b.value), abs(b.value - c.value))
        uneven = swing >= WILD and self._uneven(c)
        if c.at - a.at < (SLOW_S if self._open else FAST_S) * self._hz or uneven:
            self._swing, self._at = max(self.level(c.known), swing), c.known
            if swing >= WILD:
                self._wild(c, uneven)

    def _uneven(self, t: Turn) -> bool:
        """Have large swings followed one another faster than breathing, and unlike each other?"""
        row = self._row
        row.append(t)
        if len(row) < CROWD + 3 or t.at - row[0].at > ROW_S * self._hz:
            return False
        swings = [abs(b.value - a.value) for a, b in pairwise(row)]
        return middle(abs(b - a) for a, b in pairwise(swings)) > UNEVEN * middle(swings)

    def _wild(self, t: Turn, uneven: bool) -> None:
        known = t.known + self._delay
        self.passed(known - 1)
        self._crowd.append(t.at)
        crowded = len(self._crowd) == CROWD and t.at - self._crowd[0] <= self._hz
        if self._open:
            self._until, self._told = t.at, known
        elif crowded or uneven:
            start = self._row[0].at if uneven else self._crowd[0]
            self._open, self._from, self._until, self._told = True, max(start, self._until + 1), t.at, known
            self.troubles.append((known, Trouble("noise", self._from / self._hz, None)))

    def passed(self, index: int) -> None:
        """Up to this sample nothing else was known: noise that has been still for long enough is over."""
        over = self._told + round(STILL_S * self._hz)
        if self._open and index >= over:
            self._open = False
            self._crowd.clear()
            self._row.clear()
            self.troubles.append((over, Trouble("noise", self._from / self._hz, self._until / self._hz)))

    def level(self, at: int) -> float:
        """Size of the swings of late [mmHg], halved every 5 seconds."""
        return float(self._swing * 0.5 ** ((at - self._at) / self._hz / 5)) if self._swing else 0.0

    def during(self, start: int, end: int, now: int) -> bool:
        """Does noise lie between two samples, as far as was known at a third? By indices alone: what was passed meanwhile is no matter."""
        still = self._told >= 0 and now + self._delay < self._told + round(STILL_S * self._hz)
        near = round(NEAR_S * self._hz) if still else 0
        return self._from >= 0 and self._until + near >= start and self._from <= end
