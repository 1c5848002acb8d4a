"""Drugs given: arithmetic checked again, held against syringe, order, hard stops and shared ceilings.

An emergency dose is never blocked. Everything else over an order needs a veterinarian's word, over a hard stop also a reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import conditions
from spiracle.case.decide_orders import standing_order
from spiracle.case.decide_people import person, said
from spiracle.case.decide_syringes import left_for, there
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight, ordered_dose
from spiracle.case.ruling import Rules
from spiracle.case.standing import given, species
from spiracle.case.syringes import Syringe
from spiracle.drugs import DoseRow, DosingWeight, Drug, LocalDose, OrderedDose, amount_of, budgets, in_unit
from spiracle.quantity import Quantity, Unit, figure, read, unit
from spiracle.refusals import AskAgain, Contradiction, Missing, OutOfRange, OverLimit, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

SAME = Decimal("0.001")  # what rounding on a label can explain; a slipped point cannot hide in it
TWICE_SOON = timedelta(minutes=5)  # the same push entered by two people, or twice by one
INCREMENT_SOON = timedelta(seconds=10)  # an induction goes in by increments: only a double touch is asked about


def drug_given(case: Case, event: ev.DrugGiven, facts: Facts, _now: datetime) -> None:
    """An emergency dose must only be readable: a drug there is, in a unit it is measured in. Nothing else is asked of it."""
    drug = facts.drugs.drug(event.drug)
    _measured_so(drug, event.unit, facts)
    if event.emergency:
        return
    facts.drugs.drug(event.drug, species(case))
    facts.drugs.route(event.route)
    if event.giver:
        person(facts, event.giver, "giver")
    word = said(facts, event.said_by, event.reason)
    amount = _amount(event)
    found = there(case, event.syringe, event.drug, facts) if event.syringe else None
    _arithmetic(event, amount, found)
    if found is not None and event.volume_ml is not None:
        left_for(found, event.volume_ml)
    order = standing_order(case, event.order, event.drug, facts) if event.order else None
    _twice(case, event, drug.id, facts)
    if word:
        return
    _ordered(event, order, facts)
    _limits(case, event, order, amount, facts)
    _ceilings(case, event, amount, facts)


def _measured_so(drug: Drug, symbol: str, facts: Facts) -> None:
    """Milligrams of what is dosed in units, or millilitres of a vial, can never be added up later."""
    units = [s.quantity.unit for s in drug.strengths if s.quantity is not None]
    units += [row.unit for row in facts.drugs.all_rows() if row.drug == drug.id]
    tops = {u.parts[0][0] for u in units}
    given_in = unit(symbol)
    if tops and not any(unit(t).dimension == given_in.dimension for t in tops):
        raise UnlikeUnits("unit", f"{drug.name} is not measured in {symbol or 'nothing'}.",
                          f"Give it in {' or '.join(sorted(tops))}.")  # fmt: skip


def _amount(event: ev.DrugGiven) -> Quantity:
    if event.amount <= 0:
        raise OutOfRange("amount", "is zero.", "Give what went in.")
    return Quantity.of(event.amount, event.unit)


def _arithmetic(event: ev.DrugGiven, amount: Quantity, found: Syringe | None) -> None:
    """Amount is volume times concentration, worked again here; the syringe's own label wins over what was sent."""
    if event.volume_ml is None:
        if found is not None or event.concentration:
            raise Missing("volume", "is not given.", "Give the mL that went in.")
        return
    if event.volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give the mL that went in.")
    text = found.drawn.concentration if found is not None else event.concentration
    if not text:
        if amount.unit.dimension == Quantity.of(1, "mL").unit.dimension:
            _equal(Quantity.of(event.volume_ml, "mL"), amount, "mL")
            return
        raise Missing("concentration", "is not given.", "Say what the syringe holds, like 10 mg/mL.")
    holds = read(text, "concentration", "concentration")
    if found is not None and event.concentration:
        sent = read(event.concentration, "concentration", "concentration")
        if sent.unit.dimension != holds.unit.dimension or not sent.equals(holds):
            raise Contradiction(
                "concentration", f"{sent} was sent, the syringe holds {holds}.", "Take the right syringe."
            )
    _equal(Quantity.of(event.volume_ml, "mL") * holds, amount, f"{figure(event.volume_ml)} mL of {holds}")


def _equal(worked: Quantity, amount: Quantity, words: str) -> None:
    try:
        off = abs(worked.number(amount.unit) - amount.value)
    except UnlikeUnits as unlike:
        raise UnlikeUnits(
            "amount", f"{amount} is unlike {worked}.", "Give the amount in the syringe's unit."
        ) from unlike
    if off > worked.number(amount.unit) * SAME:
        told = worked.to(amount.unit)
        raise Contradiction("amount", f"{words} is {figure(told.value, 6)} {told.unit}, not {amount}.",
                            "Look at the volume and the syringe again.")  # fmt: skip


def _twice(case: Case, event: ev.DrugGiven, drug: str, facts: Facts) -> None:
    """The same drug by the same route so soon after: meant, or the same push entered twice?"""
    if event.confirmed:
        return
    soon = INCREMENT_SOON if "induction" in event.purpose else TWICE_SOON
    for other in given(case):
        if facts.drugs.drug(other.drug).id != drug or facts.drugs.route(other.route) != facts.drugs.route(event.route):
            continue
        apart = abs(event.happened_at - other.happened_at)
        if apart < soon and (other.site, other.side) == (event.site, event.side):
            seconds = int(apart.total_seconds())
            raise AskAgain("drug", f"{event.drug} {event.route} was entered {seconds // 60} min {seconds % 60} s apart from this.",
                           "Confirm it if it is a second dose.")  # fmt: skip


def _ordered(event: ev.DrugGiven, order: ev.DrugOrdered | None, facts: Facts) -> None:
    """Nothing goes in without an order, a veterinarian's word or a veterinarian's own hand."""
    if order is None:
        if facts.hospital.is_veterinarian(event.by):
            return
        raise Missing(
            "order", f"no order of {event.drug} is named.", "Name the order, or the veterinarian who said so."
        )
    if facts.drugs.route(order.route) != facts.drugs.route(event.route):
        raise Contradiction("route", f"{order.drug} was ordered {order.route}, not {event.route}.",
                            "Give it as ordered, or name the veterinarian who said so.")  # fmt: skip


def _row(case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, facts: Facts, weight: DosingWeight) -> DoseRow:
    if order is not None:
        return facts.drugs.choose(ordered_dose(case, order, facts, event.happened_at), weight)
    amount = Quantity.of(event.amount, event.unit)
    asked = OrderedDose(
        drug=event.drug, species=str(species(case)), purpose=event.purpose, route=event.route, low=amount, high=amount,
        conditions=tuple(sorted(conditions(case, facts, event.happened_at))),
    )  # fmt: skip
    return facts.drugs.choose(asked, weight)


def _limits(case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, amount: Quantity, facts: Facts) -> None:
    """The sum with this push, against the order and against the row's stops for this animal."""
    weight = dosing_weight(case)
    row = _row(case, event, order, facts, weight)
    alike = [g for g in given(case) if not g.emergency and _alike(g, event, facts)]
    dose = _sum([g for g in alike if _one_dose(g, event, row)], amount)
    whole = _sum(alike, amount)
    if order is not None and "min" not in order.unit and not order.unit.endswith("/h"):
        mine = [g for g in alike if g.order == event.order and _one_dose(g, event, row)]
        ordered = amount_of(Quantity.of(order.high, order.unit), weight.kg)
        total = _sum(mine, amount)
        if total.number(ordered.unit) > ordered.value:
            raise OverLimit("dose", f"{event.drug} would reach {_short(total, ordered.unit)}, over the ordered "
                            f"{_short(ordered, ordered.unit)}.", "Give less, or name the veterinarian who said so and why.")  # fmt: skip
    if row.emergency or (order is not None and order.over_hard_by and order.reason):
        return
    for stop in row.stops:
        if stop.basis == "rate" or stop.ask:
            continue
        total = whole if stop.basis == "cumulative" else dose
        at = in_unit(total, stop.at.unit, weight.kg)
        if at > stop.at:
            raise OverLimit("dose", f"{event.drug} would reach {figure(at.value, 4)} {at.unit}, over the {stop.words}.",
                            "Give less, or a named veterinarian says so with a reason.")  # fmt: skip


def _alike(other: ev.DrugGiven, event: ev.DrugGiven, facts: Facts) -> bool:
    same_drug = facts.drugs.drug(other.drug).id == facts.drugs.drug(event.drug).id
    return same_drug and facts.drugs.route(other.route) == facts.drugs.route(event.route)


def _one_dose(other: ev.DrugGiven, event: ev.DrugGiven, row: DoseRow) -> bool:
    """Whether two pushes are parts of one dose: closer than the row lets a dose be repeated, or than one lasts."""
    span = row.repeat_min or row.lasts_min
    return span is None or abs(event.happened_at - other.happened_at) < timedelta(minutes=float(span[0]))


def _sum(pushes: Iterable[ev.DrugGiven], this: Quantity) -> Quantity:
    total = this
    for push in pushes:
        total = total + Quantity.of(push.amount, push.unit)
    return total


def _short(amount: Quantity, in_: Unit) -> str:
    return f"{figure(amount.number(in_), 4)} {in_}"


def _ceilings(case: Case, event: ev.DrugGiven, amount: Quantity, facts: Facts) -> None:
    """Ceilings that several drugs share: local anaesthetics in one sum, preserved propofol, tiletamine ..."""
    doses = [_local(g, Quantity.of(g.amount, g.unit), facts) for g in given(case) if not g.emergency]
    this = _local(event, amount, facts)
    try:
        sums = budgets([*doses, this], dosing_weight(case), str(species(case)), facts.drugs, event.happened_at)
    except (Missing, UnlikeUnits):
        return  # no shared ceiling is known for this way of giving it; its own stops were held above
    for total in sums:
        if total.state == "stop" and any(p.drug == this.drug for p in total.parts):
            raise OverLimit("dose", f"{total.title} would reach {figure(total.percent, 3)} % of its shared ceiling.",
                            "Give less, or a named veterinarian says so with a reason.")  # fmt: skip


def _local(push: ev.DrugGiven, amount: Quantity, facts: Facts) -> LocalDose:
    return LocalDose(
        drug=facts.drugs.drug(push.drug).id, amount=amount, at=push.happened_at, route=facts.drugs.route(push.route),
        strength=push.concentration, purpose=push.purpose, by=push.by,
    )  # fmt: skip


def preoxygenation_ended(case: Case, _event: ev.PreoxygenationEnded, _facts: Facts, _now: datetime) -> None:
    if not case.live(ev.PreoxygenationBegan):
        raise Contradiction("oxygen", "was not begun.", "Note when it began.")


RULES: Rules = {
    ev.DrugGiven: drug_given,
    ev.PreoxygenationEnded: preoxygenation_ended,
}
