"""The machine's own book: lines read once a day, leak tests, faults. It belongs to the house, not to a patient."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_people import need_words
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.machines import LEAK_LINE, DayCheck, day_check, day_of, leak_found, machine_book
from spiracle.case.ruling import Rules
from spiracle.quantity import figure
from spiracle.refusals import Contradiction, Missing, NotAllowed, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def known_machine(facts: Facts, name: str) -> None:
    need_words(name, "machine", "Name the machine.")
    known = facts.hospital.machines
    if known and name not in known:
        raise Unknown("machine", f"{name!r} is not a machine of this hospital.", "One of: " + ", ".join(known) + ".")


def machine_line_done(ledger: Case, event: ev.MachineLineDone, facts: Facts, _now: datetime) -> None:
    """A19: the next line of today's order, or one that was read today already; read now, not written up afterwards."""
    known_machine(facts, event.machine)
    day = day_of(event.happened_at, facts)
    if day != day_of(event.recorded_at, facts):
        raise NotAllowed("line", "a day's list is not filled in on another day.", "Read today's list.")
    check = day_check(machine_book(ledger), facts, event.machine, day)
    states = {line.row.id: line.state for line in check.lines}
    if event.line not in states:
        raise Unknown("line", f"{event.line!r} is not on the machine list.", "Read the list as it stands.")
    if states[event.line] == "ahead":
        first = check.following
        raise Contradiction("line", f"{first.row.says if first else 'another line'} comes first today.",
                            "Read it, or skip it with a reason.")  # fmt: skip
    if event.outcome != "done":
        need_words(
            event.detail, "detail", "Say in a few words why." if event.outcome == "skipped" else "Say what is wrong."
        )
        if event.line == check.lines[-1].row.id and event.outcome == "skipped":
            raise NotAllowed("line", "the relief valve is never skipped.", "Look: is it OPEN?")
    elif event.line == LEAK_LINE:
        _leak_was_tested(check)


def _leak_was_tested(check: DayCheck) -> None:
    """The leak line is done when today's book holds a test that not every limit fails."""
    if check.leak is None:
        raise Missing("leak test", f"none of {check.machine} is in today's book.",
                      "Enter the leak test first, or skip the line with a reason.")  # fmt: skip
    if check.leak.fails:
        raise NotAllowed(
            "leak test", "today's is over every limit.", "Mend it and test again, or write the line as a fault."
        )


def machine_leak_tested(_ledger: Case, event: ev.MachineLeakTested, facts: Facts, _now: datetime) -> None:
    known_machine(facts, event.machine)
    if event.circuit:
        facts.breathing.circuit(event.circuit)
    inside("test pressure", event.at_cmh2o)
    inside("test pressure", event.to_cmh2o)
    inside("leak flow", event.flow_ml_min)
    if (event.flow_ml_min is None) == (event.to_cmh2o is None):
        raise Missing("leak test", "is a flow, or a fall of pressure: one of the two.",
                      "Give the flow that holds the pressure, or the pressure it fell to and in how many seconds.")  # fmt: skip
    if event.flow_ml_min is not None and event.seconds is not None:
        raise Contradiction("leak test", "a flow has no time of a fall.", "Give one of the two ways.")
    own = next((m.wall_ml_cmh2o for m in facts.hospital.machine_figures if m.name == event.machine), None)
    if event.bag_on and own is not None and event.wall_ml_cmh2o is not None and event.wall_ml_cmh2o <= own:
        raise Contradiction("leak test, hoses and bag", f"{figure(own)} mL/cmH2O is this machine's figure without a bag.",
                            "Give hoses and bag together, or take the bag off.")  # fmt: skip
    leak_found(event, facts)


def machine_fault_found(ledger: Case, event: ev.MachineFaultFound, facts: Facts, _now: datetime) -> None:
    known_machine(facts, event.machine)
    need_words(event.fault, "fault", "Give the fault an id.")
    need_words(event.what, "what", "Say what is wrong.")
    if any(f.fault == event.fault for f in ledger.live(ev.MachineFaultFound)):
        raise Contradiction("fault", f"{event.fault} is noted already.", "Give a new fault a new id.")


def machine_fault_mended(ledger: Case, event: ev.MachineFaultMended, _facts: Facts, _now: datetime) -> None:
    if not any(f.fault == event.fault for f in ledger.live(ev.MachineFaultFound)):
        raise Unknown("fault", f"{event.fault!r} was not found.", "Choose one of the machine's faults.")
    if any(m.fault == event.fault for m in ledger.live(ev.MachineFaultMended)):
        raise Contradiction("fault", f"{event.fault} is mended already.", "Note a new fault if it came back.")
    need_words(event.how, "how", "Say how it was mended.")


RULES: Rules = {
    ev.MachineLineDone: machine_line_done,
    ev.MachineLeakTested: machine_leak_tested,
    ev.MachineFaultFound: machine_fault_found,
    ev.MachineFaultMended: machine_fault_mended,
}
