"""An order as the formulary prepares it for this animal from this hospital's shelf: what decide holds entries against."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case.animal import conditions
from spiracle.case.events import DrugOrdered, VialPicked
from spiracle.case.fold import Case
from spiracle.case.moments import moments
from spiracle.case.standing import dosing_weight_kg, orders, species, troubled, weight_in_use
from spiracle.drugs import DosingWeight, OrderedDose, Prepared, Stock, prepare
from spiracle.drugs.together import prepare_all
from spiracle.quantity import Quantity
from spiracle.refusals import Missing

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def shelf(facts: Facts) -> Stock:
    """Spiracle's own list with the hospital's strengths and syringes laid over it."""
    own = {facts.drugs.drug(d.drug).id: d.strengths for d in facts.hospital.drugs}
    return facts.drugs.stock().over(own, facts.hospital.barrels, facts.hospital.name)


def dosing_weight(case: Case) -> DosingWeight:
    """The weight doses are worked on, or a refusal: nothing is assumed."""
    kg, weight = dosing_weight_kg(case), weight_in_use(case)
    if kg is None:
        raise Missing("weight", "is not known, so no dose can be held against its limits.", "Weigh the patient first.")
    return DosingWeight(kg, estimated=weight is None or (weight.estimated and kg == weight.kg))


def vial_of(case: Case, order: DrugOrdered) -> str:
    """The strength in the hand: the vial picked for the order, else the one named in it."""
    picked = [p for p in case.live(VialPicked) if p.order == order.order]
    return picked[-1].concentration if picked else order.concentration


def ordered_dose(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> OrderedDose:
    kind = species(case)
    if kind is None:
        raise Missing("species", "is not known.", "Open the case with a species.")
    return OrderedDose(
        drug=order.drug,
        species=kind,
        purpose=order.purpose,
        route=order.route,
        low=Quantity.of(order.low, order.unit),
        high=Quantity.of(order.high, order.unit),
        row=order.row,
        strength=vial_of(case, order),
        conditions=tuple(sorted(conditions(case, facts, at) | moments(case, order, facts, at))),
        over_hard_by=order.over_hard_by,
        reason=order.reason,
        urgent=troubled(case),
    )


def prepared(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> Prepared:
    """The order made ready; its refusal, if it has one, stands in the answer. A dose that has to be diluted is diluted as
    the plan shows it: in the recipe it shares with the other orders that stand."""
    asked, weight, stock = ordered_dose(case, order, facts, at), dosing_weight(case), shelf(facts)
    own = prepare(asked, weight, stock, facts.drugs)
    if own.dilution is None or own.rate is not None:
        return own
    others = [o for o in orders(case) if o.order != order.order]
    every = [asked, *(ordered_dose(case, o, facts, at) for o in others)]
    return prepare_all(every, weight, stock, facts.drugs)[0][0]
