"""What else is on board when a drug is ordered or given: the case's other orders and what went in say it, nothing else does.

These are conditions of the moment, not of the animal: a premedication makes an induction dose another one, an NSAID given
makes a second one wrong.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from spiracle.case.events import DrugGiven, DrugOrdered
from spiracle.case.fold import Case
from spiracle.case.standing import given, orders
from spiracle.refusals import Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

KETAMINE, OPIOID = timedelta(minutes=40), timedelta(minutes=240)
ON_BOARD: tuple[tuple[str, str, timedelta | None], ...] = (
    ("alpha-2 agonist", "alpha2-on-board", None),
    ("full mu opioid", "full-mu-opioid-recent", OPIOID),
    ("NSAID", "nsaid-recent", None),
)


def moments(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> frozenset[str]:
    """Condition ids of the moment for one order, as of `at`."""
    others = [o for o in orders(case) if o.order != order.order]
    pushes = [g for g in given(case) if g.order != order.order or not g.order]
    own, purpose = _drug(order.drug, facts), _purpose(order.purpose, facts)
    found = set(_on_board(own, {_drug(o.drug, facts) for o in others}, pushes, facts, at))
    if purpose == "induction":
        sedated = pushes or any(_purpose(o.purpose, facts) in {"premedication", "sedation"} for o in others)
        found.add("premedicated" if sedated else "no premedication")
    if purpose == "maintenance":
        found.add("under anaesthesia")
    return frozenset(found)


def _on_board(own: str, ordered: set[str], pushes: Iterable[DrugGiven], facts: Facts, at: datetime) -> Iterable[str]:
    went_in = [(_drug(g.drug, facts), g.happened_at) for g in pushes]

    def had(drugs: set[str], within: timedelta | None) -> bool:
        return any(drug in drugs and (within is None or at - when <= within) for drug, when in went_in)

    for group, condition, within in ON_BOARD:
        members = set(facts.drugs.classes.get(group, ())) - {own}
        if members & ordered or had(members, within):
            yield condition
    if own != "acepromazine" and ("acepromazine" in ordered or had({"acepromazine"}, None)):
        yield "acepromazine-on-board"
    if had({"ketamine"}, KETAMINE):  # an order has no time yet, so it cannot be "recent"
        yield "ketamine-recent"


def _drug(name: str, facts: Facts) -> str:
    try:
        return facts.drugs.drug(name).id
    except Unknown:
        return ""


def _purpose(word: str, facts: Facts) -> str:
    try:
        return facts.drugs.purpose(word)
    except Unknown:
        return ""
