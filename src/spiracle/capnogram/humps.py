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
GROUP = 8


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
        """Many samples at once. Groups of samples that lie so close that their order cannot matter are pushed as one."""
        turns: list[Turn] = []
        if self._y is None:
            self.short(at, float(x[0]))
            at, x = at + 1, x[1:]
        assert self._y is not None  # noqa: S101
        if not len(x):
            return turns
        where, high, low = gathered(x)
        before = self._y
        y = dragged(low, high, before)
        step = np.empty(len(y))
        step[0] = y[0] - before
        np.subtract(y[1:], y[:-1], out=step[1:])
        self._y = float(y[-1])
        moves = np.flatnonzero(step)
        if not len(moves):
            return turns
        ups = step[moves] > 0
        # what the first push of each direction, and the last one, say: of a group, its first highest or lowest sample
        turned = np.flatnonzero(ups[1:] != ups[:-1])
        firsts = np.concatenate((moves[:1], moves[turned + 1]))
        lasts = np.concatenate((moves[turned], moves[-1:]))
        prior = np.where(firsts > 0, y[firsts - 1], before)
        upward = ups[np.concatenate((np.zeros(1, dtype=np.int64), turned + 1))]
        known, _ = _of_group(x, where[firsts], where[firsts + 1], prior, upward)
        best, values = _of_group(x, where[lasts], where[lasts + 1], None, upward)
        begun = self._turned(at + int(known[0]), float(x[known[0]]), bool(upward[0]))
        if begun is not None:
            turns.append(begun)
        columns = (upward[:-1], at + best[:-1], values[:-1], at + known[1:])
        turns += map(Turn, *(c.tolist() for c in columns))
        self._up, self._last, self._value = bool(upward[-1]), at + int(best[-1]), float(values[-1])
        return turns


def _of_group(
    x: Samples, lo: NDArray[np.int64], hi: NDArray[np.int64], y: Samples | None, up: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], Samples]:
    """Of each group [lo, hi) its first sample that pushes y, or without y its first highest (lowest, where not up)."""
    there = np.minimum(lo[:, None] + np.arange(GROUP), (hi - 1)[:, None])
    part = x[there]
    if y is not None:
        upward, downward = part - _PLAY > y[:, None], part + _PLAY < y[:, None]
        first = np.where(up[:, None], upward, downward).argmax(axis=1)
    else:
        first = np.where(up, part.argmax(axis=1), part.argmin(axis=1))
    each = np.arange(len(lo))
    return np.asarray(there[each, first]), np.asarray(part[each, first])


def gathered(x: Samples) -> tuple[NDArray[np.int64], Samples, Samples]:
    """Where each group begins (and the end), and its highest and lowest. Groups of GROUP samples within the play of each other stay
    together: pushed in any order they push alike, by the highest from below and the lowest from above. Others fall apart."""
    count = len(x) // GROUP
    high = low = x[: count * GROUP]
    while len(high) > count:  # halved until one is left of each group
        high, low = np.maximum(high[::2], high[1::2]), np.minimum(low[::2], low[1::2])
    apart = high - _PLAY > low + _PLAY
    sizes = np.where(apart, GROUP, 1)
    rest = len(x) - count * GROUP
    ends = np.cumsum(sizes)
    total = int(ends[-1]) if count else 0
    steps = np.full(total + rest, GROUP, dtype=np.int64)
    steps[total:] = 1
    loose = np.repeat(apart, sizes)
    steps[:total][loose] = 1
    where = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(steps)))
    highs, lows = x[where[:-1]], x[where[:-1]]
    kept = (ends - 1)[~apart]
    highs[kept], lows[kept] = high[~apart], low[~apart]
    return where, highs, lows


def dragged(low: Samples, high: Samples, y: float) -> Samples:
    """The dragged value along samples, or groups of which only the highest and lowest count, starting from y."""
    count = len(low)
    rows = max(1, int((2 * count) ** 0.5))
    width = -(-count // rows)
    # pushed from below by the highest, from above by the lowest
    low, high = _lanes(high - _PLAY, rows, width), _lanes(low + _PLAY, rows, width)
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
    out = np.empty_like(low)
    before = begin
    for k in range(width):
        np.maximum(before, low[k], out=out[k])
        np.minimum(out[k], high[k], out=out[k])
        before = out[k]
    return np.ascontiguousarray(out.T).reshape(-1)[:count]


def _lanes(values: Samples, rows: int, width: int) -> Samples:
    full = np.full(rows * width, values[-1])
    full[: len(values)] = values
    return np.ascontiguousarray(full.reshape(rows, width).T)
