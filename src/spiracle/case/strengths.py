"""Strengths that can be in a hand: stocked, listed, drawn in this case, or made up as the plan says.

Carries U9, U10. A strength that nobody stocks or made may be ten times what is in the syringe: it is asked about.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case.events import DrugOrdered
from spiracle.case.fold import Case
from spiracle.case.prepared import prepared, shelf, vial_of
from spiracle.case.pushes import drug_id
from spiracle.case.syringes import syringes
from spiracle.drugs import Drug
from spiracle.quantity import Quantity
from spiracle.refusals import AskAgain, Missing, NotAllowed, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def read_holds(drug: Drug, text: str, facts: Facts, field: str = "concentration") -> Quantity:
    """What each mL holds, with or without the words on the vial."""
    found = facts.drugs.strength(drug, text).quantity
    if found is None:
        raise Missing(
            field, f"{text} has no strength until it is made up.", "Say what it was made up to, like 1 mg/mL."
        )
    return found


def on_the_shelf(drug: Drug, facts: Facts) -> list[Quantity]:
    """Stocked and listed strengths that are for dogs and cats."""
    stocked = facts.drugs.strengths_of(drug, shelf(facts))
    listed = [s for s in (*stocked, *drug.strengths) if not s.trap]
    return [s.quantity for s in listed if s.quantity is not None]


def made_here(case: Case, drug: Drug, order: DrugOrdered | None, facts: Facts, at: datetime) -> list[Quantity]:
    """Drawn syringes of this drug, the vial of the order, and the dilution the plan shows for it."""
    texts = [s.drawn.concentration for s in syringes(case) if drug_id(s.drawn.drug, facts) == drug.id]
    found: list[Quantity] = []
    if order is not None:
        texts.append(vial_of(case, order))
        found += _planned(case, order, facts, at)
    for text in texts:
        quantity = facts.drugs.strength(drug, text).quantity if text else None
        found += [] if quantity is None else [quantity]
    return found


def _planned(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> list[Quantity]:
    try:
        planned = prepared(case, order, facts, at).concentration
    except Refusal:
        return []  # no weight, no plan
    return [] if planned is None else [planned]


def ask_about_strength(drug: Drug, holds: Quantity, able: Iterable[Quantity], field: str) -> None:
    there = list(able)
    if any(holds.unit.dimension == q.unit.dimension and holds.equals(q) for q in there):
        return
    names = ", ".join(dict.fromkeys(str(q) for q in there)) or "none"
    raise AskAgain(field, f"{holds} of {drug.name} is not stocked and was not made up here.",
                   f"Read the label again, or confirm it. There is: {names}.")  # fmt: skip


def not_a_trap(drug: Drug, text: str, facts: Facts, field: str) -> None:
    found = facts.drugs.strength(drug, text)
    if found.trap:
        raise NotAllowed(field, f"{found.printed} is not a vial for dogs and cats.", "Take another vial.")
