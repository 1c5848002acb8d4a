"""One CO2 wave read breath by breath as it comes: what the room shows of it. Time is by count; moments are by the samples' own."""

from __future__ import annotations

from bisect import bisect_right
from collections import OrderedDict, deque
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Protocol

import numpy as np
import numpy.typing as npt

from spiracle.airway import breaths_needed
from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.engine import Engine, Step
from spiracle.capnogram.finding import Finding
from spiracle.capnogram.findings import Watch
from spiracle.capnogram.proof import proof_of
from spiracle.capnogram.setup import Setup
from spiracle.case.facts import Facts
from spiracle.doors.monitor_rooms import Meta, Reader, ms
from spiracle.doors.waves.shapes import Run
from spiracle.monitors.heard import Wave
from spiracle.refusals import Refusal
from spiracle.sheets.live_findings import airway_offer, live_finding
from spiracle.sheets.live_shapes import AirwayOffer, LiveBreath, LiveFinding

BEFORE = timedelta(minutes=5)
OVER = 300.0  # seconds for which a finding that has ended still stands on the panel
OFFERED = 900.0  # seconds after the tube went in for which its breaths are counted
OFF = timedelta(milliseconds=20)  # how far a packet may lie beside the count before the count is tied to our clock anew
MOST_FORMS = 1000
AGAIN, WHILE = 4, timedelta(minutes=1)  # so many changes of format within so long are told
BACK = timedelta(minutes=1)  # how far samples may reach back into what was read and be the same ones again
LONGEST = timedelta(minutes=10)  # a gap after which nothing of before is gone on with
FLAPS = (
    "The monitor changes rate, unit or scale of its CO₂ wave again and again: two devices may send under one name. The heights on the "
    "strip are not to be trusted, and no breaths are read while rate or unit change."
)
UNITS = {"mm[Hg]": "mmHg", "kPa": "kPa", "%": "percent"}


class Format:
    """How often one wave has changed its format of late."""

    def __init__(self) -> None:
        self._now: tuple[float, str, float, float] | None = None
        self._changes: deque[datetime] = deque(maxlen=AGAIN)

    def hear(self, wave: Wave, at: datetime) -> None:
        now = (wave.rate_hz, wave.unit, wave.scale, wave.offset)
        if self._now is not None and now != self._now:
            self._changes.append(at)
        self._now = now

    def flaps(self, at: datetime) -> bool:
        return len(self._changes) == AGAIN and abs(at - self._changes[0]) <= WHILE


class Unread:
    """A wave that cannot be read, and why."""

    findings: tuple[LiveFinding, ...] = ()
    airway: AirwayOffer | None = None
    breath_text = ""

    def __init__(self, trouble: str, form: Format | None = None) -> None:
        self.trouble, self._form = trouble, form

    def goes_on(self, wave: Wave, at: datetime, fresh: bool) -> bool:
        if self._form is None:
            return not fresh
        if fresh:
            self._form.hear(wave, at)
        return self._form.flaps(at)

    def feed(self, _values: npt.NDArray[np.float64], _first_at: datetime, _missing: int) -> list[LiveBreath]:
        return []

    def case_is(self, meta: Meta) -> None: ...


class Breaths:
    """An engine and what watches it."""

    def __init__(self, setup: Setup, meta: Meta, facts: Facts, form: Format | None = None) -> None:
        self.findings: tuple[LiveFinding, ...] = ()
        self.airway: AirwayOffer | None = None
        self.breath_text = self.trouble = ""
        self._setup, self._meta, self._facts = setup, meta, facts
        self._engine, self._watch = Engine(setup), Watch(facts.capnogram, setup)
        self._told: dict[tuple[str, float], LiveFinding] = {}
        self._tube: tuple[datetime, float] | None = None
        self._since: list[Breath] = []
        self._troubles: list[Trouble] = []
        self._weighed = 0
        self._fed = 0
        self._form = form or Format()
        self._lacks = 0  # samples in front of what comes next; below 0 it begins with so many that were read
        self._ties: list[tuple[int, datetime]] = []
        self._last: deque[Breath] = deque(maxlen=8)

    def case_is(self, meta: Meta) -> None:
        """A tube that went in while this trace runs is proven or doubted by what comes after it."""
        self._meta = meta
        if meta.proven or meta.tube_at is None:
            self._tube = self.airway = None
        elif self._ties and (self._tube is None or self._tube[0] != meta.tube_at):
            at_s = (meta.tube_at - self._ties[0][1]).total_seconds()
            if at_s >= 0 and self.now_s - at_s <= OFFERED:
                at_s = min(at_s, self.now_s)
                self._tube = (meta.tube_at, at_s)
                self._since = [b for b in self._since if b.start_s >= at_s]
                self._watch.placed(at_s)
                self._weigh()

    def goes_on(self, wave: Wave, at: datetime, fresh: bool) -> bool:
        """Whether what comes next, from `at` on, can be read on from here: the same rate and unit, after no long gap. Scale and offset
        may change: samples are fed in the wave's unit."""
        if fresh:
            self._form.hear(wave, at)
        if fresh or self.trouble:
            self.trouble = FLAPS if self._form.flaps(at) else ""
        if not fresh or not self._ties:
            return True
        gap = at - self.moment(self.now_s)
        if (wave.rate_hz, UNITS.get(wave.unit, wave.unit)) != (self._setup.rate_hz, self._setup.unit):
            return False
        self._lacks = round(gap.total_seconds() * self._setup.rate_hz)
        return -BACK <= gap <= LONGEST

    @property
    def now_s(self) -> float:
        return self._fed / self._setup.rate_hz

    def feed(self, values: npt.NDArray[np.float64], first_at: datetime, missing: int) -> list[LiveBreath]:
        """The next samples in the wave's unit, nan where one is missing, `missing` of them lacking in front."""
        lacks, self._lacks = self._lacks, 0
        if lacks < 0:
            read = min(-lacks, len(values))
            self._lacks, values = lacks + read, values[read:]
            if not len(values):
                return []
            first_at += timedelta(seconds=read / self._setup.rate_hz)
        missing += max(lacks, 0)
        row = np.concatenate((np.full(missing, np.nan), values)) if missing else values
        if not self._ties or abs(self.moment((self._fed + missing) / self._setup.rate_hz) - first_at) > OFF:
            self._ties.append((self._fed + missing, first_at))
        step = self._engine.feed(row)
        self._fed += len(row)
        self._find(step)
        self._last.extend(step.breaths)
        if step.breaths:
            self.breath_text = breath_text(self._last)
        return [self._live(b) for b in step.breaths]

    def _find(self, step: Step) -> None:
        now = self.now_s
        changed = self._watch.take(step, now)
        for f in changed:
            self._told[f.name, f.from_s] = live_finding(f, self.moment, self._facts.capnogram, self._facts.sources)
        if changed or any(x.until is not None for x in self.findings):
            self._rank(now)
        self._since = [*self._since, *step.breaths][-64:]
        self._troubles = [*self._troubles, *step.troubles][-64:]
        if self._tube is not None and (step.breaths or step.troubles or now - self._weighed >= 1):
            self._weigh()

    def _rank(self, now: float) -> None:
        """What stands, the most urgent first; then what ended of late. What is normal is told while it stands and nothing else was."""
        first = self.moment(now - OVER)
        self._told = {k: x for k, x in self._told.items() if x.until is None or x.until >= first}
        stands: list[Finding] = list(self._watch.open)
        over = sorted(
            (x for x in self._told.values() if x.until is not None and x.name != "normal"), key=_ended, reverse=True
        )
        self.findings = (*(x for f in stands if (x := self._told.get((f.name, f.from_s))) is not None), *over)

    def _weigh(self) -> None:
        """Proof or doubt of the tube that lies there."""
        assert self._tube is not None  # noqa: S101
        self._weighed = int(self.now_s)
        at, at_s = self._tube
        if self.now_s - at_s > OFFERED:
            self._tube = self.airway = None
            return
        needed = breaths_needed(self._facts.airway)
        # the same trouble comes once more with its end
        troubles = list({(t.kind, t.from_s): t for t in self._troubles}.values())
        proof = proof_of(self._since, troubles, at_s, self.now_s, needed, self._facts.capnogram)
        self.airway = airway_offer(proof, needed, at)

    def resume(self, runs: Sequence[Run], until: datetime) -> None:
        """What was kept, with what lacks between; then on to `until`."""
        end: datetime | None = None
        for run in runs:
            self.feed(run.values, run.first_at, self._lacking(end, run.first_at))
            end = run.until
        if end is not None:
            lacking = self._lacking(end, until)
            self.feed(np.full(lacking, np.nan), end, 0)

    def _lacking(self, end: datetime | None, begin: datetime) -> int:
        return 0 if end is None else max(round((begin - end).total_seconds() * self._setup.rate_hz), 0)

    def moment(self, seconds: float) -> datetime:
        """When a moment of the trace was, by our clock."""
        index = seconds * self._setup.rate_hz
        at = max(bisect_right(self._ties, index, key=lambda t: t[0]) - 1, 0)
        tied, when = self._ties[at]
        return when + timedelta(seconds=(index - tied) / self._setup.rate_hz)

    def _live(self, b: Breath) -> LiveBreath:
        return LiveBreath(
            start_ms=ms(self.moment(b.start_s)), end_ms=ms(self.moment(b.end_s)), etco2=round(b.etco2, 1),
            fico2=None if b.fico2 is None else round(b.fico2, 1), text=one_breath(b), doubtful=b.quality == "doubtful",
        )  # fmt: skip


def _ended(finding: LiveFinding) -> datetime:
    return finding.until or finding.since


def one_breath(b: Breath) -> str:
    inspired = "" if b.fico2 is None else f", inspired {b.fico2:.0f}"
    doubt = f" ({'; '.join(b.doubts)})" if b.doubts else ""
    return f"{b.etco2:.0f} mmHg{inspired}{doubt}"


def breath_text(last: deque[Breath]) -> str:
    """What the wave itself says, beside what the device's own numbers say."""
    good = [b for b in last if b.quality == "good"] or list(last)
    rates = sorted(b.rate_per_min for b in good if b.rate_per_min is not None)
    rate = f"{rates[len(rates) // 2]:.0f}/min, " if rates else ""
    return f"Read on the wave: {rate}end-tidal {one_breath(good[-1])}"


class Kept(Protocol):
    """Where waves are kept."""

    def read(self, case: str, wave: str, start: datetime, end: datetime) -> Sequence[Run]: ...


class Readers:
    """Makes the readers. After a new start of the server the last minutes come out of the archive first, so that what was found goes
    on standing; the samples are the same, so the breaths are too. That is done once for each pairing: minutes take a
    while to read, and a wave that changes its format again and again would hold up all other rooms."""

    def __init__(self, archive: Kept | None = None) -> None:
        self._archive = archive
        self._forms: OrderedDict[tuple[str, str], Format] = (
            OrderedDict()
        )  # by pairing and wave, of those read back already

    def __call__(self, wave: Wave, monitor: str, at: datetime, meta: Meta, facts: Facts) -> Reader:
        paired = next((p for p in meta.pairings if p.monitor == monitor), None)
        key = (paired.id if paired is not None else monitor, wave.wave)
        form, known = self._form(key)
        form.hear(wave, at)
        if form.flaps(at):
            return Unread(FLAPS, form)
        try:
            setup = Setup(wave.rate_hz, UNITS.get(wave.unit, wave.unit), kg=meta.kg, species=meta.species or None)
        except Refusal as refusal:
            return Unread(f"Breaths are not read on this wave: {refusal.field}: {refusal.says}")
        reader = Breaths(setup, meta, facts, form)
        if self._archive is not None and not known:
            since = paired.happened_at if paired is not None else at
            runs = self._archive.read(meta.case, wave.wave, max(at - BEFORE, since), at)
            same = [r for r in runs if r.monitor == monitor and (r.rate_hz, r.unit) == (wave.rate_hz, wave.unit)]
            reader.resume(same, at)
        reader.case_is(meta)
        return reader

    def _form(self, key: tuple[str, str]) -> tuple[Format, bool]:
        """The format of a wave so far, and whether it was read before."""
        known = key in self._forms
        form = self._forms.setdefault(key, Format())
        while len(self._forms) > MOST_FORMS:
            self._forms.popitem(last=False)
        return form, known
