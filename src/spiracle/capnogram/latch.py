"""Persistence and hysteresis: a shape is found when most of the last breaths show it, and gone when most no longer do."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from statistics import median

from spiracle.capnogram.finding import Degree
from spiracle.capnogram.tables import Ladder

WORSE: dict[Degree, int] = {"mild": 0, "moderate": 1, "severe": 2}


@dataclass(frozen=True, slots=True)
class Seen:
    """What one breath shows: from when to when, and the figure that is held against the grades (None: it cannot say)."""

    from_s: float
    to_s: float
    figure: float | None


@dataclass(slots=True)
class Latch:
    """Breaths are counted over at least `breaths` of them and over `seconds`: quick breaths must show a shape for as long as slow ones.

    `shown` and `cleared` are the shares of those that open and close. The degree is that of the middle figure; it only climbs.
    """

    ladder: Ladder
    breaths: int
    seconds: float
    shown: float
    cleared: float
    showing: bool = False
    from_s: float = 0.0
    to_s: float = 0.0
    degree: Degree = "mild"
    figure: float = 0.0
    _window: deque[Seen] = field(default_factory=lambda: deque(maxlen=64))

    def take(self, seen: Seen) -> None:
        self._window.append(seen)
        last = self._last()
        if len(last) < self.breaths:
            return
        if not self.showing:
            self._open(last)
        else:
            self._follow(last)

    def forget(self) -> None:
        """What was seen before no longer counts."""
        self._window.clear()
        self.showing = False

    def _last(self) -> list[Seen]:
        """The newest breaths that count: the fewest that are enough in number and in time."""
        found: list[Seen] = []
        for seen in reversed(self._window):
            found.append(seen)
            if len(found) >= self.breaths and found[0].to_s - seen.from_s >= self.seconds:
                break
        return found[::-1]

    def _open(self, last: list[Seen]) -> None:
        if last[-1].to_s - last[0].from_s < self.seconds:
            return
        showing = [s for s in last if s.figure is not None and self.ladder.shows(s.figure)]
        if len(showing) < self.shown * len(last) or last[-1].to_s - showing[0].from_s < self.shown * self.seconds:
            return
        self.showing = True
        self.from_s = showing[0].from_s
        self.figure = median(s.figure for s in showing if s.figure is not None)
        self.degree = self.ladder.degree(self.figure)

    def _follow(self, last: list[Seen]) -> None:
        still = [s for s in last if s.figure is not None and self.ladder.still(s.figure)]
        clear = [s for s in last if s not in still]
        if len(clear) >= self.cleared * len(last) and last[-1].to_s - clear[0].from_s >= self.cleared * self.seconds:
            self.showing = False
            self.to_s = max((s.to_s for s in self._window if s in still), default=last[0].from_s)
            return
        figure = median(s.figure for s in last if s.figure is not None)
        degree = self.ladder.degree(figure)
        if WORSE[degree] > WORSE[self.degree]:
            self.degree, self.figure = degree, figure
