"""The machine's own book: lines read once a day, leak tests, faults. It belongs to the house, not to a patient."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.breathing import lists
from spiracle.case import events as ev
from spiracle.case.decide_people import need_words
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules
from spiracle.refusals import Contradiction, Missing, NotAllowed, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def known_machine(facts: Facts, name: str) -> None:
    need_words(name, "machine", "Name the machine.")
    known = facts.hospital.machines
    if known and name not in known:
        raise Unknown("machine", f"{name!r} is not a machine of this hospital.", "One of: " + ", ".join(known) + ".")


def machine_line_done(_ledger: Case, event: ev.MachineLineDone, facts: Facts, _now: datetime) -> None:
    known_machine(facts, event.machine)
    order = [row.id for row in lists(facts.breathing, "machine")]
    if event.line not in order:
        raise Unknown("line", f"{event.line!r} is not on the machine list.", "Read the list as it stands.")
    if event.outcome != "done":
        need_words(
            event.detail, "detail", "Say in a few words why." if event.outcome == "skipped" else "Say what is wrong."
        )
        if event.line == order[-1] and event.outcome == "skipped":
            raise NotAllowed("line", "the relief valve is never skipped.", "Look: is it OPEN?")


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
    if event.to_cmh2o is not None and event.to_cmh2o > event.at_cmh2o:
        raise Contradiction("leak test", "the pressure rose.", "Read both pressures again.")


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
