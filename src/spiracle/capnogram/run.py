"""The newest breaths, and beside them what is asked of each again and again."""

from __future__ import annotations

from spiracle.capnogram.breath import Breath
from spiracle.capnogram.trends import Rhythm, height_of, rhythm_from

KEPT = 40
NEWEST = 9
"""Breaths a rhythm is read from."""


class Run:
    """The last forty, oldest first; `heights` beside them, and the intervals of the newest (None across a gap)."""

    def __init__(self) -> None:
        self.breaths: list[Breath] = []
        self.heights: list[float] = []
        self._steps: list[float | None] = []

    def __len__(self) -> int:
        return len(self.breaths)

    def add(self, b: Breath) -> None:
        self.breaths.append(b)
        self.heights.append(height_of(b))
        self._steps.append(60 / b.rate_per_min if b.rate_per_min else None)
        if len(self.breaths) > KEPT:
            del self.breaths[0], self.heights[0]
        if len(self._steps) > NEWEST:
            del self._steps[0]

    def clear(self) -> None:
        self.breaths, self.heights, self._steps = [], [], []

    def rhythm(self) -> Rhythm | None:
        return rhythm_from([s for s in self._steps if s is not None], self.heights[-NEWEST:])
