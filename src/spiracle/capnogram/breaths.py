"""Which humps are breaths. Works on turning points alone, in the order they become known, so it never sees a chunk.

A hump opens at a high and is over once the signal has fallen by most of its height, or where it turns up again after a dip too deep
and too wide for a notch. It is a breath if it is high enough against the breaths of late; that measure fades while none comes. A small
hump that stands on the baseline is held until it is plain whether breaths have become small (time passed without a larger
one) or it was a ripple on the tail of a large one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

from spiracle.capnogram.humps import SWING, Turn
from spiracle.capnogram.noise import Noise
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.usual import Usual

OVER, BASE = 0.65, 0.15
"""A hump that has fallen by this share of its height is over once it is down to that share, or turns up again."""
EARLY, WIDE, CLIMBS = 0.75, 0.4, 0.75
"""Unless it turns up again well above the inspired level, earlier than this share of the usual period after it rose and within
that share of it, climbs back to this share of its height and only then falls to the base: that is one breath with a notch."""
UNSEEN = 0.25
"""A run that begins within a plateau falls this share of the hump below where it began: its foot was not seen."""
CUT = 0.4
"""A downstroke this far down when the recording ends was one."""
SPLIT = 0.4
"""A dip at least this deep, and as wide as a pause, parts two breaths."""
DEEP, DEEP_ROW = 0.3, 3
"""More such dips in a row are breaths on a footing that was lifted, not ripples."""
TAIL = 64
"""Highs of a tail that are kept for the rate of its ripples, however long no breath comes."""
LEAST = 2.5
"""mmHg. Lower humps are no breaths."""
SMALL, RAISED = 0.12, 0.45
"""Height against the breaths of late that is enough at once: on the baseline, and above it."""
ALONE_S = 0.6
"""A pause before a small hump that no heart in this trade leaves between two of its ripples (common practice)."""
ROW, FASTEST_S = 6, 0.42
"""Small humps without such pauses are breaths once so many in a row were even, and no faster than 140 a minute."""
QUIET = 15.0
"""mmHg. Lower humps are held against the roughness of the signal around them."""
HIDES = 0.4
"""A gap longer than this share of the usual period may hide the end of one breath and the beginning of the next."""
RISES_S = 2.0
LONGEST_S = 40.0
NARROWEST_S = 0.12
LOOKS_BACK_S = 60.0


@dataclass(slots=True)
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
    accepted: int = 0
    fell: int = 0


@dataclass(slots=True)
class _Open:
    """The hump that stands open."""

    foot: Turn
    top: Turn
    last: Turn
    late: int = 0
    ripple: float = 0.0
    deep: int = 0
    dip: Turn | None = None
    highs: list[int] = field(default_factory=list)
    fell: int = -1
    unseen: bool = False

    @property
    def height(self) -> float:
        return self.top.value - self.foot.value


def _whole(first: _Open, second: _Open) -> _Open:
    """One hump of the two on either side of a notch."""
    assert first.dip is not None  # noqa: S101
    top = max(first.top, second.top, key=lambda t: t.value)
    depth = min(first.last.value, second.top.value) - first.dip.value
    return _Open(
        first.foot, top, second.last, second.late if second.late else first.late,
        max(first.ripple, second.ripple, depth), highs=first.highs + second.highs, fell=second.fell,
    )  # fmt: skip


class Signal(Protocol):
    """What the judge may ask of the signal itself, between two indexes."""

    def rough(self, lo: int, hi: int) -> float:
        """Standard deviation of what changes from sample to sample [mmHg]."""

    def highest(self, lo: int, hi: int) -> float:
        """Highest averaged value [mmHg]."""


class Judge:
    """Takes turning points and falls, gives humps that are breaths."""

    def __init__(self, setup: Setup, signal: Signal, delay: int) -> None:
        self._hz = setup.rate_hz
        self._signal = signal
        self._longest = setup.samples(LONGEST_S)
        self._looks_back = setup.samples(LOOKS_BACK_S)
        self._narrowest = setup.samples(NARROWEST_S, 4)
        self._usual = Usual(setup.rate_hz)
        self.found: list[Hump] = []
        self._now = 0
        self.restart()
        self.noise = Noise(setup, delay)

    def restart(self) -> None:
        """After a gap: nothing seen before leads into what comes now, except how breaths were."""
        self._open: _Open | None = None
        self._notched: _Open | None = None
        self._began: Turn | None = None
        self._foot: Turn | None = None
        self._low: Turn | None = None
        self._held: list[tuple[Hump, bool]] = []
        self._first = True
        self._tail: list[int] = []
        self.level = -math.inf

    def bridges(self, gap: int) -> bool:
        """Is a gap too short to have hidden a breath of the present rhythm?"""
        return not self._usual.known or gap <= HIDES * self._usual.period * self._hz

    def turn(self, t: Turn) -> None:
        self._now = t.known
        self.noise.take(t)
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
            hump = self._begin(self._foot, t)
        elif self._parts(hump, t):
            assert hump.dip is not None  # noqa: S101
            dip = hump.dip
            self._part(hump, dip, dip.at)
            hump = self._begin(dip, t)
        else:
            self._joined(hump, t)
        if t.at - hump.foot.known > self._longest:
            self._part_notched()
            self._open, self.level = None, -math.inf
            return
        hump.highs.append(t.at)
        hump.last = t
        if t.value >= hump.top.value - 0.3 * hump.height:
            hump.late = t.at
        if t.value > hump.top.value:
            hump.top = t
        self.level = hump.top.value - OVER * hump.height

    def _begin(self, foot: Turn, t: Turn) -> _Open:
        self._open = hump = _Open(foot, t, t, unseen=foot is self._began and foot.value > LEAST)
        return hump

    def _joined(self, hump: _Open, t: Turn) -> None:
        if hump.dip is not None:
            hump.ripple = max(hump.ripple, min(hump.last.value, t.value) - hump.dip.value)
            hump.dip = None

    def _parts(self, hump: _Open, t: Turn) -> bool:
        """Is the dip before this high the pause between two breaths?"""
        if hump.dip is None:
            return False
        left, right = hump.top.value - hump.dip.value, t.value - hump.dip.value
        usual = max(self._usual.height, hump.height)
        hump.deep = hump.deep + 1 if min(left, right) >= DEEP * hump.height else 0
        if hump.deep > DEEP_ROW:
            return True
        if min(left, right) < SPLIT * usual or hump.height < LEAST:
            return False
        wide = 0.15 * self._usual.period if self._usual.known else NARROWEST_S
        return (hump.dip.known - hump.last.at) / self._hz >= wide

    # --- lows and falls

    def _lowest(self, t: Turn) -> None:
        hump = self._open
        if hump is None:
            if self._foot is None and self._low is None and self._first:
                self._began = t
            self._foot = t
            self._keep_low(t)
        elif hump.fell < 0:
            hump.dip = t
        else:
            self._part(hump, t, hump.fell)
            self._open, self.level = None, -math.inf

    def _part(self, hump: _Open, dip: Turn, at: int) -> None:
        """The signal turned up again after this dip. The hump before is over, or waits for what comes if the dip may be a notch."""
        if self._notched is not None:
            self._part_notched()
        self._foot = dip
        if self._may_be_notch(hump, dip):
            hump.fell, hump.dip, self._notched = at, dip, hump
        else:
            self._over(hump, at)
            self._keep_low(dip)

    def _may_be_notch(self, hump: _Open, dip: Turn) -> bool:
        usual = self._usual.period * self._hz
        return (
            self._usual.known
            and dip.value > hump.foot.value + BASE * hump.height
            and dip.known - hump.foot.known < EARLY * usual
            and dip.known - hump.last.at < WIDE * usual
        )

    def _part_notched(self) -> None:
        """What may have been a notch was the pause between two breaths."""
        if self._notched is not None:
            hump, self._notched = self._notched, None
            self._over(hump, hump.fell)
            assert hump.dip is not None  # noqa: S101
            self._keep_low(hump.dip)

    def _keep_low(self, t: Turn) -> None:
        if self._low is None or t.value < self._low.value:
            self._low = t

    def fell(self, at: int) -> None:
        """The averaged signal fell below `level` at this index."""
        hump = self._open
        assert hump is not None  # noqa: S101
        self._now = at
        if hump.fell < 0:
            hump.fell = at
            base = self._base(hump, at)
            if base < self.level:
                self.level = base
                return
        if hump.unseen:
            self._tail += hump.highs
        else:
            self._close(hump, at)
        self._open, self._foot, self.level = None, None, -math.inf

    def _base(self, hump: _Open, at: int) -> float:
        """How much further a hump must fall to be over. No further, if by the rhythm it is time."""
        if hump.unseen:
            return hump.foot.value - max(LEAST, UNSEEN * hump.height)
        first = self._notched or hump
        if not self._usual.known or at - first.foot.known >= EARLY * self._usual.period * self._hz:
            return math.inf
        return first.foot.value + BASE * max(first.height, hump.top.value - first.foot.value)

    def _close(self, hump: _Open, at: int) -> None:
        first = self._notched
        if first is not None and hump.top.value >= first.foot.value + CLIMBS * first.height:
            self._notched, hump = None, _whole(first, hump)
        self._part_notched()
        self._over(hump, at)

    def cut(self, at: int, value: float) -> None:
        """The run ends here, with the recording at this value. A hump whose downstroke had begun is told."""
        hump, self._now = self._open, at
        if hump is None or hump.unseen:
            return
        if hump.fell >= 0 or value <= hump.top.value - CUT * hump.height:
            self._close(hump, at if hump.fell < 0 else hump.fell)
            self._open = None

    def _over(self, hump: _Open, at: int) -> None:
        self._tail = self._tail[-TAIL:]
        if not self._narrowest <= at - hump.foot.known <= self._longest or hump.height < LEAST:
            self._tail += hump.highs
            return
        low = self._low or hump.foot
        if hump.foot.known - low.at > self._looks_back:
            # after a long pause what was inspired is what stands before the upstroke
            low = Turn(False, max(hump.foot.at, hump.foot.known - self._narrowest), hump.foot.value, hump.foot.known)
        made = Hump(
            hump.foot.at, hump.foot.value, hump.foot.known, hump.top.at, hump.top.value, hump.late, at,
            low.at, low.value, self._first, hump.ripple, tuple(self._tail + hump.highs), self.noise.during(hump.foot.known, at, self._now),
            fell=hump.fell if hump.fell >= 0 else at,
        )  # fmt: skip
        if hump.height < self._floor(made) or (hump.height < QUIET and self._creeps(made)):
            self._tail += hump.highs
            return
        fade = self._fade(made.rise_known)
        usual = self._usual.height
        on_base = usual == 0 or hump.foot.value <= self._usual.foot + max(1.5, 0.12 * usual)
        if hump.height >= RAISED * usual:
            self._held = []
            self._accept(made)
        elif on_base:
            self._small(made, fade)
        else:
            self._tail += hump.highs

    def _creeps(self, hump: Hump) -> bool:
        """Does it rise as slowly as a baseline drifts?"""
        soon = hump.rise_known + round(RISES_S * self._hz)
        return soon < hump.over and self._signal.highest(hump.rise_known, soon) < hump.foot + 0.8 * (
            hump.top - hump.foot
        )

    def _small(self, hump: Hump, fade: float) -> None:
        """A small hump on the baseline: taken if it stands alone and is high enough by now, or ends an even row; else held."""
        alone = self._alone(hump)
        self._held = [h for h in self._held if hump.over - h[0].over < self._longest]
        if alone and hump.top - hump.foot >= SMALL * self._usual.height * fade:
            self._release([h for h, lone in self._held if lone and fade < 1], hump)
            return
        self._held.append((hump, alone))
        self._low = None
        row = [h for h, _ in self._held]
        if fade < 1 and self._steady(row):
            self._release(row[:-1], hump)
            return
        self._tail = list(hump.highs)  # the tail so far is in them

    def _release(self, held: list[Hump], hump: Hump) -> None:
        """Breaths have become small: those held on the same footing were breaths too."""
        self._held = []
        for h in held:
            if abs(h.foot - hump.foot) <= max(1.0, 0.25 * (hump.top - hump.foot)):
                self._accept(h)
        self._accept(hump)

    def _alone(self, hump: Hump) -> bool:
        """Did the signal rest on the hump's footing before it rose?"""
        lo = hump.rise_known - round(ALONE_S * self._hz)
        rest = hump.foot + max(1.1 * SWING, 0.35 * (hump.top - hump.foot))
        return self._signal.highest(lo, hump.rise_known) <= rest

    def _steady(self, held: list[Hump]) -> bool:
        """Do the last humps held follow each other as breaths do: even, on one footing, no faster than breathing?"""
        row = held[-ROW:]
        if len(row) < ROW:
            return False
        last = row[-1]
        height = last.top - last.foot
        steps = [b.rise_known - a.rise_known for a, b in pairwise(row)]
        return (
            min(steps) >= FASTEST_S * self._hz
            and max(steps) <= 1.5 * min(steps)
            and all(abs(h.foot - last.foot) <= max(0.6, 0.15 * height) for h in row)
            and all(abs(h.top - last.top) <= max(0.8, 0.25 * height) for h in row)
        )

    def _accept(self, hump: Hump) -> None:
        hump.first, hump.accepted = self._first, self._now
        self.found.append(hump)
        self._usual.add(hump)
        self._first = False
        self._low = None
        self._tail = []

    # --- how breaths were of late

    def _fade(self, at: int) -> float:
        """How much of the usual height still counts: all of it until one and a half periods have passed without a breath."""
        if self._usual.height == 0:
            return 1.0
        period = self._usual.period
        waited = (at - self._usual.at) / self._hz - 1.5 * period
        return 1.0 if waited <= 0 else float(0.5 ** (waited / max(period, 2.0)))

    def _floor(self, hump: Hump) -> float:
        """The least height of a breath here, in view of the noise."""
        usual, noise = self._usual.height, 2.5 * self.noise.level(hump.over)
        if hump.in_noise:
            return max(LEAST, 1.2 * noise)
        least = max(LEAST, min(4.0, 0.08 * usual), min(noise, 0.4 * usual) if usual else noise)
        if hump.top - hump.foot < QUIET:
            least = max(least, 6 * self._signal.rough(hump.rise_known - round(self._hz), hump.over))
        return least
