"""The oxygen supply of a case: what was last read, and what the charted flows take from it since."""

from __future__ import annotations

from collections.abc import Iterable
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


def cylinder_of(read: ev.OxygenRead) -> Cylinder | None:
    """The printed pair and the gauge; None where one is lacking or cannot be read: nothing is assumed in its place."""
    if read.source != "cylinder" or read.contents_l is None:
        return None
    try:
        return Cylinder.read(f"{figure(read.contents_l)} L", read.full_pressure, read.gauge)
    except Refusal:
        return None


def supply_of(facts: Facts, read: ev.OxygenRead) -> Supply:
    """What was read as a supply. Raises Missing for a concentrator without its figures."""
    return Supply.read(
        facts.breathing,
        read.source,
        max_flow=None if read.max_l_min is None else Quantity.of(read.max_l_min, "L/min"),
        percent=None if read.percent is None else Quantity.of(read.percent, "%"),
        confirmed=True,
    )


def ventilated(case: Case) -> bool:
    """A ventilator runs, or drive gas was read for one that will."""
    set_, read = case.last(ev.VentilationSet), case.last(ev.OxygenRead)
    if set_ is not None:
        return set_.mode == "ventilator"
    return read is not None and bool(read.drive_l_min)


@dataclass(frozen=True, slots=True)
class _Flow:
    """Where flowmeter and ventilator stand at a moment."""

    gas: Decimal = NONE
    mask: Decimal | None = None
    running: bool = False
    drive: Decimal = NONE

    @property
    def l_min(self) -> Decimal:
        return (self.gas if self.mask is None else self.mask) + (self.drive if self.running else NONE)


def steps(case: Case, read_at: datetime) -> tuple[Step, ...]:
    """Fresh oxygen and drive gas together, from each change on; what is set at the reading holds from there.

    A mask's flow is of the same flowmeter: it stands in place of what was set before, until the mask ends. Drive gas counts
    while the ventilator runs.
    """
    now, found, before = _Flow(), [], _Flow()
    for event in _changes(case):
        now = _after(now, event)
        if event.happened_at <= read_at:
            before = now
        else:
            found.append(Step(event.happened_at, now.l_min))
    return (Step(read_at, before.l_min), *found)


def _changes(case: Case) -> Iterable[ev.Event]:
    kinds = (ev.OxygenRead, ev.GasSet, ev.VentilationSet, ev.PreoxygenationBegan, ev.PreoxygenationEnded)
    return sorted((e for kind in kinds for e in case.live(kind)), key=lambda e: (e.happened_at, e.recorded_at, e.id))


def _after(flow: _Flow, event: ev.Event) -> _Flow:
    match event:
        case ev.OxygenRead():
            return replace(flow, drive=event.drive_l_min or NONE)
        case ev.GasSet():
            return replace(flow, gas=event.oxygen_l_min, mask=None)
        case ev.VentilationSet():
            return replace(flow, running=event.mode == "ventilator")
        case ev.PreoxygenationBegan() if event.flow_l_min is not None:
            return replace(flow, mask=event.flow_l_min)
        case ev.PreoxygenationEnded():
            return replace(flow, mask=None)
    return flow
