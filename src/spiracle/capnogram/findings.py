"""What the breaths mean, told as they come. Whatever the chunks, the same findings: everything happens at a moment of the trace.

A breath and a trouble count from the moment they were known (`known_s`), and what comes due because nothing came (an apnoea) comes
due at its own moment. All three are taken in the order of those moments, up to `until_s`.
"""

from __future__ import annotations

from bisect import insort
from collections import deque
from collections.abc import Callable, Iterable
from functools import partial
from statistics import median

import numpy as np
from numpy.typing import ArrayLike

from spiracle.capnogram import words
from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.engine import Engine, Step
from spiracle.capnogram.finding import Finding, Name
from spiracle.capnogram.latch import Latch, Seen
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.shapes_seen import inspired_of, leak_of, obstruction_of, parted_of, ripple_of, shape_of
from spiracle.capnogram.silence import Silence
from spiracle.capnogram.standing import Said, Standing
from spiracle.capnogram.tables import CapnogramTables, Ladder
from spiracle.capnogram.trends import Fall, fading, fall_of, height_of, rhythm_of, slope_of

PLACED, BEGUN, OVER, LASTING, BREATH = range(5)
"""What comes first of one moment."""
DOUBT = Ladder(1.0, 40.0, 50.0, 101.0, 102.0)

_LATCHED: tuple[Name, ...] = (
    "panting", "leak", "obstruction", "rebreathing", "cardiogenic-oscillations", "effort-notch", "high-co2", "low-co2",
)  # fmt: skip
_VALUES = ("high-co2", "low-co2")


class Watch:
    """Follows one trace. `take` after each step of the engine, `finish` after the last; both give what is new, changed or ended."""

    def __init__(self, tables: CapnogramTables, setup: Setup) -> None:
        self.tables = tables
        self.setup = setup
        self.standing = Standing(tables, 1 / setup.rate_hz)
        self._silence = Silence(tables, self.standing)
        self._latches = {name: self._latch(name) for name in _LATCHED}
        self._doubt = self._latch("artefact", DOUBT)
        self._waiting: list[tuple[float, int, float, Callable[[float], None]]] = []
        self._begun: set[tuple[str, float]] = set()
        self._troubles: list[Trouble] = []
        self._run: deque[Breath] = deque(maxlen=40)
        self._clean: list[Breath] = []
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
        insort(self._waiting, (at_s, kind, from_s, act), key=lambda w: w[:3])

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
        while self._waiting and (last or self._waiting[0][0] <= until_s):
            at_s, kind, _, act = self._waiting.pop(0)
            if kind == LASTING and at_s > until_s:
                continue
            self._until(min(at_s, until_s), before=at_s <= until_s)
            self._now = self.standing.now_s = at_s
            act(at_s)
            if self.standing.troubled:
                self._clean = []
        self._until(until_s, before=False)
        told, self.standing.told = tuple(self.standing.told), []
        return told

    def _until(self, at_s: float, *, before: bool) -> None:
        """Silences that come due before what happens at this moment."""
        for due in self._silence.due(at_s, before=before):
            self.standing.now_s = due.at_s
            due.act(due.quiet_s)
            if self.standing.troubled:
                self._clean = []

    # --- breaths

    def _breath(self, b: Breath, _now: float) -> None:
        run = self._run
        if b.before_s is None:
            self._latches_forget()
        self._returned(b)
        run.append(b)
        self._doubtful(b)
        last = list(run)
        self._falling(last)
        self._silence.breath(b, last)
        self._shrinking()
        self._halved(last)
        if b.quality == "good":
            self._shapes(b, last)
        self._normal(b)

    def _returned(self, b: Breath) -> None:
        """A breath ends silence; one of half its former height, or four of a quarter, end a loss. What came before no longer says what
        is usual."""
        standing = self.standing
        silent = standing.has("no-breaths", "apnoea")
        silences: tuple[Name, ...] = ("no-breaths", "apnoea")
        for name in silences:
            standing.end(name, b.start_s)
        if standing.has("sudden-loss"):
            usual = next((m.value for m in standing.open["sudden-loss"].measured if m.what == "height before"), 0.0)
            self._back = [*self._back, b][-4:] if height_of(b) >= 0.25 * usual else []
            if height_of(b) >= 0.5 * usual or len(self._back) == 4:
                standing.end("sudden-loss", self._back[0].start_s)
                silent, self._back = True, []
        if silent and not standing.has("sudden-loss", "exponential-fall"):
            self._run.clear()
            self._silence.restart(b.start_s, self._silence.placed)

    def _falling(self, last: list[Breath]) -> None:
        standing, ladder = self.standing, self.tables.ladders["exponential-fall"]
        if standing.has("exponential-fall"):
            self._fallen(last)
            return
        fall = fall_of(last, self.tables)
        if fall is None or standing.has("fading-breaths"):
            return
        self._low_point = height_of(last[-1])
        self._after_fall = []
        standing.begin("exponential-fall", fall.from_s, ladder.degree(fall.lost), self._said(fall, last[-1]))

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
        heights = [height_of(h) for h in humps]
        stands = standing.has("fading-breaths")
        if stands and (kept := self._kept_up()) is not None:
            standing.end("fading-breaths", kept)
            return
        lost = fading(heights, self.tables)
        if lost is None or len(humps) > self.tables.count("placed-breaths"):
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
        run = list(self._run)
        for count, least in ((3, self.tables.number("usual-least")), (8, self.tables.number("credible-height"))):
            heights = [height_of(b) for b in run[-count:]]
            if len(heights) == count and min(heights) >= least and heights[-1] >= 0.9 * heights[0]:
                return run[-count].start_s
        return None

    def _halved(self, last: list[Breath]) -> None:
        """From one breath to the next most of the height has gone, and the breath after is as low."""
        if len(last) < 6 or self.standing.has("sudden-loss"):
            return
        before, low = [height_of(b) for b in last[-7:-2]], [height_of(b) for b in last[-2:]]
        usual = median(before)
        left = max(low)
        ladder = self.tables.ladders["sudden-loss"]
        lost = 100 * (1 - left / usual) if usual > 0 else 0.0
        rates = [b.rate_per_min for b in last[-6:-2] if b.rate_per_min]
        quick = last[-1].rate_per_min
        if not ladder.shows(lost) or before[-1] < 0.75 * usual or (rates and quick and quick > 1.5 * median(rates)):
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
        self._doubt.take(Seen(b.start_s, b.end_s, 0.0 if b.quality == "good" else 100.0))
        if self._doubt.showing and not self.standing.has("artefact") and not self._troubles:
            self.standing.begin("artefact", self._doubt.from_s, "mild", words.doubtful(100.0))
        elif not self._doubt.showing and not self._troubles:
            self.standing.end("artefact", self._doubt.to_s)

    def _shapes(self, b: Breath, last: list[Breath]) -> None:
        for name, figure in self._figures(b, last).items():
            latch = self._latches[name]
            if self.standing.covered(name):
                latch.forget()
                continue
            was = latch.showing
            latch.take(Seen(b.start_s, b.end_s, figure))
            if latch.showing:
                said = words.shape(name, latch.figure, self._beside(name, b))
                if self.standing.has(name):
                    self.standing.worsen(name, latch.degree, said)
                else:
                    self.standing.begin(name, latch.from_s, latch.degree, said)
            elif was:
                self.standing.end(name, latch.to_s)

    def _figures(self, b: Breath, last: list[Breath]) -> dict[Name, float | None]:
        """The figure of each shape in this breath; None where the breath cannot say."""
        n = self.tables.number
        ripple, notch = ripple_of(b), self.tables.ladders["effort-notch"]
        parted = parted_of(b, last[-2] if len(last) > 1 else None)
        dipped = max(ripple, parted) > notch.mild  # neither its area nor its slope is a plateau's
        shape = None if dipped else shape_of(b, n("upstroke-own"), n("upstroke-share") / 100)
        beat = b.ripple_per_min is not None and n("ripple-slow") <= b.ripple_per_min <= n("ripple-fast")
        return {
            "panting": self._panting(b, last),
            "leak": None if shape is None else leak_of(shape),
            "obstruction": None if shape is None else obstruction_of(shape, n("climb-least") / 100),
            "rebreathing": None if parted else inspired_of(b, n("low-share-of-fast") / 100),
            "cardiogenic-oscillations": ripple if beat else 0.0,
            "effort-notch": 0.0 if beat else max(ripple, parted),
            "high-co2": b.etco2,
            "low-co2": b.etco2,
        }

    def _panting(self, b: Breath, last: list[Breath]) -> float:
        """The rate, if the breaths are as low as those of panting are; else nothing."""
        rhythm = rhythm_of(last)
        if rhythm is None or height_of(b) > self.tables.number("pant-height"):
            return 0.0
        return 60 / rhythm.interval_s

    def _beside(self, name: Name, b: Breath) -> words.Figures:
        if name in {"leak", "obstruction"}:
            return (
                ("plateau slope", b.plateau_slope, "mmHg/s"),
                ("upstroke", b.upstroke_s, "s"),
                ("alpha angle", b.alpha_deg, "°"),
            )
        if name == "cardiogenic-oscillations" and b.ripple_per_min is not None:
            return (("ripples", b.ripple_per_min, "/min"),)
        return (("end-tidal CO2", b.etco2, "mmHg"),) if name in {"rebreathing", "panting"} else ()

    def _normal(self, b: Breath) -> None:
        if self.standing.troubled or b.quality != "good":
            self._clean = []
            return
        self._clean = [*self._clean, b][-self.tables.count("normal-breaths") :]
        if len(self._clean) < self.tables.count("normal-breaths") or self.standing.has("normal"):
            return
        rhythm = rhythm_of(self._clean)
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
