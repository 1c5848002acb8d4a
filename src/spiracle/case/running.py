"""What runs now, and how much it comes to: in the unit of an order or of a row, on the weight in use, all pumps together."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import conditions
from spiracle.case.fold import Case
from spiracle.case.standing import dosing_weight_kg, is_emergency, order, species
from spiracle.case.streams import Stream, holds_of, streams, streams_of
from spiracle.case.syringes import Infusion, infusions
from spiracle.drugs import DoseRow, DosingWeight, Drug, OrderedDose, in_unit
from spiracle.drugs.rows import Stop
from spiracle.quantity import Quantity, Unit, figure, unit
from spiracle.refusals import Missing, Refusal, UnlikeUnits

if TYPE_CHECKING:
    from datetime import datetime

    from spiracle.case.facts import Facts

FLUID_GROUPS = frozenset({"fluid", "colloid", "hyperosmolar fluid", "blood product"})
PLAIN = "fluid"  # the group that is given by its ceiling alone; the others wait for a veterinarian
TIMES = frozenset({"h", "min", "day", "s"})
SET = Decimal("1.01")  # a hundredth is left for what a pump can be set to
ROUNDED = Decimal("1.000001")  # what a division rounds
_ML_H = unit("mL/h")
_ML = unit("mL")


def is_fluid(facts: Facts, name: str) -> bool:
    """Whether the formulary lists it among the fluids; what the formulary does not know is none."""
    try:
        return facts.drugs.drug(name).group in FLUID_GROUPS
    except Refusal:
        return False


def is_drug(facts: Facts, name: str, drug: str) -> bool:
    """Whether an entry's name means this drug; a name nobody knows means none."""
    try:
        return facts.drugs.drug(name).id == drug
    except Refusal:
        return False


def urgent(case: Case) -> bool:
    """An emergency case, or an arrest that was called and not ended: nothing waits for a limit."""
    began, ended = case.last(ev.ArrestBegan), case.last(ev.ArrestEnded)
    return is_emergency(case) or (began is not None and (ended is None or ended.happened_at < began.happened_at))


def per_time(measure: Unit) -> bool:
    """Whether a unit is one of a rate; a dose without a time is none."""
    return any(symbol in TIMES and power < 0 for symbol, power in measure.parts)


strength_in = holds_of


def comes_to(ml_h: Decimal, holds: Quantity | None, target: Unit, kg: Decimal) -> Quantity:
    """A pump's rate in the unit asked for: 1 mL/h of 0.05 mg/mL in 10 kg is 5 mcg/kg/h."""
    rate = Quantity(ml_h, _ML_H)
    if unit(target.parts[0][0]).dimension != _ML.dimension:
        if holds is None:
            raise Missing("concentration", "is not given.", "Say what the syringe or bag holds, like 1 mg/mL.")
        rate = rate * holds
    try:
        return in_unit(rate, target, kg)
    except UnlikeUnits as unlike:
        raise UnlikeUnits("concentration", f"{holds or 'no strength'} does not give {target}.",
                          "Say what the syringe or bag holds.") from unlike  # fmt: skip


def others(case: Case, facts: Facts, but: str) -> tuple[Stream, ...]:
    """Every drug and fluid that runs beside the infusion being decided, those in bags among them."""
    return tuple(s for s in now_running(case, facts) if s.id != but)


def now_running(case: Case, facts: Facts) -> tuple[Stream, ...]:
    return streams(case, facts, (i for i in infusions(case) if i.running))


def of_drug(found: Iterable[Stream], drug: str, facts: Facts) -> tuple[Stream, ...]:
    """Those of one drug, by whatever name they were entered, alone or in a bag."""
    return tuple(s for s in found if is_drug(facts, s.drug, drug))


def summed(found: Iterable[Stream], target: Unit, kg: Decimal) -> Quantity:
    """Together, in one unit; a pump whose strength cannot be read adds nothing that could be added."""
    total = Quantity(Decimal(0), target)
    for s in found:
        try:
            total = total + comes_to(s.rate_ml_h, s.holds, target, kg)
        except Refusal:
            continue
    return total


def rate_rows(case: Case, drug: Drug, route: str, purpose: str, facts: Facts) -> tuple[DoseRow, ...]:
    """The rows that may be picked for running this drug by this route, those of emergencies only where nothing else is."""
    want = facts.drugs.purpose(purpose) if purpose else None
    able = [r for r in facts.drugs.rows(drug.id, str(species(case)), want, route) if r.infusion]
    plain = [r for r in able if not r.emergency]
    return tuple(able if want is not None else plain or able)


def row_of_hand(case: Case, drug: Drug, route: str, purpose: str, facts: Facts, at: datetime) -> DoseRow | None:
    """The row of something that runs without an order: of each purpose the one for this animal, then the widest."""
    kg = dosing_weight_kg(case)
    able = rate_rows(case, drug, route, purpose, facts)
    if kg is None or not able:
        return None
    said = tuple(sorted(conditions(case, facts, at)))
    purposes = (facts.drugs.purpose(purpose),) if purpose else tuple(dict.fromkeys(p for r in able for p in r.purposes))
    chosen = []
    for each in purposes:
        like = next(r for r in able if each in r.purposes)
        asked = OrderedDose(drug=drug.id, species=str(species(case)), purpose=each, route=route, low=like.low,
                            high=like.high, conditions=said)  # fmt: skip
        try:
            chosen.append(facts.drugs.choose(asked, DosingWeight(kg)))
        except Refusal:
            continue  # a purpose this animal is never given it for

    def top(row: DoseRow) -> Decimal:
        stop = row.guardrail(kg).hard_high or row.high
        return stop.to(row.unit).value

    return max(chosen, key=top, default=None)


def rate_stops(row: DoseRow) -> tuple[Stop, ...]:
    return tuple(s for s in row.stops if per_time(s.at.unit) and s.basis == "rate" and not s.ask)


def fluid_ceiling(case: Case, drug: Drug, facts: Facts, at: datetime, kg: Decimal) -> Quantity:
    """What all fluids together may run at [mL/h] without an order: the species' ceiling, or less where a row says so."""
    top = facts.circulation.rate_ceiling(str(species(case)), kg).value
    for route in facts.drugs.routes(drug.id, str(species(case))):
        row = row_of_hand(case, drug, route, "", facts, at)
        for stop in rate_stops(row) if row is not None else ():
            held = in_unit(stop.at, _ML_H, kg)
            top = held if held < top else top
    return top


def over_now(case: Case, facts: Facts, found: Infusion, at: datetime) -> str:
    """In words, where what runs is more than its order, its row or the ceiling allows on the weight of now; else nothing."""
    kg = dosing_weight_kg(case)
    if kg is None or not found.running:
        return ""
    try:
        return _over(case, facts, found, at, kg)
    except Refusal:
        return ""


def _over(case: Case, facts: Facts, found: Infusion, at: datetime, kg: Decimal) -> str:
    """The first drug of it that is over; the drug is named where it runs in a bag."""
    for stream in streams_of(case, facts, found):
        over = _stream_over(case, facts, stream, at, kg)
        if over:
            return f"{facts.drugs.name(stream.drug)} {over}" if stream.part is not None else over
    return ""


def _stream_over(case: Case, facts: Facts, s: Stream, at: datetime, kg: Decimal) -> str:
    drug, all_running = facts.drugs.drug(s.drug), now_running(case, facts)
    rests_on = order(case, s.order) if s.order else None
    if rests_on is not None and per_time(unit(rests_on.unit)):
        top = Quantity.of(rests_on.high, rests_on.unit)
        total = summed((i for i in all_running if i.order == s.order), top.unit, kg)
        return f"{told(total)}, ordered at most {told(top)}" if total.value > top.value * SET else ""
    if drug.group in FLUID_GROUPS:
        top = fluid_ceiling(case, drug, facts, at, kg)
        total = summed((i for i in all_running if is_fluid(facts, i.drug)), _ML_H, kg)
        return f"{told(total)} of fluids, the ceiling is {told(top)}" if total.value > top.value * SET else ""
    row = row_of_hand(case, drug, facts.drugs.route(s.route), s.purpose, facts, at)
    for stop in rate_stops(row) if row is not None else ():
        total = summed(of_drug(all_running, drug.id, facts), stop.at.unit, kg)
        if total.value > stop.at.value * ROUNDED:
            return f"{told(total)}, {stop.words}"
    return ""


def told(amount: Quantity) -> str:
    return f"{figure(amount.value, 4)} {amount.unit}"
