"""The oxygen supply of a case: what was last read, and what the charted flows take from it since."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.breathing import Cylinder, Step, Supply
from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Refusal

if TYPE_CHECKING:
    from datetime import datetime

    from spiracle.case.facts import Facts

NONE = Decimal(0)
Bellows = Callable[[Decimal, int], Decimal]
Source = tuple[str, ...]


def cylinder_of(read: ev.OxygenRead) -> Cylinder | None:
    """The printed pair and the gauge; None where one is lacking or cannot be read: nothing is assumed in its place."""
    if read.source != "cylinder" or read.contents_l is None:
        return None
    try:
        return Cylinder.read(f"{figure(read.contents_l)} L", read.full_pressure, read.gauge)
    except Refusal:
        return None


def supply_of(facts: Facts, read: ev.OxygenRead, *, confirmed: bool = True) -> Supply:
    """What was read as a supply. Raises Missing for a concentrator without its figures; AskAgain (weak oxygen) unless confirmed."""
    return Supply.read(
        facts.breathing,
        read.source,
        max_flow=None if read.max_l_min is None else Quantity.of(read.max_l_min, "L/min"),
        percent=None if read.percent is None else Quantity.of(read.percent, "%"),
        confirmed=confirmed,
    )


# ---- which reading is of the supply in use, and which of one that stands by


def source_of(read: ev.OxygenRead) -> Source:
    """What tells one source from another: its kind and name, and where a cylinder has no name, what is printed on it."""
    if read.source != "cylinder" or read.cylinder:
        return (read.source, read.cylinder)
    return (read.source, "", "" if read.contents_l is None else figure(read.contents_l), read.full_pressure)


def used_readings(case: Case) -> tuple[ev.OxygenRead, ...]:
    """Readings of the supply in use, oldest first. One that was not said to stand by is of the supply in use."""
    return tuple(r for r in case.live(ev.OxygenRead) if r.use != "standing by")


def in_use(case: Case) -> ev.OxygenRead | None:
    return next(reversed(used_readings(case)), None)


def standing_by(case: Case) -> tuple[ev.OxygenRead, ...]:
    """The last reading of each source that stands by; one that was read as in use afterwards does so no longer."""
    found: dict[Source, ev.OxygenRead] = {}
    for read in case.live(ev.OxygenRead):
        found.pop(source_of(read), None)
        if read.use == "standing by":
            found[source_of(read)] = read
    return tuple(found.values())


def replaced(case: Case) -> ev.OxygenRead | None:
    """The source that was counted before, where another took its place and nobody said that it is in use."""
    readings = used_readings(case)
    for read in reversed(readings):
        if source_of(read) != source_of(readings[-1]):
            return read
        if read.use:
            return None
    return None


# ---- what flows


@dataclass(frozen=True, slots=True)
class _Flow:
    """Where flowmeter and ventilator stand at a moment; None for what nobody has said yet."""

    gas: Decimal | None = None
    mask: Decimal | None = None
    masked: bool = False
    tubed: bool = False
    agent: bool = False
    machine: str = ""
    running: bool = False
    drive: Decimal | None = None
    tidal_ml: Decimal | None = None
    rate: int | None = None

    @property
    def fresh(self) -> Decimal:
        return (self.gas or NONE) if self.mask is None else self.mask

    @property
    def uncharted(self) -> bool:
        """Something breathes from the machine, and no flow has been charted for it."""
        return (self.masked or self.tubed or self.agent) and self.gas is None and self.mask is None

    @property
    def drive_unknown(self) -> bool:
        return self.running and self.drive is None

    def l_min(self, bellows: Bellows | None = None) -> Decimal:
        if not self.running:
            return self.fresh
        if self.drive is not None:
            return self.fresh + self.drive
        if bellows is None or self.tidal_ml is None or self.rate is None:
            return self.fresh
        return self.fresh + bellows(self.tidal_ml, self.rate)


def steps(case: Case, read_at: datetime, bellows: Bellows | None = None) -> tuple[Step, ...]:
    """Fresh oxygen and drive gas together, from each change on; what is set at the reading holds from there.

    A mask's flow is of the same flowmeter: it stands in place of what was set before, until the mask ends. Drive gas counts
    while the ventilator runs. `bellows` gives what one would take [L/min] where nobody said what the ventilator takes.
    """
    found: list[Step] = []
    for at, flow in _since(case, read_at):
        l_min = flow.l_min(bellows)
        if not found or found[-1].l_min != l_min:
            found.append(Step(at, l_min))
    return tuple(found)


def fresh_flow(case: Case) -> Decimal:
    """Oxygen on the flowmeter now [L/min], by mask or into the system; 0 while none is charted."""
    return _now(case).fresh


def drive_of(case: Case) -> Decimal | None:
    """What this machine's ventilator takes [L/min]: the last answer, until another is given. None while nobody has said."""
    return _now(case).drive


def ventilator_runs(case: Case) -> bool:
    return _now(case).running


def ventilated(case: Case) -> bool:
    """A ventilator runs, or drive gas was read for one that will."""
    if case.last(ev.VentilationSet) is not None:
        return ventilator_runs(case)
    return bool(drive_of(case))


def drive_unknown(case: Case, since: datetime, until: datetime) -> bool:
    """A ventilator ran at some time between the two and nobody had said what it takes."""
    return any(flow.drive_unknown for _, flow in _between(case, since, until))


def bellows_known(case: Case, since: datetime, until: datetime) -> bool:
    """Breath and rate are charted wherever the drive is not known: what a bellows would have taken can be worked out."""
    return all(
        flow.tidal_ml is not None and flow.rate is not None
        for _, flow in _between(case, since, until)
        if flow.drive_unknown
    )


def uncharted(case: Case, since: datetime, until: datetime) -> tuple[tuple[datetime, datetime], ...]:
    """From when to when a mask, a tube or an agent was on and no flow is charted."""
    states = _between(case, since, until)
    ends = [at for at, _ in states[1:]] + [until]
    found: list[tuple[datetime, datetime]] = []
    for (at, flow), end in zip(states, ends, strict=True):
        if not flow.uncharted or end <= at:
            continue
        if found and found[-1][1] == at:
            found[-1] = (found[-1][0], end)
        else:
            found.append((at, end))
    return tuple(found)


def _between(case: Case, since: datetime, until: datetime) -> list[tuple[datetime, _Flow]]:
    return [(at, flow) for at, flow in _since(case, since) if at <= until]


def _now(case: Case) -> _Flow:
    now = _Flow()
    for event in _changes(case):
        now = _after(now, event)
    return now


def _since(case: Case, moment: datetime) -> list[tuple[datetime, _Flow]]:
    """How it stood at the moment, and after each change since."""
    now, found, before = _Flow(), [], _Flow()
    for event in _changes(case):
        now = _after(now, event)
        if event.happened_at <= moment:
            before = now
        else:
            found.append((event.happened_at, now))
    return [(moment, before), *found]


def _changes(case: Case) -> Iterable[ev.Event]:
    kinds = (ev.OxygenRead, ev.GasSet, ev.VentilationSet, ev.PreoxygenationBegan, ev.PreoxygenationEnded,
             ev.MachineAssigned, ev.VaporiserSet, ev.TubePlaced, ev.Extubated, ev.TimeMarked)  # fmt: skip
    return sorted((e for kind in kinds for e in case.live(kind)), key=lambda e: (e.happened_at, e.recorded_at, e.id))


def _after(flow: _Flow, event: ev.Event) -> _Flow:
    match event:
        case ev.OxygenRead() if event.use != "standing by" and event.drive_l_min is not None:
            return replace(flow, drive=event.drive_l_min)  # an empty answer takes nothing back: only 0 does
        case ev.GasSet():
            return replace(flow, gas=event.oxygen_l_min, mask=None)
        case ev.VentilationSet():
            return replace(flow, running=event.mode == "ventilator", tidal_ml=event.tidal_ml, rate=event.rate)
        case ev.PreoxygenationBegan():
            return replace(flow, masked=True, mask=flow.mask if event.flow_l_min is None else event.flow_l_min)
        case ev.PreoxygenationEnded():
            return replace(flow, masked=False, mask=None)
        case ev.MachineAssigned():
            other = flow.machine not in ("", event.machine)
            return replace(flow, machine=event.machine, drive=None if other else flow.drive)
    return _after_tube(flow, event)


def _after_tube(flow: _Flow, event: ev.Event) -> _Flow:
    match event:
        case ev.VaporiserSet():
            return replace(flow, agent=event.percent > 0)
        case ev.TubePlaced() | ev.TimeMarked(mark="intubated"):
            return replace(flow, tubed=True)
        case ev.Extubated() | ev.TimeMarked(mark="extubated"):
            return replace(flow, tubed=False, agent=False)
        case ev.TimeMarked(mark="agent off"):
            return replace(flow, agent=False)
    return flow
