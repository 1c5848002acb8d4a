"""When no breath comes: what is told, and at which moment of the trace. Worked out anew after each breath, never when asked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import msgspec

from spiracle.capnogram import words
from spiracle.capnogram.breath import Breath
from spiracle.capnogram.finding import Degree
from spiracle.capnogram.latch import WORSE
from spiracle.capnogram.run import Run
from spiracle.capnogram.standing import Standing
from spiracle.capnogram.tables import CapnogramTables, Ladder
from spiracle.capnogram.trends import Rhythm, Waits, height_of, silence_s


class Due(msgspec.Struct, frozen=True):
    """Something to be told at a moment, unless a breath comes first: after so many seconds of silence."""

    at_s: float
    quiet_s: float
    act: Callable[[float], None]


@dataclass(slots=True)
class Silence:
    """`since_s` is the last fresh start (the trace's, a tube's, the end of a loss); `humps` are the breaths since, while few;
    `next_s` is the first moment at which something comes due."""

    tables: CapnogramTables
    standing: Standing
    since_s: float = 0.0
    placed: bool = False
    humps: list[Breath] = field(default_factory=list)
    last: Breath | None = None
    rhythm: Rhythm | None = None
    height: float = 0.0
    ready: list[Due] = field(default_factory=list)
    halted: int = 0
    next_s: float = math.inf
    waits: Waits = field(init=False)
    few: int = field(init=False)

    def __post_init__(self) -> None:
        self.waits, self.few = Waits.of(self.tables), self.tables.count("placed-breaths")
        self._plan(self.since_s)

    def restart(self, at_s: float, placed: bool) -> None:
        self.since_s, self.placed = at_s, placed
        self.humps, self.last, self.rhythm = [], None, None
        self._plan(at_s)

    def breath(self, breath: Breath, run: Run) -> None:
        if len(self.humps) <= self.few:
            self.humps.append(breath)
        self.last, self.rhythm = breath, run.rhythm()
        self.height = max(run.heights[-2:])  # the last one may have been cut off
        self._plan(breath.end_s, len(run))

    def halt(self) -> None:
        """The signal cannot be read: nothing is said of silence."""
        self.halted += 1
        self._nothing()

    def resume(self, at_s: float, run: int) -> None:
        self.halted -= 1
        if self.halted == 0:
            self._plan(max(at_s, self.last.end_s if self.last else self.since_s), run)

    def due(self, until_s: float, *, before: bool) -> Iterator[Due]:
        """What comes due up to then (or before it), in order; telling one may plan another."""
        while self.next_s < until_s or (self.next_s == until_s and not before and self.ready):
            first = min(self.ready, key=lambda d: (d.at_s, d.quiet_s))
            self.ready.remove(first)
            self.next_s = min((d.at_s for d in self.ready), default=math.inf)
            yield first

    def _plan(self, base_s: float, run: int = 0) -> None:
        if self.halted:
            return
        n = self.tables.number
        self._nothing()
        if self.last is None:
            wait = n("placed-quiet") if self.placed else n("start-quiet")
            self._add(base_s, wait, self._no_breaths)
            return
        if self._may_fade():
            own = 2.0 * self.rhythm.interval_s if self.rhythm else 0.0
            self._add(base_s, max(n("fade-quiet"), own), self._faded)
        if self.rhythm is None:
            self._add(base_s, n("start-quiet"), self._apnoea)
            return
        loss, apnoea = silence_s(self.rhythm, self.waits)
        if run > 3 and self.height >= 0.6 * self.rhythm.height:
            self._add(base_s, loss, self._lost)
        self._add(base_s, apnoea, self._apnoea)

    def _add(self, base_s: float, wait_s: float, act: Callable[[float], None]) -> None:
        """Never before now: breaths that were held back and come late, several at one moment, have no silence between them."""
        at_s = max(base_s + wait_s, self.standing.now_s)
        self.ready.append(Due(at_s, wait_s, act))
        self.next_s = min(self.next_s, at_s)

    def _nothing(self) -> None:
        self.ready, self.next_s = [], math.inf

    def _may_fade(self) -> bool:
        """Few humps since the start, the last one lower than the highest or all of them too low for a lung."""
        if len(self.humps) >= self.few:
            return False
        highest = max(height_of(b) for b in self.humps)
        return highest < self.tables.number("usual-least") or height_of(self.humps[-1]) <= 0.8 * highest

    def _no_breaths(self, quiet: float) -> None:
        ladder, said = self.tables.ladders["no-breaths"], words.no_breaths(quiet, self.placed)
        degree: Degree = "severe" if self.placed else ladder.degree(quiet)
        if self.standing.has("no-breaths"):
            self.standing.worsen("no-breaths", degree, said)
        elif self.standing.begin("no-breaths", self.since_s, degree, said):
            self._climb(self.since_s, quiet, ladder, self._no_breaths)

    def _climb(self, base_s: float, quiet: float, ladder: Ladder, act: Callable[[float], None]) -> None:
        """A silence that lasts becomes worse at the moments of its grades."""
        for step in (ladder.moderate, ladder.severe):
            if step > quiet:
                self._add(base_s, step, act)

    def _faded(self, quiet: float) -> None:
        highest = max(height_of(b) for b in self.humps)
        said = words.fading_gone(len(self.humps), highest, quiet)
        if self.standing.has("fading-breaths"):
            self.standing.worsen("fading-breaths", "severe", said)
        else:
            self.standing.begin("fading-breaths", self.humps[0].start_s, "severe", said)

    def _lost(self, quiet: float) -> None:
        assert self.last is not None and self.rhythm is not None  # noqa: S101  planned only after breaths
        said = words.sudden_none(self.rhythm.height, quiet)
        if self.standing.has("sudden-loss"):
            self.standing.worsen("sudden-loss", "severe", said)
        else:
            self.standing.begin("sudden-loss", self.last.end_s, "severe", said)

    def _apnoea(self, quiet: float) -> None:
        assert self.last is not None  # noqa: S101  planned only after a breath
        ladder, usual_s = self.tables.ladders["apnoea"], self.rhythm.interval_s if self.rhythm else None
        said, degree = words.apnoea(quiet, usual_s, self.standing.lost_height), ladder.degree(quiet)
        lost = self.standing.open.get("sudden-loss")
        if lost is not None and WORSE[lost.degree] > WORSE[degree]:
            degree = lost.degree  # it becomes the apnoea: an event does not ease by its name
        if self.standing.has("apnoea"):
            self.standing.worsen("apnoea", degree, said)
        elif self.standing.begin("apnoea", self.last.end_s, degree, said):
            self._climb(self.last.end_s, quiet, ladder, self._apnoea)
