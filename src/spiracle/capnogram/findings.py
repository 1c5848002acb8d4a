"""What the breaths mean, told as they come. Whatever the chunks, the same findings: everything happens at a moment of the trace.

A breath and a trouble count from the moment they were known (`known_s`), and what comes due because nothing came (an apnoea) comes
due at its own moment. All three are taken in the order of those moments, up to `until_s`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Iterable
from functools import partial
from operator import itemgetter
from statistics import median

import numpy as np
from numpy.typing import ArrayLike

from spiracle.capnogram import words
from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.engine import Engine, Step
from spiracle.capnogram.finding import Finding, Name
from spiracle.capnogram.latch import Latch
from spiracle.capnogram.run import Run
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.shapes_seen import SHAPES, Shapes
from spiracle.capnogram.silence import Silence
from spiracle.capnogram.standing import Said, Standing
from spiracle.capnogram.tables import CapnogramTables, Ladder
from spiracle.capnogram.trends import Fall, fading, fall_of, height_of, rhythm_of, slope_of

PLACED, BEGUN, OVER, LASTING, BREATH = range(5)
"""What comes first of one moment."""
Waiting = tuple[float, int, float, Callable[[float], None]]
DOUBT = Ladder(1.0, 40.0, 50.0, 101.0, 102.0)

_VALUES = ("high-co2", "low-co2")


class Watch:
    """Follows one trace. `take` after each step of the engine, `finish` after the last; both give what is new, changed or ended."""

    def __init__(self, tables: CapnogramTables, setup: Setup) -> None:
        self.tables = tables
        self.setup = setup
        self.standing = Standing(tables, 1 / setup.rate_hz)
        self._silence = Silence(tables, self.standing)
        self._latches = {name: self._latch(name) for name in SHAPES}
        self._by_name = tuple(self._latches.items())
        self._doubt = self._latch("artefact", DOUBT)
        self._waiting: list[Waiting] = []
        self._begun: set[tuple[str, float]] = set()
        self._troubles: list[Trouble] = []
        self._run = Run()
        self._clean: deque[Breath] = deque(maxlen=tables.count("normal-breaths"))
        self._shapes_of = Shapes(tables)
        self._fall_end, self._few = tables.number("fall-end"), tables.count("placed-breaths")
        self._back: list[Breath] = []
        self._low_point = 0.0
        self._after_fall: list[float] = []
        self._now = 0.0

    @property
    def open(self) -> tuple[Finding, ...]:
        """What stands, the most urgent first."""
        return self.standing.ranked()

    def placed(self, at_s: float) -> None:
        """A tube was placed: what is seen from here on is its own."""
        self._wait(max(at_s, self._now), PLACED, at_s, self._placed)

    def take(self, step: Step, until_s: float) -> tuple[Finding, ...]:
        """`until_s` is the number of samples fed so far over their rate."""
        self._queue(step)
        return self._advance(until_s, last=False)

    def finish(self, step: Step, until_s: float) -> tuple[Finding, ...]:
        """The last step, and nothing after it: what stands goes on standing."""
        self._queue(step)
        return self._advance(until_s, last=True)

    # --- moments in order

    def _wait(self, at_s: float, kind: int, from_s: float, act: Callable[[float], None]) -> None:
        """Kind and beginning decide between things of one moment, so that their order never hangs on when they were heard of."""
        self._waiting.append((at_s, kind, from_s, act))

    def _queue(self, step: Step) -> None:
        for breath in step.breaths:
            self._wait(breath.known_s, BREATH, breath.start_s, partial(self._breath, breath))
        for trouble in step.troubles:
            key, from_s = (trouble.kind, trouble.from_s), trouble.from_s
            if key not in self._begun:
                self._begun.add(key)
                self._wait(trouble.known_s, BEGUN, from_s, partial(self._trouble, trouble))
                ladder = self.tables.ladders["artefact"]
                for least in (ladder.mild, ladder.moderate, ladder.severe):
                    self._wait(
                        max(from_s + least, trouble.known_s), LASTING, from_s, partial(self._lasting, trouble, least)
                    )
            if trouble.to_s is not None:
                self._wait(trouble.known_s, OVER, from_s, partial(self._trouble_over, trouble))

    def _advance(self, until_s: float, *, last: bool) -> tuple[Finding, ...]:
        for at_s, kind, _, act in self._due(until_s, last=last):
            if kind == LASTING and at_s > until_s:
                continue
            self._until(min(at_s, until_s), before=at_s <= until_s)
            self._now = self.standing.now_s = at_s
            act(at_s)
            if self.standing.troubled:
                self._clean.clear()
        self._until(until_s, before=False)
        if not self.standing.told:
            return ()
        told, self.standing.told = tuple(self.standing.told), []
        return told

    def _due(self, until_s: float, *, last: bool) -> list[Waiting]:
        """What waits for a moment up to then, or all of it, in order; what happens never adds to it."""
        waiting = self._waiting
        if not waiting:
            return []
        waiting.sort(key=itemgetter(0, 1, 2))
        count = len(waiting) if last else bisect_right(waiting, until_s, key=itemgetter(0))
        self._waiting = waiting[count:]
        return waiting[:count]

    def _until(self, at_s: float, *, before: bool) -> None:
        """Silences that come due before what happens at this moment."""
        if self._silence.next_s > at_s:
            return
        for due in self._silence.due(at_s, before=before):
            self.standing.now_s = due.at_s
            due.act(due.quiet_s)
            if self.standing.troubled:
                self._clean.clear()

    # --- breaths

    def _breath(self, b: Breath, _now: float) -> None:
        if b.before_s is None:
            self._latches_forget()
        if self.standing.troubled:
            self._returned(b)
        self._run.add(b)
        self._doubtful(b)
        self._falling(b)
        self._silence.breath(b, self._run)
        self._shrinking()
        self._halved(self._run.breaths, self._run.heights)
        if b.quality == "good":
            self._shapes(b)
        self._normal(b)

    def _returned(self, b: Breath) -> None:
        """A breath ends silence; one of half its former height, or four of a quarter, end a loss, which a lower one after an apnoea
        takes up again. What came before no longer says what is usual."""
        standing, usual = self.standing, self.standing.lost_height
        silent = standing.has("no-breaths", "apnoea")
        silences: tuple[Name, ...] = ("no-breaths", "apnoea")
        for name in silences:
            standing.end(name, b.start_s)
        if usual is not None:
            self._back = [*self._back, b][-4:] if height_of(b) >= 0.25 * usual else []
            if height_of(b) >= 0.5 * usual or len(self._back) == 4:
                standing.end("sudden-loss", self._back[0].start_s)
                silent, self._back = True, []
            elif silent:
                self._still_lost(b, usual)
        if silent and not standing.has("sudden-loss", "exponential-fall"):
            self._run.clear()
            self._silence.restart(b.start_s, self._silence.placed)

    def _still_lost(self, b: Breath, usual: float) -> None:
        lost = 100 * (1 - height_of(b) / usual)
        degree = self.tables.ladders["sudden-loss"].degree(lost)
        self.standing.begin("sudden-loss", b.start_s, degree, words.sudden_low(usual, height_of(b), lost))

    def _falling(self, b: Breath) -> None:
        standing, last = self.standing, self._run.breaths
        if "exponential-fall" in standing.open:
            self._fallen(last)
            return
        if b.etco2 > self._fall_end:
            return
        fall = fall_of(last, self.tables)
        if fall is None or standing.has("fading-breaths"):
            return
        self._low_point = height_of(last[-1])
        self._after_fall = []
        degree = self.tables.ladders["exponential-fall"].degree(fall.lost)
        standing.begin("exponential-fall", fall.from_s, degree, self._said(fall, b))

    def _said(self, fall: Fall, b: Breath) -> Said:
        return words.falling(fall.lost, fall.each, b.etco2)

    def _fallen(self, last: list[Breath]) -> None:
        """Still falling, risen again, or steady at a new level: the last two end it."""
        height, back = height_of(last[-1]), 1 + self.tables.number("fall-back") / 100
        stood = self.standing.open["exponential-fall"]
        fall = fall_of(last, self.tables)
        if fall is not None and fall.from_s <= stood.from_s + 60:
            self.standing.worsen(
                "exponential-fall",
                self.tables.ladders["exponential-fall"].degree(fall.lost),
                self._said(fall, last[-1]),
            )
        self._low_point = min(self._low_point, height)
        self._after_fall = [*self._after_fall, height][-10:]
        risen = len(self._after_fall) >= 4 and min(self._after_fall[-3:]) > max(back * self._low_point, 10.0)
        steady = len(self._after_fall) == 10 and min(self._after_fall) > 10.0 and slope_of(self._after_fall) > -0.012
        if risen or steady:
            self.standing.end("exponential-fall", last[-4 if risen else -10].end_s)

    def _shrinking(self) -> None:
        humps, standing = self._silence.humps, self.standing
        stands = "fading-breaths" in standing.open
        if not stands and len(humps) > self._few:
            return
        heights = [height_of(h) for h in humps]
        if stands and (kept := self._kept_up()) is not None:
            standing.end("fading-breaths", kept)
            return
        lost = fading(heights, self.tables)
        if lost is None or len(humps) > self._few:
            return
        degree, said = (
            self.tables.ladders["fading-breaths"].degree(lost),
            words.fading_shrinking(lost, len(humps), heights[-1]),
        )
        if stands:
            standing.worsen("fading-breaths", degree, said)
        else:
            standing.begin("fading-breaths", humps[0].start_s, degree, said)

    def _kept_up(self) -> float | None:
        """From when on the newest breaths keep their height: three of a ventilated lung's height, or eight of a credible one."""
        run = self._run.breaths
        for count, least in ((3, self.tables.number("usual-least")), (8, self.tables.number("credible-height"))):
            heights = [height_of(b) for b in run[-count:]]
            if len(heights) == count and min(heights) >= least and heights[-1] >= 0.9 * heights[0]:
                return run[-count].start_s
        return None

    def _halved(self, last: list[Breath], heights: list[float]) -> None:
        """From one breath to the next most of the height has gone, and the breath after is as low."""
        if len(last) < 6 or "sudden-loss" in self.standing.open:
            return
        left, before = max(heights[-1], heights[-2]), heights[-7:-2]
        usual = median(before)
        ladder = self.tables.ladders["sudden-loss"]
        lost = 100 * (1 - left / usual) if usual > 0 else 0.0
        if not ladder.shows(lost) or before[-1] < 0.75 * usual:
            return
        rates = [b.rate_per_min for b in last[-6:-2] if b.rate_per_min]
        quick = last[-1].rate_per_min
        if rates and quick and quick > 1.5 * median(rates):
            return
        said = words.sudden_low(usual, left, lost)
        self.standing.begin("sudden-loss", last[-3].end_s, ladder.degree(lost), said)

    # --- shapes over several breaths

    def _latch(self, name: Name, ladder: Ladder | None = None) -> Latch:
        n = self.tables.number
        value = name in _VALUES
        return Latch(
            ladder or self.tables.ladders[name],
            self.tables.count("carbon-breaths" if value else "looked-at"),
            n("carbon-from") if value else n("looked-for"),
            n("notch-shown-by" if name == "effort-notch" else "shown-by") / 100,
            n("cleared-by") / 100,
        )

    def _latches_forget(self) -> None:
        """Behind a gap a shape that stands is held; one that does not has to be seen anew."""
        for latch in self._latches.values():
            if not latch.showing:
                latch.forget()

    def _doubtful(self, b: Breath) -> None:
        if (
            not self._doubt.take(b.start_s, b.end_s, 0.0 if b.quality == "good" else 100.0)
            and not self.standing.troubled
        ):
            return
        if self._doubt.showing and not self.standing.has("artefact") and not self._troubles:
            self.standing.begin("artefact", self._doubt.from_s, "mild", words.doubtful(100.0))
        elif not self._doubt.showing and not self._troubles:
            self.standing.end("artefact", self._doubt.to_s)

    def _shapes(self, b: Breath) -> None:
        before = self._run.breaths[-2] if len(self._run) > 1 else None
        figures = self._shapes_of.figures(b, before, self._silence.rhythm)
        standing, start, end = self.standing, b.start_s, b.end_s
        for (name, latch), figure in zip(self._by_name, figures, strict=True):
            if standing.covered(name):
                latch.forget()
            elif latch.take(start, end, figure):
                self._shape(name, latch, b)

    def _shape(self, name: Name, latch: Latch, b: Breath) -> None:
        """A shape that shows, or no longer does. What is said of it is put together only if it is told."""
        standing = self.standing
        if not latch.showing:
            standing.end(name, latch.to_s)
        elif name not in standing.open or standing.worse(name, latch.degree):
            said = self._said_of(name, latch.figure, b)
            if name in standing.open:
                standing.worsen(name, latch.degree, said)
            else:
                standing.begin(name, latch.from_s, latch.degree, said)

    def _said_of(self, name: Name, figure: float, b: Breath) -> Said:
        if name != "panting":
            return words.shape(name, figure, self._beside(name, b))
        etco2 = median(c.etco2 for c in self._run.breaths[-self.tables.count("looked-at") :])
        return words.panting(figure, etco2, self.tables.ladders["low-co2"].still(etco2))

    def _beside(self, name: Name, b: Breath) -> words.Figures:
        if name in {"leak", "obstruction"}:
            return (
                ("plateau slope", b.plateau_slope, "mmHg/s"),
                ("upstroke", b.upstroke_s, "s"),
                ("alpha angle", b.alpha_deg, "°"),
            )
        if name == "cardiogenic-oscillations" and b.ripple_per_min is not None:
            return (("ripples", b.ripple_per_min, "/min"),)
        return (("end-tidal CO2", b.etco2, "mmHg"),) if name == "rebreathing" else ()

    def _normal(self, b: Breath) -> None:
        if self.standing.troubled or b.quality != "good":
            self._clean.clear()
            return
        self._clean.append(b)
        if len(self._clean) < self.tables.count("normal-breaths") or self.standing.has("normal"):
            return
        rhythm = rhythm_of(list(self._clean))
        said = words.normal(median(c.etco2 for c in self._clean), 60 / rhythm.interval_s if rhythm else None)
        self.standing.begin("normal", self._clean[0].start_s, "mild", said)

    # --- troubles of the signal, and a tube that is placed

    def _placed(self, at_s: float) -> None:
        of_before: tuple[Name, ...] = ("no-breaths", "fading-breaths", "sudden-loss", "apnoea", "exponential-fall")
        for name in of_before:
            self.standing.end(name, at_s)
        self._run.clear()
        self._silence.restart(at_s, placed=True)

    def _trouble(self, trouble: Trouble, _now: float) -> None:
        self._troubles.append(trouble)
        self._silence.halt()

    def _lasting(self, trouble: Trouble, least: float, _now: float) -> None:
        if not any((t.kind, t.from_s) == (trouble.kind, trouble.from_s) for t in self._troubles):
            return
        said, degree = words.artefact(least, trouble.kind), self.tables.ladders["artefact"].degree(least)
        if self.standing.has("artefact"):
            self.standing.worsen("artefact", degree, said)
        else:
            self.standing.begin("artefact", trouble.from_s, degree, said)

    def _trouble_over(self, trouble: Trouble, _now: float) -> None:
        assert trouble.to_s is not None  # noqa: S101  queued only with its end
        self._troubles = [t for t in self._troubles if (t.kind, t.from_s) != (trouble.kind, trouble.from_s)]
        if not self._troubles:
            self.standing.end("artefact", trouble.to_s)
        self._silence.resume(trouble.to_s, len(self._run))


def read_all(
    samples: ArrayLike, setup: Setup, tables: CapnogramTables, placed_s: float | None = None
) -> tuple[tuple[Breath, ...], tuple[Trouble, ...], tuple[Finding, ...]]:
    """A whole recording: its breaths, its troubles, and each finding once as it was in the end, in the order they began."""
    row = np.asarray(samples, dtype=np.float64)
    engine, watch = Engine(setup), Watch(tables, setup)
    if placed_s is not None:
        watch.placed(placed_s)
    until_s = len(row) / setup.rate_hz
    step = engine.feed(row)
    told = [*watch.take(step, until_s)]
    last = engine.finish()
    told += watch.finish(last, until_s)
    troubles = {(t.kind, t.from_s): t for s in (step, last) for t in s.troubles}
    return (*step.breaths, *last.breaths), tuple(troubles.values()), as_ended(told)


def as_ended(told: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each finding once, as it was told last."""
    found: dict[tuple[str, float], Finding] = {}
    for finding in told:
        found[finding.name, finding.from_s] = finding
    return tuple(sorted(found.values(), key=lambda f: (f.from_s, f.name)))
