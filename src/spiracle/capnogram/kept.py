"""The newest samples, kept as long as a breath that is not yet told may look back."""

from __future__ import annotations

import math

import numpy as np

from spiracle.capnogram.setup import Setup
from spiracle.capnogram.signal import Samples

KEPT_S = 160.0
"""What is kept behind the newest sample: the longest pause and expiration that are looked back on."""


class Kept:
    """The newest samples, raw and averaged, at least KEPT_S of them and never much more."""

    def __init__(self, setup: Setup) -> None:
        self._least = setup.samples(KEPT_S)
        self._raw, self._averaged = np.empty(2 * self._least), np.empty(2 * self._least)
        self.start = self.end = self.end_raw = 0

    @property
    def raw(self) -> Samples:
        return self._raw[: self.end_raw - self.start]

    @property
    def averaged(self) -> Samples:
        return self._averaged[: self.end - self.start]

    def part(self, lo: int, hi: int) -> Samples:
        return self._averaged[lo - self.start : hi - self.start]

    def add_raw(self, values: Samples) -> None:
        size = self.end_raw - self.start
        if size + len(values) > len(self._raw):
            self._forget(max(0, size - self._least), len(values))
        lo = self.end_raw - self.start
        self._raw[lo : lo + len(values)] = values
        self.end_raw += len(values)

    def _forget(self, count: int, more: int) -> None:
        room = max(2 * self._least, self._least + more)
        for name in ("_raw", "_averaged"):
            old = getattr(self, name)
            row = np.empty(room) if len(old) < room else old
            kept = old[count : self.end_raw - self.start].copy()
            row[: len(kept)] = kept
            setattr(self, name, row)
        self.start += count

    def add(self, values: Samples, at: int) -> None:
        """Averaged values from index `at` on; nan between the end and there."""
        self.pad(at)
        self._averaged[at - self.start : at - self.start + len(values)] = values
        self.end = at + len(values)

    def pad(self, until: int) -> None:
        self._averaged[self.end - self.start : until - self.start] = np.nan
        self.end = max(self.end, until)

    def rough(self, lo: int, hi: int) -> float:
        """The lesser of what second and fourth differences say: the first know no slope and, by their median, no corner, the
        others no bend of a fast rhythm at a low rate."""
        raw = self._raw[max(0, lo - self.start) : hi - self.start]
        raw = raw[~np.isnan(raw)]
        if len(raw) < 9:
            return 0.0
        second = raw[2:] - 2 * raw[1:-1] + raw[:-2]
        fourth = second[2:] - 2 * second[1:-1] + second[:-2]
        return (
            min(float(np.median(np.abs(second))) / math.sqrt(6), float(np.median(np.abs(fourth))) / math.sqrt(70))
            / 0.6745
        )

    def highest(self, lo: int, hi: int) -> float:
        """Of the averaged signal; nothing counts where nothing was seen."""
        lo, hi = max(0, lo - self.start), hi - self.start
        part = self._averaged[lo:hi]
        part = part[~np.isnan(part) & ~np.isnan(self._raw[lo:hi])]
        return float(part.max()) if len(part) else -math.inf
