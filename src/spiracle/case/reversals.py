"""What was given and can be reversed by a multiple of what was recorded: never from a volume or a body surface.

Carries U26.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight
from spiracle.case.pushes import amount_given, drug_id
from spiracle.case.standing import given, species
from spiracle.drugs import Reversal, reverse
from spiracle.quantity import Quantity
from spiracle.refusals import Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Reversible:
    """A drug on board, all of it that was recorded, how long ago the last of it went in, and what reverses it."""

    of: str
    recorded: Quantity
    minutes: Decimal
    reversal: Reversal


def reversible(case: Case, facts: Facts, now: datetime) -> tuple[Reversible, ...]:
    """Every agonist with a published multiple that was given after its reversal last was; none while no weight is known."""
    try:
        weight = dosing_weight(case)
    except Refusal:
        return ()
    kind, found = str(species(case)), []
    for of in dict.fromkeys(f.of for f in facts.drugs.figures("multiple", kind)):
        back = facts.drugs.drug(of).reversal
        pushes = _since(case, of, back, facts)
        recorded = _total(pushes)
        if recorded is None:
            continue
        minutes = _minutes(now, pushes[-1].happened_at)
        ketamine = [_minutes(now, g.happened_at) for g in given(case) if drug_id(g.drug, facts) == "ketamine"]
        worked = reverse(of, recorded, minutes, kind, weight, facts.drugs, ketamine_minutes=min(ketamine, default=None))
        found.append(Reversible(of, recorded, minutes, worked))
    return tuple(found)


def _since(case: Case, of: str, back: str, facts: Facts) -> list[ev.DrugGiven]:
    reversed_at = [g.happened_at for g in given(case) if drug_id(g.drug, facts) == back]
    last = max(reversed_at, default=None)
    return [g for g in given(case) if drug_id(g.drug, facts) == of and (last is None or g.happened_at > last)]


def _total(pushes: list[ev.DrugGiven]) -> Quantity | None:
    amounts = [a for g in pushes if (a := amount_given(g)) is not None]
    total: Quantity | None = None
    for amount in amounts:
        if total is None:
            total = amount.to("mcg") if amount.unit.dimension == Quantity.of(1, "mcg").unit.dimension else None
        elif amount.unit.dimension == total.unit.dimension:
            total = total + amount
    return total


def _minutes(now: datetime, at: datetime) -> Decimal:
    return Decimal(max(0, (now - at) // MINUTE))
