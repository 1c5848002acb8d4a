"""Lists read aloud, the machine and the oxygen: one line at a time, nothing passed over in silence."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.breathing import Cylinder, check_cylinder, lists
from spiracle.breathing.oxygen import ask_unit
from spiracle.case import events as ev
from spiracle.case.decide_machine import known_machine
from spiracle.case.decide_people import need_words, person
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.machines import day_of, unready
from spiracle.case.oxygen import in_use, source_of, supply_of
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.standing import dosing_weight_kg, troubled
from spiracle.quantity import figure
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

VALVE_LAST = ("machine", "patient")


def check_line_done(case: Case, event: ev.CheckLineDone, facts: Facts, _now: datetime) -> None:
    """The next line, or one that was read before. The relief valve stands last and is never passed over."""
    order = [row.id for row in lists(facts.breathing, event.list)]
    if event.line not in order:
        raise Unknown("line", f"{event.line!r} is not on the {event.list} list.", "Read the list as it stands.")
    read_before = {c.line for c in case.live(ev.CheckLineDone) if c.list == event.list}
    following = next((line for line in order if line not in read_before), None)
    if event.line != following and event.line not in read_before:
        raise Contradiction("line", f"{following} comes first.", "Read it, or skip it with a reason.")
    if event.outcome != "done":
        need_words(
            event.detail, "detail", "Say in a few words why." if event.outcome == "skipped" else "Say what is wrong."
        )
        if event.line == order[-1] and event.list in VALVE_LAST and event.outcome == "skipped":
            raise NotAllowed("line", "the relief valve is never skipped.", "Look: is it OPEN?")
    if event.spoken_by:
        person(facts, event.spoken_by, "spoken by")


def machine_assigned(case: Case, event: ev.MachineAssigned, facts: Facts, _now: datetime) -> None:
    """A9, A19: a machine that was not checked today, or has an open fault, is asked about; in trouble a yes is enough."""
    known_machine(facts, event.machine)
    inside("bag", event.bag_ml)
    if event.circuit:
        with asking(event):
            _serves(case, event.circuit, facts)
    asked = unready(facts.machines, facts, event.machine, day_of(event.happened_at, facts))
    for says in asked:
        with asking(event):
            raise AskAgain("machine", says, "Read its list, take another machine, or confirm it with a reason.")
    if asked and not troubled(case):
        need_words(event.reason, "reason", "Say in a few words why this machine is taken as it is.")


def _serves(case: Case, name: str, facts: Facts) -> None:
    """A system that no source takes for so small an animal is asked about; one that is large for its gas costs gas, no harm."""
    circuit, kg = facts.breathing.circuit(name), dosing_weight_kg(case)
    if kg is None:
        return
    least = Decimal(facts.breathing.setting("band-low").value) if circuit.rebreathing else Decimal(0)
    if kg < max(least, Decimal(circuit.from_kg)):
        raise AskAgain("breathing system", f"a {circuit.name} is not taken for {figure(kg)} kg.",
                       "Take one that serves this weight, or confirm it.")  # fmt: skip


def oxygen_read(case: Case, event: ev.OxygenRead, facts: Facts, _now: datetime) -> None:
    """A cylinder is known by three figures that belong together, a concentrator by two: with one missing, nothing could be told."""
    inside("drive gas", event.drive_l_min)
    inside("concentrator flow", event.max_l_min)
    inside("concentrator oxygen", event.percent)
    if event.source != "concentrator" and (event.max_l_min is not None or event.percent is not None):
        raise Contradiction("oxygen source", f"a {event.source} has no concentrator's figures.", "Choose concentrator.")
    _stands_by(case, event)
    with asking(event):
        supply_of(facts, event, confirmed=False)
    if event.source != "cylinder":
        return
    contents = None if event.contents_l is None else f"{figure(event.contents_l)} L"
    cylinder = Cylinder.read(contents, event.full_pressure, event.gauge)
    check_cylinder(facts.breathing, cylinder)
    with asking(event):
        ask_unit(facts.breathing, cylinder)


def _stands_by(case: Case, event: ev.OxygenRead) -> None:
    """What is counted down does not stand by at the same time. Cylinders without a name cannot be told apart, and pass."""
    if event.use != "standing by":
        return
    if event.drive_l_min:
        raise Contradiction("drive gas", "a supply that stands by drives nothing.", "Leave it out, or choose in use.")
    used = in_use(case)
    if used is None or (event.source == "cylinder" and not event.cylinder):
        return
    if source_of(event) == source_of(used):
        name = f"{event.source} {event.cylinder}".rstrip()
        raise Contradiction("use", f"{name} is the supply in use.", "Read first what is in use now, or choose in use.")


def monitors_applied(_case: Case, event: ev.MonitorsApplied, _facts: Facts, _now: datetime) -> None:
    if not event.monitors:
        raise Missing("monitors", "none is named.", "Name those that are on and working.")


RULES: Rules = {
    ev.CheckLineDone: check_line_done,
    ev.MachineAssigned: machine_assigned,
    ev.OxygenRead: oxygen_read,
    ev.MonitorsApplied: monitors_applied,
}
