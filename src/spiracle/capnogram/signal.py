"""The signal before it is judged: in mmHg, with its gaps found, and lightly averaged for decisions (never for the record).

A sample that sticks out alone gives way to its neighbours. The average is a fixed pattern of about 40 ms, centred, so that 50 and
60 Hz and the steps of a coarse converter make no humps. Each averaged sample is the same sum in the same order wherever a chunk
was cut. A missing stretch is held at its last value for the decision: up to `BRIDGE_S` whatever comes, up to `LONGEST_BRIDGE_S` if
the signal comes back near where it was (on the same plateau, in the same pause). A longer one, or one that hides an edge, ends the
run, and reading starts anew behind it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spiracle.capnogram.breath import Trouble
from spiracle.capnogram.setup import Setup

Samples = NDArray[np.float64]
BRIDGE_S, LONGEST_BRIDGE_S = 0.25, 1.0
NEAR, NEAR_SHARE = 3.0, 0.25
"""A signal back within so many mmHg, or this share of its value, is still where it was before the gap."""
HIGHEST, LOWEST = 150.0, -20.0
"""No gas of a living animal reads beyond these [mmHg]; common practice. Outside is off the scale and counts as missing."""
Known = tuple[int, Trouble]
"""A trouble and the index of the sample that told of it."""
STUCK_S = 15.0
STUCK_AWAY = 3.0
"""The longest expiration at 4 breaths a minute is shorter than this; nearer zero than this a still trace is an empty airway."""

FEW = 32
"""So few samples are quicker looked through one by one."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Averaged samples from index `at` on; `fresh` where a run begins. A piece without samples that is not fresh ends the run."""

    at: int
    values: Samples
    fresh: bool = False
    ends: bool = False
    gap: int = 0
    """So many samples before these were missing and held, where that is more than a blink."""


class Conditioner:
    """Cuts the signal into runs and averages it."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self._box = setup.samples(0.02)
        self.half = self._box + 1  # one more on either side for the middle of three
        self._blink, self._bridge = setup.samples(BRIDGE_S), setup.samples(LONGEST_BRIDGE_S)
        self._at = 0
        self._gap = 0
        self._gap_kind = ""
        self._tail: Samples | None = None
        self._told = False
        self._before_run = 0
        self._still = Still(setup)
        self.troubles: list[Known] = []

    def clean(self, samples: Samples) -> tuple[Samples, list[Piece]]:
        """Samples in mmHg with nan where nothing can be read, and the averaged pieces they complete."""
        raw = samples * self.setup.to_mmhg
        at = self._at
        self._at += len(raw)
        whole = bool(raw.min() >= LOWEST and raw.max() <= HIGHEST)  # false too where one is missing
        if whole and self._gap == 0 and self._tail is not None:
            pieces = [self._averaged(at, raw)]
        else:
            pieces = self._cut(at, raw)
        self.troubles += self._still.take(at, raw)
        return raw, pieces

    def _cut(self, at: int, raw: Samples) -> list[Piece]:
        off = (raw > HIGHEST) | (raw < LOWEST)
        raw[off] = np.nan
        lost = np.isnan(raw)
        edges = (np.flatnonzero(lost[1:] != lost[:-1]) + 1).tolist()
        pieces: list[Piece] = []
        for lo, hi in zip((0, *edges), (*edges, len(raw)), strict=True):
            pieces += self._missing(at + lo, hi - lo, bool(off[lo])) if lost[lo] else self._seen(at + lo, raw[lo:hi])
        return pieces

    @property
    def running(self) -> bool:
        """Between two gaps too long to bridge."""
        return self._tail is not None

    def close(self) -> list[Piece]:
        """What the average still owes at the end: as if the last value were held."""
        if self._tail is None:
            return []
        return [self._averaged(self._at, np.full(self.half, self._tail[-1]))]

    def _seconds(self, index: int) -> float:
        return index / self.setup.rate_hz

    def _missing(self, at: int, count: int, off: bool) -> list[Piece]:
        before = self._gap
        if before == 0:
            self._gap_kind = "off scale" if off else "missing"
        self._gap += count
        pieces: list[Piece] = []
        if self._tail is not None:
            held = min(count, self._bridge - before)
            if held > 0:
                pieces.append(self._averaged(at, np.full(held, self._tail[-1])))
            if self._gap > self._bridge:
                pieces.append(Piece(at + self._bridge - before, np.empty(0), ends=True))
                self._tail = None
        if self._gap > self._blink and not self._told:
            self._told = True
            self._tell(at + count - self._gap, None, at + self._blink - before)
        return pieces

    def _tell(self, start: int, end: int | None, known: int) -> None:
        kind = self._gap_kind
        to_s = None if end is None else self._seconds(end)
        self.troubles.append(
            (known, Trouble("off scale" if kind == "off scale" else "missing", self._seconds(start), to_s))
        )

    def _seen(self, at: int, values: Samples) -> list[Piece]:
        if self._told:
            self._tell(at - self._gap, at, at)
        gap, pieces = self._gap if self._told else 0, list[Piece]()
        self._gap, self._told = 0, False
        if gap and self._tail is not None and not _near(float(self._tail[-1]), float(values[0])):
            self._tail = None
            pieces.append(Piece(at, np.empty(0), ends=True))
        fresh = self._tail is None
        if fresh:
            self._tail = np.full(2 * self.half, values[0])
            self._before_run = self.half
        piece = self._averaged(at, values)
        return [*pieces, replace(piece, fresh=fresh, gap=0 if fresh else gap)]

    def _averaged(self, at: int, values: Samples) -> Piece:
        assert self._tail is not None  # noqa: S101
        row = np.concatenate((self._tail, values))
        self._tail = row[len(row) - 2 * self.half :]
        out = trapezoid(middle_of_three(row), self._box)
        first = at - self.half
        if self._before_run:
            drop = min(self._before_run, len(out))
            self._before_run -= drop
            return Piece(first + drop, out[drop:])
        return Piece(first, out)


def _near(before: float, after: float) -> bool:
    return abs(after - before) <= max(NEAR, NEAR_SHARE * max(before, after))


def middle_of_three(row: Samples) -> Samples:
    """Each inner sample, or the nearer of its neighbours where it sticks out: one wild sample leaves no trace.

    >>> middle_of_three(np.array([1.0, 1.0, 9.0, 2.0, 3.0])).tolist()
    [1.0, 2.0, 3.0]
    """
    a, b, c = row[:-2], row[1:-1], row[2:]
    return np.asarray(np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c)))


def trapezoid(row: Samples, half: int) -> Samples:
    """Centred average over 2 half + 1 samples, the outermost two at half weight: ripples whose period is 2 half samples vanish.

    Source: a box of 2 half samples followed by one of two; its gain is the product of both (signal processing, common practice).
    >>> trapezoid(np.array([0.0, 0.0, 4.0, 0.0, 0.0]), 1).tolist()
    [1.0, 2.0, 1.0]
    """
    n = len(row) - 2 * half
    total = row[1 : 1 + n].copy()
    for k in range(2, 2 * half):
        total += row[k : k + n]
    edge = row[:n] + row[2 * half :]
    edge *= 0.5
    total += edge
    total *= 0.5 / half
    return total


class Still:
    """Finds stretches in which the signal stays at exactly one value away from zero."""

    def __init__(self, setup: Setup) -> None:
        self._rate = setup.rate_hz
        self._need = setup.samples(STUCK_S)
        self._value = np.nan
        self._from = 0
        self._open = False

    def take(self, at: int, raw: Samples) -> list[Known]:
        found: list[Known] = []
        changes = self._changes(raw)
        if changes:
            found += self._end(at + changes[0])
            for lo, hi in zip(changes[1:-1:2], changes[2:-1:2], strict=True):
                self._new(at, raw, lo)
                found += self._end(at + hi)
            self._new(at, raw, changes[-1])
        return found + self._begin(at + len(raw))

    def _changes(self, raw: Samples) -> list[int]:
        """The first and the last change, and between them where each stretch that is long enough begins and ends."""
        step, n = self._need // 2, len(raw)
        if n <= FEW:
            value, at = self._value, []
            for k, x in enumerate(raw.tolist()):
                if x != value:
                    value = x
                    at.append(k)
            return [at[0], at[-1]] if at else []
        if n > 3 * step and not np.equal(raw[step::step], raw[:-step:step]).any():
            # no two samples half a stretch apart are alike: none is long enough, and both ends are near
            last = n - 2 * step
            ends = np.flatnonzero(raw[last:] != raw[last - 1 : -1])
            first = 0 if raw[0] != self._value else 1 + int((raw[1 : step + 1] != raw[:step]).argmax())
            return [first, last + int(ends[-1])]
        changes = np.flatnonzero(raw[1:] != raw[:-1]) + 1
        if raw[0] != self._value:
            changes = np.concatenate((np.zeros(1, dtype=changes.dtype), changes))
        if not len(changes):
            return []
        long = np.flatnonzero(np.diff(changes) >= self._need)
        between = np.stack((changes[long], changes[long + 1])).T.reshape(-1)
        return [int(changes[0]), *between.tolist(), int(changes[-1])]

    def _new(self, at: int, raw: Samples, where: int) -> None:
        self._value, self._from = float(raw[where]), at + where

    def _end(self, at: int) -> list[Known]:
        told = self._begin(at)
        if not self._open:
            return told
        self._open = False
        return [*told, (at, Trouble("stuck", self._from / self._rate, at / self._rate))]

    def _begin(self, until: int) -> list[Known]:
        if self._open or until - self._from < self._need or not abs(self._value) > STUCK_AWAY:
            return []
        self._open = True
        return [(self._from + self._need - 1, Trouble("stuck", self._from / self._rate, None))]
