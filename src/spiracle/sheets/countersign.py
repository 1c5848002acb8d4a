"""Orders that wait for the hand of the veterinarian whose word they are: said aloud, or entered for them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from itertools import groupby

from spiracle.case.events import DrugOrdered, PlanApproved
from spiracle.case.signing import waiting, waits_for
from spiracle.sheets.names import capital, joined
from spiracle.sheets.shapes import Due
from spiracle.sheets.told import Told

WITHIN = timedelta(hours=1)  # our own choice: soon, and behind what the animal needs


def to_be_signed(t: Told, order: DrugOrdered | None) -> str:
    """What a line of the plan says of an order that nobody signed for yet; empty where somebody did."""
    vet = "" if order is None else waits_for(t.case, order, t.facts)
    return f"to be countersigned by {t.names.hand(vet)}" if vet else ""


def _owed(t: Told, order: DrugOrdered) -> bool:
    begun = any(g.order == order.order for g in t.given) or any(i.started.order == order.order for i in t.infusions)
    return begun or order.given_as == "oral" or t.case.last(PlanApproved) is not None


def due_signatures(t: Told) -> Iterable[Due]:
    """One line for each veterinarian: which orders wait for their signature, and since when.

    While no plan is signed, what was entered as written and not begun waits for that signature: the draft says so already.
    """
    found = sorted((pair for pair in waiting(t.case, t.facts) if _owed(t, pair[0])), key=lambda pair: pair[1])
    for vet, group in groupby(found, key=lambda pair: pair[1]):
        orders = [order for order, _ in group]
        first = min(o.happened_at for o in orders)
        oral = sum(o.given_as == "oral" for o in orders)
        many = "1 order waits" if len(orders) == 1 else f"{len(orders)} orders wait"
        names = joined(dict.fromkeys(capital(t.names.drug(o.drug)) for o in orders))
        yield Due(
            id=f"countersign {vet}",
            title=f"{many} for {t.names.hand(vet)} to sign",
            detail=joined((names, f"{oral} said aloud" if oral else "")),
            at=first + WITHIN,
            from_at=first,
            phase="plan",
        )
