"""Fluids given and lost: a fluid the formulary knows, in the sum that may be given before somebody is asked again.

Crystalloid goes by that sum alone. Blood, colloid and strong salt need an order, a veterinarian's hand or word, and keep
to the stops of their own rows.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.by_vein import bolus_beside_bag
from spiracle.case.decide_orders import standing_order
from spiracle.case.decide_people import said
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight
from spiracle.case.questions import asks_instead
from spiracle.case.ruling import Rules
from spiracle.case.running import FLUID_GROUPS, PLAIN, ROUNDED, is_drug, per_time, told, urgent
from spiracle.case.standing import species
from spiracle.drugs import Drug, amount_of, in_unit
from spiracle.drugs.rows import Stop
from spiracle.quantity import Quantity, unit
from spiracle.refusals import Contradiction, Missing, OutOfRange, OverLimit, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

LESS = "Give less, or name the veterinarian and the reason."


def fluid_given(case: Case, event: ev.FluidGiven, facts: Facts, _now: datetime) -> None:
    """What is a fluid stands in the formulary; in an emergency no total blocks, but a drug is still no fluid."""
    if event.volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give how much went in.")
    inside("fluid volume", event.volume_ml)
    inside("minutes", event.minutes)
    word = said(facts, event.said_by, event.reason)
    fluid = _fluid(case, event.fluid, facts)
    if word:
        return
    _beside(case, event, facts)
    if urgent(case):
        return
    order = standing_order(case, event.order, event.fluid, facts) if event.order else None
    if order is None and fluid.group != PLAIN and not facts.hospital.is_veterinarian(event.by):
        raise Missing(
            "order", f"no order of {fluid.name} is named.", "Name the order, or the veterinarian who said so and why."
        )
    kg = dosing_weight(case).kg
    alike = [f for f in case.live(ev.FluidGiven) if is_drug(facts, f.fluid, fluid.id)]
    if order is not None and not per_time(unit(order.unit)):
        _ordered(order, event, alike, kg, fluid.name)
    _stops(case, event, fluid, alike, facts, kg)
    before = [f.volume_ml for f in case.live(ev.FluidGiven)]
    facts.circulation.check_bolus(str(species(case)), kg, before, event.volume_ml)


def _beside(case: Case, event: ev.FluidGiven, facts: Facts) -> None:
    """A bolus out of a bag with potassium in it kills faster than what it is given for: also in an emergency it is asked about."""
    if not urgent(case):
        bolus_beside_bag(case, event, facts)
        return
    with asks_instead(event, "Take another bag, or confirm it."):
        bolus_beside_bag(case, event, facts)


def _fluid(case: Case, name: str, facts: Facts) -> Drug:
    listed = ", ".join(d.name for d in facts.drugs.drugs if d.group in FLUID_GROUPS)
    try:
        found = facts.drugs.drug(name, species(case))
    except Unknown as unknown:
        raise Unknown("fluid", f"{name!r} is not a fluid Spiracle knows.", f"One of: {listed}.") from unknown
    if found.group not in FLUID_GROUPS:
        raise Contradiction(
            "fluid", f"{found.name} is a drug, not a fluid.", "Enter it as a drug: mL, strength and order."
        )
    return found


def _sum(alike: Iterable[ev.FluidGiven], event: ev.FluidGiven) -> Quantity:
    return Quantity(sum((f.volume_ml for f in alike), event.volume_ml), unit("mL"))


def _ordered(
    order: ev.DrugOrdered, event: ev.FluidGiven, alike: Iterable[ev.FluidGiven], kg: Decimal, name: str
) -> None:
    """An order of a volume is that volume, however often it is poured."""
    top = amount_of(Quantity.of(order.high, order.unit), kg).to("mL")
    total = _sum((f for f in alike if f.order == order.order), event)
    if total > top:
        raise OverLimit("volume", f"{name} would reach {told(total)}, over the ordered {told(top)}.", LESS)


def _stops(
    case: Case, event: ev.FluidGiven, fluid: Drug, alike: Iterable[ev.FluidGiven], facts: Facts, kg: Decimal
) -> None:
    """The stops of the rows of a fluid that is no crystalloid: its sum, and how fast it goes in where the minutes are told."""
    if fluid.group == PLAIN:
        return
    total = _sum(alike, event)
    for row in facts.drugs.rows(fluid.id, str(species(case))):
        for stop in () if row.infusion else row.stops:
            reached = _reaches(stop, total, event, kg)
            if reached is not None and reached.value > stop.at.value * ROUNDED:
                raise OverLimit("volume", f"{fluid.name} would reach {told(reached)}, over the {stop.words}.", LESS)


def _reaches(stop: Stop, total: Quantity, event: ev.FluidGiven, kg: Decimal) -> Quantity | None:
    """This bolus, or all of them, in the unit of a stop. A day's stop is held against the whole case."""
    if stop.basis == "rate":
        if not event.minutes:
            return None
        return in_unit(Quantity(event.volume_ml / event.minutes, unit("mL/min")), stop.at.unit, kg)
    volume = unit("/".join(s for s, _ in stop.at.unit.parts if s != "day"))
    return Quantity(in_unit(total, volume, kg).value, stop.at.unit)


def fluid_lost(_case: Case, event: ev.FluidLost, _facts: Facts, _now: datetime) -> None:
    if event.volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give how much was lost.")


RULES: Rules = {ev.FluidGiven: fluid_given, ev.FluidLost: fluid_lost}
