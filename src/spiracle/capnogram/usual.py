"""How breaths were of late."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spiracle.capnogram.breaths import Hump


class Usual:
    """Medians of the last five breaths: height (0 while there is none), foot, and seconds between them (8 while unknown)."""

    def __init__(self, hz: float) -> None:
        self._hz = hz
        self._heights: deque[float] = deque(maxlen=5)
        self._feet: deque[float] = deque(maxlen=5)
        self._steps: deque[float] = deque(maxlen=5)
        self.height, self.foot, self.period, self.at = 0.0, math.nan, 8.0, 0

    @property
    def known(self) -> bool:
        """Has a period been seen?"""
        return bool(self._steps)

    def add(self, hump: Hump) -> None:
        self._heights.append(hump.top - hump.foot)
        self._feet.append(hump.foot)
        if self.height and not hump.first:
            self._steps.append((hump.rise_known - self.at) / self._hz)
            self.period = middle(self._steps)
        self.at = hump.rise_known
        self.height, self.foot = middle(self._heights), middle(self._feet)


def middle(values: Iterable[float]) -> float:
    """The median, the lower one of two."""
    row = sorted(values)
    return row[(len(row) - 1) // 2]
