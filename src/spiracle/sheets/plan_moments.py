"""What else is on board when a drug is given: the plan's other orders and what was given say it, nothing else does.

These are conditions of the moment, not of the animal: a premedication makes an induction dose another one, an alpha-2
agonist changes what an anticholinergic does.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from spiracle.case.facts import Facts
from spiracle.case.moments import on_board
from spiracle.refusals import Unknown
from spiracle.sheets.plan_request import OrderAsked, PlanRequest


def moments(order: OrderAsked, request: PlanRequest, facts: Facts) -> frozenset[str]:
    """Condition ids of the moment for one order."""
    purpose = _purpose(order.purpose, facts)
    others = [o for o in request.orders if o is not order]
    found = set(_on_board(order, others, request, facts))
    if purpose == "induction":
        sedated = any(_purpose(o.purpose, facts) in {"premedication", "sedation"} for o in others) or bool(
            request.given
        )
        found.add("premedicated" if sedated else "no premedication")
    if purpose == "maintenance":
        found.add("under anaesthesia")
    return frozenset(found)


def _on_board(order: OrderAsked, others: Iterable[OrderAsked], request: PlanRequest, facts: Facts) -> Iterable[str]:
    """A drug of which nobody said when counts as just given."""
    own = _drug(order.drug, facts)
    ordered = {_drug(o.drug, facts) for o in others} - {own}
    went = [(g.drug, Decimal(0) if g.minutes is None else g.minutes) for g in request.given]
    return on_board(own, ordered, went, facts)


def _drug(name: str, facts: Facts) -> str:
    try:
        return facts.drugs.drug(name).id
    except Unknown:  # refused in its own line
        return ""


def _purpose(word: str, facts: Facts) -> str:
    try:
        return facts.drugs.purpose(word)
    except Unknown:
        return ""
