"""The engine: samples in, breaths and troubles out. However the samples are cut into chunks, the answer is the same, bit for bit.

Time is the index of a sample over the rate; there is no clock. A breath is given 0.15 s after its fall is known.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.breaths import Hump, Judge
from spiracle.capnogram.humps import LONG, Turn, Turns
from spiracle.capnogram.kept import Kept
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.shape import SEEN_S, Before, measure
from spiracle.capnogram.signal import Conditioner, Piece, Samples
from spiracle.refusals import OutOfRange

BLOCK = 1 << 17


@dataclass(frozen=True, slots=True)
class Step:
    """What became known. A trouble that lasts comes with to_s None, and once more with its end."""

    breaths: tuple[Breath, ...] = ()
    troubles: tuple[Trouble, ...] = ()


NOTHING = Step()


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything of a recording; each trouble once."""

    breaths: tuple[Breath, ...]
    troubles: tuple[Trouble, ...]


class Engine:
    """Reads one signal from its first sample on."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self._conditioner = Conditioner(setup)
        self._turns = Turns()
        self._before = Before()
        self._wait = setup.samples(SEEN_S)
        self._ready: deque[tuple[int, Hump]] = deque()
        self._last_ready = 0
        self._kept = Kept(setup)
        self._judge = Judge(setup, self._kept, self._conditioner.half)
        self._searched = 0

    def feed(self, samples: ArrayLike) -> Step:
        """The next samples, nan where missing. Any number of them."""
        row = np.asarray(samples, dtype=np.float64)
        if row.ndim != 1:
            raise OutOfRange(
                "samples", "They must stand in one row.", "One number after the other, nan where one is missing."
            )
        breaths: list[Breath] = []
        for lo in range(0, len(row), BLOCK):
            breaths += self._block(row[lo : lo + BLOCK])
        return self._told(breaths)

    def finish(self) -> Step:
        """No more samples will come. An expiration whose end was not seen is no breath."""
        breaths: list[Breath] = []
        for piece in self._conditioner.close():
            self._run(piece)  # reaches half an average beyond the last sample at most
        self._cut(last=True)
        breaths += self._measured(self._kept.end + self._wait + 1)
        return self._told(breaths)

    def _told(self, breaths: list[Breath]) -> Step:
        noise = self._judge.noise
        noise.passed(self._kept.end_raw - 1)
        if not noise.troubles and not self._conditioner.troubles:
            return Step(tuple(breaths)) if breaths else NOTHING
        known = sorted([*self._conditioner.troubles, *noise.troubles], key=lambda k: (k[0], k[1].kind, k[1].from_s))
        self._conditioner.troubles.clear()
        noise.troubles.clear()
        return Step(tuple(breaths), tuple(replace(t, known_s=(k + 1) / self.setup.rate_hz) for k, t in known))

    def _block(self, samples: Samples) -> list[Breath]:
        raw, pieces = self._conditioner.clean(samples)
        self._kept.add_raw(raw)
        for piece in pieces:
            self._run(piece)
        if not self._conditioner.running:
            self._kept.pad(self._kept.end_raw)
        return self._measured(self._kept.end)

    def _run(self, piece: Piece) -> None:
        if piece.ends or (piece.gap and not self._judge.bridges(piece.gap)):
            self._cut(last=False)
            self._judge.restart()
            self._turns.start()
        if not len(piece.values):
            return
        self._kept.add(piece.values, piece.at)
        if len(piece.values) < LONG:
            self._short(piece)
        else:
            for turn in self._turns.long(piece.at, piece.values):
                self._look(turn.known)
                self._turn(turn)
            self._look(piece.at + len(piece.values))
        self._settle()

    def _short(self, piece: Piece) -> None:
        judge, turns = self._judge, self._turns
        for at, x in enumerate(piece.values.tolist(), piece.at):
            turn = turns.short(at, x)
            if turn is not None:
                self._turn(turn)
            while x < judge.level:
                judge.fell(at)
        self._searched = piece.at + len(piece.values)

    def _turn(self, turn: Turn) -> None:
        self._judge.turn(turn)
        self._searched = turn.known

    def _look(self, until: int) -> None:
        """Where the signal fell below the open hump's level before this index, if it did."""
        while (level := self._judge.level) != -np.inf:
            below = self._kept.part(self._searched, until) < level
            k = int(below.argmax()) if len(below) else 0
            if not len(below) or not below[k]:
                break
            self._searched += k
            self._judge.fell(self._searched)
        self._searched = until

    def _cut(self, *, last: bool) -> None:
        """The run ends: at a gap, where only what is plain counts, or with the recording."""
        if self._kept.end:
            value = float(self._kept.part(self._kept.end - 1, self._kept.end)[0]) if last else np.inf
            self._judge.cut(self._kept.end - 1, value)
        self._settle()

    def _settle(self) -> None:
        for hump in self._judge.found:
            self._last_ready = max(hump.over + self._wait, hump.accepted, self._last_ready)
            self._ready.append((self._last_ready, hump))
        self._judge.found.clear()

    def _measured(self, until: int) -> list[Breath]:
        humps, known_s, hz, behind = [], [], self.setup.rate_hz, self._conditioner.half + 1
        while self._ready and self._ready[0][0] < until:
            at, hump = self._ready.popleft()
            humps.append(hump)
            known_s.append((at + behind) / hz)
        if not humps:
            return []
        kept = self._kept
        return measure(humps, known_s, kept.raw, kept.averaged, kept.start, self.setup, self._before)


def read(samples: ArrayLike, setup: Setup) -> Reading:
    """The whole recording at once: what feeding it would give."""
    engine = Engine(setup)
    steps = (engine.feed(samples), engine.finish())
    troubles: dict[tuple[str, float], Trouble] = {}
    for trouble in (t for s in steps for t in s.troubles):
        troubles[trouble.kind, trouble.from_s] = trouble
    return Reading(tuple(b for s in steps for b in s.breaths), tuple(troubles.values()))
