"""What was given and can be reversed by a multiple of what was recorded: never from a volume or a body surface.

Carries U26.
"""

from __future__ import annotations

from collections.abc import Iterable
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
    """A drug on board, all of it that was recorded, how long ago the last of it went in, and what reverses it. `before`: some
    of it was given before this case, as somebody told."""

    of: str
    recorded: Quantity
    minutes: Decimal
    reversal: Reversal
    before: bool = False


@dataclass(frozen=True, slots=True)
class Dose:
    """One dose that went in, here or before this case."""

    amount: Quantity | None
    at: datetime
    before: bool = False


def reversible(case: Case, facts: Facts, now: datetime) -> tuple[Reversible, ...]:
    """Every agonist with a published multiple that was given after its reversal last was; none while no weight is known."""
    try:
        weight = dosing_weight(case)
    except Refusal:
        return ()
    kind, found = str(species(case)), []
    for of in dict.fromkeys(f.of for f in facts.drugs.figures("multiple", kind)):
        back = facts.drugs.drug(of).reversal
        doses = not_reversed(case, of, back, facts)
        recorded = _total(doses)
        if recorded is None:
            continue
        minutes = _minutes(now, max(d.at for d in doses))
        ketamine = [_minutes(now, d.at) for d in went_in(case, "ketamine", facts)]
        worked = reverse(of, recorded, minutes, kind, weight, facts.drugs, ketamine_minutes=min(ketamine, default=None))
        found.append(Reversible(of, recorded, minutes, worked, any(d.before for d in doses)))
    return tuple(found)


def went_in(case: Case, drug: str, facts: Facts) -> tuple[Dose, ...]:
    """Every dose of a drug that was recorded, those of before the case with them, oldest first."""
    here = [Dose(amount_given(g), g.happened_at) for g in given(case) if drug_id(g.drug, facts) == drug]
    ward = [
        Dose(amount_given(b), b.given_at, before=True)
        for b in case.live(ev.GivenBefore)
        if drug_id(b.drug, facts) == drug
    ]
    return tuple(sorted((*here, *ward), key=lambda d: d.at))


def reversed_at(case: Case, back: str, facts: Facts) -> datetime | None:
    """When a reversal last went in."""
    return max((d.at for d in went_in(case, back, facts)), default=None) if back else None


def not_reversed(case: Case, of: str, back: str, facts: Facts) -> tuple[Dose, ...]:
    """The doses that went in after the reversal last did."""
    last = reversed_at(case, back, facts)
    return tuple(d for d in went_in(case, of, facts) if last is None or d.at > last)


def _total(doses: Iterable[Dose]) -> Quantity | None:
    total: Quantity | None = None
    for dose in doses:
        amount = dose.amount
        if amount is None:
            continue
        if total is None:
            total = amount.to("mcg") if amount.unit.dimension == Quantity.of(1, "mcg").unit.dimension else None
        elif amount.unit.dimension == total.unit.dimension:
            total = total + amount
    return total


def _minutes(now: datetime, at: datetime) -> Decimal:
    return Decimal(max(0, (now - at) // MINUTE))
