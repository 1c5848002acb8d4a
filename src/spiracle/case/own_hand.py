"""Far over a stop: a push that only a veterinarian's own hand may enter.

A word with a name and a reason passes a stop. Anybody can type a name, though, and ten times too much looks like any other
push; so beyond twice the stop the veterinarian acts. Emergencies are exempt: nothing there waits for a hand.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case.decide_people import OWN_HAND, TWICE
from spiracle.case.limits import row_for, under_stops
from spiracle.case.prepared import dosing_weight
from spiracle.case.standing import species
from spiracle.drugs import DoseRow, DosingWeight, in_unit
from spiracle.quantity import Quantity
from spiracle.refusals import OverLimit, Refusal, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case import events as ev
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case

HEAVIEST = {"dog": Decimal(100), "cat": Decimal(12)}  # what stands for a weight that nobody told: a stop of the largest


def push(case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, amount: Quantity, facts: Facts) -> None:
    """The sum with this push against twice every stop of its row; a push that fits no row against the drug's highest stop."""
    if event.by == event.said_by:
        return
    try:
        weight = dosing_weight(case)
    except Refusal:
        weight = DosingWeight(HEAVIEST[str(species(case))], estimated=True)
    for row in _rows(case, event, order, weight, facts):
        doubled = replace(row, stops=tuple(replace(s, at=Quantity(s.at.value * TWICE, s.at.unit)) for s in row.stops))
        try:
            under_stops(case, event, amount, doubled, weight, facts)
        except OverLimit as over:
            said = over.says.split(", over the")[0].rstrip(".")
            raise OverLimit(over.field, f"{said}, more than twice the hard stop.", OWN_HAND) from over


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
