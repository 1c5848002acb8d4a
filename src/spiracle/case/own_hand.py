"""Far over a stop: a push that only a veterinarian's own hand may enter.

A word with a name and a reason passes a stop. Anybody can type a name, though, and ten times too much looks like any other
push; so beyond twice the stop the veterinarian acts. Emergencies are exempt: nothing there waits for a hand.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case.decide_people import own_hand
from spiracle.case.limits import row_for
from spiracle.case.prepared import dosing_weight
from spiracle.case.standing import species, troubled
from spiracle.drugs import DoseRow, DosingWeight, in_unit
from spiracle.quantity import Quantity
from spiracle.refusals import Refusal, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case import events as ev
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case

HEAVIEST = {"dog": Decimal(100), "cat": Decimal(12)}  # what stands for a weight that nobody told: a stop of the largest


def push(case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, amount: Quantity, facts: Facts) -> None:
    """This push by itself against twice every stop of its row; one that fits no row against the drug's highest stop. Sums over
    the case stay a matter of a word with a reason."""
    if event.by == event.said_by or troubled(case):
        return
    try:
        weight = dosing_weight(case)
    except Refusal:
        weight = DosingWeight(HEAVIEST[str(species(case))], estimated=True)
    for row in _rows(case, event, order, weight, facts):
        for stop in row.stops:
            if stop.ask or stop.basis == "rate":
                continue
            try:
                at = in_unit(amount, stop.at.unit, weight.kg)
            except UnlikeUnits:
                continue
            own_hand(event.by, event.said_by, at, stop.at)


def _rows(
    case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, weight: DosingWeight, facts: Facts
) -> tuple[DoseRow, ...]:
    try:
        row = row_for(case, event, order, facts, weight)
    except Refusal:
        every = [r for r in facts.drugs.every(event.drug, str(species(case))) if r.pick != "never" and not r.infusion]
        kind = [r for r in every if (_top(r, weight, event) is not None)]
        return (max(kind, key=lambda r: _top(r, weight, event) or Decimal(0)),) if kind else ()
    return () if row.emergency else (row,)


def _top(row: DoseRow, weight: DosingWeight, event: ev.DrugGiven) -> Decimal | None:
    """The amount at which a row stops, in the push's own unit."""
    stop = row.lowest(weight.kg)
    if stop is None:
        return None
    try:
        return in_unit(stop.at, Quantity.of(1, event.unit).unit, weight.kg).value
    except (UnlikeUnits, Refusal):
        return None
