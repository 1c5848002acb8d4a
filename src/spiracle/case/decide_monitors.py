"""Which monitor is on which patient: a person says so, having seen it; one monitor is on one patient at a time (D7)."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_people import need_words
from spiracle.case.fold import Case
from spiracle.case.pairing import paired_now
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.standing import ended_at
from spiracle.refusals import AskAgain, Contradiction, NotAllowed, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def monitor_paired(case: Case, event: ev.MonitorPaired, facts: Facts, _now: datetime) -> None:
    """Refused while another open case has it. What names another patient of the house is asked about."""
    need_words(event.monitor, "monitor", "Name the monitor by its id.")
    if ended_at(case) is not None:
        raise NotAllowed("monitor", "the case is over: nothing is measured on it.", "Pair it in the next case.")
    taken = next((other for other in facts.other_cases if event.monitor in other.monitors), None)
    if taken is not None:
        raise Contradiction("monitor", f"{event.name or event.monitor} is on {taken.words}.",
                            "Take it off there first, or pair another one.")  # fmt: skip
    with asking(event):
        named = next((o for o in facts.other_cases if o.number and _names(event.patient, o.number)), None)
        if named is not None:
            raise AskAgain("monitor", f"names {event.patient}: that is {named.words}.",
                           "Clear the patient on the monitor, or confirm that this animal lies on it.")  # fmt: skip


def _names(patient: str, number: str) -> bool:
    """Whether what a monitor says of its patient has a number in it as a whole."""
    return f" {' '.join(number.casefold().split())} " in f" {' '.join(patient.casefold().split())} "


def monitor_unpaired(case: Case, event: ev.MonitorUnpaired, _facts: Facts, _now: datetime) -> None:
    if paired_now(case, event.monitor) is None:
        raise Unknown("monitor", f"{event.monitor[:60]!r} is not on this patient.", "Choose one that is.")


RULES: Rules = {ev.MonitorPaired: monitor_paired, ev.MonitorUnpaired: monitor_unpaired}
