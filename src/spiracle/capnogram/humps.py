"""Turning points of the averaged signal: a high counts once the signal has fallen by `SWING` below it, a low once it has risen as much.

The rule is a value dragged along with a play: it moves only when the signal pushes it. Pushing is `min(max(y, x - r), x + r)`, and a
chain of pushes is again one push between two bounds, so long stretches are worked out in parallel rows with the very same result.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spiracle.capnogram.signal import Samples

SWING = 1.2
"""mmHg. Above the steps of a monitor that shows whole mmHg, below the smallest hump that may be a breath."""
_PLAY = SWING / 2
LONG = 4096


class Turn(NamedTuple):
    """A high or a low: where it stands, how high, and the index at which it was known."""

    high: bool
    at: int
    value: float
    known: int


class Turns:
    """Follows one run and gives its turning points."""

    def __init__(self) -> None:
        self._y: float | None = None
        self._up = True
        self._last = 0
        self._value = 0.0
        self._moved = False

    def start(self) -> None:
        self._y, self._moved = None, False

    def short(self, at: int, x: float) -> Turn | None:
        """One sample."""
        if self._y is None:
            self._y, self._last, self._value = x, at, x
            return None
        y = self._y
        pushed = x - _PLAY if x - _PLAY > y else x + _PLAY if x + _PLAY < y else y
        if pushed == y:
            return None
        self._y = pushed
        return self._turned(at, x, pushed > y)

    def _turned(self, at: int, x: float, up: bool) -> Turn | None:
        turn = None
        if not self._moved:
            self._moved = True
            turn = Turn(not up, self._last, self._value, at)  # where the run began is its first turning point
        elif up != self._up:
            turn = Turn(self._up, self._last, self._value, at)
        self._up, self._last, self._value = up, at, x
        return turn

    def long(self, at: int, x: Samples) -> list[Turn]:
        """Many samples at once."""
        turns: list[Turn] = []
        if self._y is None:
            first = self.short(at, float(x[0]))
            assert first is None  # noqa: S101
            at, x = at + 1, x[1:]
        assert self._y is not None  # noqa: S101
        if not len(x):
            return turns
        y = dragged(x, self._y)
        step = np.empty(len(x))
        step[0] = y[0] - self._y
        np.subtract(y[1:], y[:-1], out=step[1:])
        self._y = float(y[-1])
        moves = np.flatnonzero(step)
        if not len(moves):
            return turns
        ups = step[moves] > 0
        head = self._turned(at + int(moves[0]), float(x[moves[0]]), bool(ups[0]))
        if head:
            turns.append(head)
        where = np.flatnonzero(ups[1:] != ups[:-1])
        tops = moves[where]
        turns += [
            Turn(high, at + i, v, at + k)
            for high, i, v, k in zip(
                ups[where].tolist(), tops.tolist(), x[tops].tolist(), moves[where + 1].tolist(), strict=True
            )
        ]
        self._up, self._last, self._value = bool(ups[-1]), at + int(moves[-1]), float(x[moves[-1]])
        return turns


def dragged(x: Samples, y: float) -> Samples:
    """The dragged value along x, starting from y; the same floats as one push after the other."""
    rows = max(1, int(len(x) ** 0.5))
    width = -(-len(x) // rows)
    full = np.empty(rows * width)
    full[: len(x)] = x
    full[len(x) :] = x[-1]
    lanes: NDArray[np.float64] = np.ascontiguousarray(full.reshape(rows, width).T)
    low, high = lanes - _PLAY, lanes + _PLAY
    a, b = low[0].copy(), high[0].copy()
    for lo, hi in zip(low[1:], high[1:], strict=True):
        np.maximum(a, lo, out=a)
        np.minimum(a, hi, out=a)
        np.maximum(b, lo, out=b)
        np.minimum(b, hi, out=b)
    begin = np.empty(rows)
    for row, (lo_end, hi_end) in enumerate(zip(a.tolist(), b.tolist(), strict=True)):
        begin[row] = y
        y = min(max(y, lo_end), hi_end)
    out = lanes  # its values are no longer needed
    before = begin
    for k in range(width):
        np.maximum(before, low[k], out=out[k])
        np.minimum(out[k], high[k], out=out[k])
        before = out[k]
    return np.ascontiguousarray(out.T).reshape(-1)[: len(x)]
