"""Infusions and fluids that run: a known drug, a rate a pump can have, a dose rate that agrees with it, an order behind it."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_orders import standing_order
from spiracle.case.decide_people import need_words
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight
from spiracle.case.ruling import Rules
from spiracle.case.standing import dosing_weight_kg, is_emergency, species
from spiracle.case.syringes import Infusion, infusions
from spiracle.drugs import amount_of, dose_rate_of
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import Contradiction, Missing, OverLimit, Unknown, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

SAME = Decimal("0.02")  # a pump shows tenths of a mL/h and a dose rate three digits


def infusion_started(case: Case, event: ev.InfusionStarted, facts: Facts, _now: datetime) -> None:
    need_words(event.infusion, "infusion", "Give the infusion an id.")
    if any(i.started.infusion == event.infusion for i in infusions(case)):
        raise Contradiction("infusion", f"{event.infusion} was started already.", "Change its rate, or start another.")
    inside("pump rate", event.rate_ml_h)
    facts.drugs.drug(event.drug, species(case))
    order = standing_order(case, event.order, event.drug, facts) if event.order else None
    _rates_agree(case, event.rate_ml_h, event.dose_rate, event.dose_unit, event.concentration)
    if is_emergency(case):
        return
    if event.fluid:
        _fluid_rate(case, event.rate_ml_h, order, facts)
        return
    if order is None and not facts.hospital.is_veterinarian(event.by):
        raise Missing("order", f"no order of {event.drug} is named.", "Name the order.")
    if order is not None:
        _within(case, event.rate_ml_h, event.concentration, order)


def infusion_changed(case: Case, event: ev.InfusionChanged, facts: Facts, _now: datetime) -> None:
    found = _running(case, event.infusion, event.happened_at)
    inside("pump rate", event.rate_ml_h)
    started = found.started
    _rates_agree(case, event.rate_ml_h, event.dose_rate, event.dose_unit, started.concentration)
    if is_emergency(case):
        return
    order = standing_order(case, started.order, started.drug, facts) if started.order else None
    if started.fluid:
        _fluid_rate(case, event.rate_ml_h, order, facts)
    elif order is not None:
        _within(case, event.rate_ml_h, started.concentration, order)


def infusion_stopped(case: Case, event: ev.InfusionStopped, _facts: Facts, _now: datetime) -> None:
    _running(case, event.infusion, event.happened_at)


def _running(case: Case, name: str, at: datetime) -> Infusion:
    found = next((i for i in reversed(infusions(case)) if i.started.infusion == name), None)
    if found is None:
        raise Unknown("infusion", f"{name!r} was not started.", "Choose a running infusion.")
    if found.stopped is not None:
        raise Contradiction("infusion", f"{name} was stopped.", "Start it again as a new one.")
    if at < found.started.happened_at:
        raise Contradiction("infusion", f"{name} had not begun then.", "Give the time it happened.")
    return found


def _rates_agree(case: Case, ml_h: Decimal, dose_rate: Decimal | None, unit: str, holds: str) -> None:
    """The dose rate is worked again from the pump's rate, the strength and the weight."""
    if dose_rate is None:
        return
    if not unit:
        raise Missing("dose unit", "is not given.", "Give it, like mcg/kg/min.")
    told = Quantity.of(dose_rate, unit)
    strength = read(holds, "concentration", "concentration") if holds else None
    try:
        worked = dose_rate_of(Quantity.of(ml_h, "mL/h"), dosing_weight(case), strength, told.unit)
    except UnlikeUnits as unlike:
        raise UnlikeUnits("dose rate", f"{told} does not follow from {figure(ml_h)} mL/h of {holds or 'no strength'}.",
                          "Give strength and dose rate in one kind.") from unlike  # fmt: skip
    if abs(worked.value - dose_rate) > worked.value * SAME:
        raise Contradiction("dose rate", f"{figure(ml_h)} mL/h gives {figure(worked.value, 4)} {worked.unit}, not {told}.",
                            "Look at the pump again.")  # fmt: skip


def _within(case: Case, ml_h: Decimal, holds: str, order: ev.DrugOrdered) -> None:
    """Not faster than ordered; a hundredth is left for what a pump can be set to."""
    weight = dosing_weight(case)
    top = amount_of(Quantity.of(order.high, order.unit), weight.kg)
    if not any(s in {"h", "min"} for s, _ in top.unit.parts):
        return  # an order without a rate is held against when it is given as a push
    rate = Quantity.of(ml_h, "mL/h")
    try:
        runs = rate * read(holds, "concentration", "concentration") if holds else rate
        runs = runs.to(top.unit)
    except UnlikeUnits as unlike:
        raise UnlikeUnits("concentration", f"{holds or 'no strength'} does not give {top.unit}.",
                          "Say what the syringe or bag holds.") from unlike  # fmt: skip
    if runs.value > top.value * Decimal("1.01"):
        raise OverLimit("rate", f"{figure(ml_h)} mL/h is {figure(runs.value, 4)} {runs.unit}, over the ordered "
                        f"{figure(top.value, 4)} {top.unit}.", "Run it slower, or have it ordered anew.")  # fmt: skip


def _fluid_rate(case: Case, ml_h: Decimal, order: ev.DrugOrdered | None, facts: Facts) -> None:
    """A fluid without an order keeps to the ceiling of a rate; with one, to the order."""
    kg = dosing_weight_kg(case)
    if order is not None:
        _within(case, ml_h, "", order)
        return
    if kg is None:
        raise Missing("weight", "is not known, so no rate can be held against its ceiling.", "Weigh the patient first.")
    top = facts.circulation.rate_ceiling(str(species(case)), kg).value
    if Quantity.of(ml_h, "mL/h") > top:
        raise OverLimit("rate", f"{figure(ml_h)} mL/h is over {figure(top.value, 4)} {top.unit}.",
                        "Run it slower, or name the order for more.")  # fmt: skip


RULES: Rules = {
    ev.InfusionStarted: infusion_started,
    ev.InfusionChanged: infusion_changed,
    ev.InfusionStopped: infusion_stopped,
}
