"""What else is on board when a drug is given: the plan's other orders and what was given say it, nothing else does.

These are conditions of the moment, not of the animal: a premedication makes an induction dose another one, an alpha-2
agonist changes what an anticholinergic does.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from spiracle.case.facts import Facts
from spiracle.refusals import Unknown
from spiracle.sheets.plan_request import OrderAsked, PlanRequest

KETAMINE_MINUTES = Decimal(40)
OPIOID_MINUTES = Decimal(240)
ON_BOARD = (
    ("alpha-2 agonist", "alpha2-on-board", None),
    ("full mu opioid", "full-mu-opioid-recent", OPIOID_MINUTES),
    ("NSAID", "nsaid-recent", None),
)


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
    own = _drug(order.drug, facts)
    ordered = {_drug(o.drug, facts) for o in others} - {own}
    for group, condition, within in ON_BOARD:
        members = set(facts.drugs.classes.get(group, ())) - {own}
        if members & ordered or _given(members, within, request):
            yield condition
    if "acepromazine" in ordered or _given({"acepromazine"}, None, request):
        yield "acepromazine-on-board"
    if _given({"ketamine"}, KETAMINE_MINUTES, request):  # an order has no time yet, so it can't be "recent"
        yield "ketamine-recent"


def _given(drugs: set[str], within: Decimal | None, request: PlanRequest) -> bool:
    return any(g.drug in drugs and (within is None or g.minutes is None or g.minutes <= within) for g in request.given)


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
