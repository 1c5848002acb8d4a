"""Drugs given: arithmetic worked again, held against syringe, order, animal, hard stops and shared ceilings.

Carries U1, U4, U9, U14, U19, U22, U23, U24, U29, D14. An emergency dose is never blocked for a limit, an order or a
hand, but it must be readable. Everything else over an order needs a veterinarian's word, over a hard stop also a reason,
and what is never given a veterinarian's own hand.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import msgspec

from spiracle.case import events as ev
from spiracle.case import own_hand
from spiracle.case.allergies import ask_about_allergy
from spiracle.case.by_vein import sugar_for_vein
from spiracle.case.ceilings import push_under
from spiracle.case.decide_orders import standing_order
from spiracle.case.decide_people import person, said
from spiracle.case.decide_record import closed
from spiracle.case.decide_syringes import left_for, there
from spiracle.case.drawing import known_form
from spiracle.case.fold import Case
from spiracle.case.intervals import opioid_again
from spiracle.case.limits import not_cautioned, row_for, under_order, under_stops, why_never
from spiracle.case.pain_again import nsaid_again
from spiracle.case.prepared import dosing_weight
from spiracle.case.pushes import drug_id, is_rescue, readable_amount, route_of
from spiracle.case.questions import asking, asks_instead, kept_unless_trouble
from spiracle.case.ruling import Rules
from spiracle.case.running import per_time
from spiracle.case.standing import given, species, troubled
from spiracle.case.strengths import ask_about_strength, made_here, not_a_trap, on_the_shelf, read_holds
from spiracle.case.syringes import Syringe
from spiracle.drugs import Drug, Strength
from spiracle.drugs.vial import product_fits
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import AskAgain, Contradiction, Missing, OutOfRange, OverLimit, Refusal, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

SAME = Decimal("0.001")  # what rounding on a label can explain; a slipped point cannot hide in it
TWICE_SOON = timedelta(minutes=5)  # the same push entered by two people, or twice by one
INCREMENT_SOON = timedelta(seconds=10)  # an induction goes in by increments: only a double touch is asked about
_ML = unit("mL")


def drug_given(case: Case, event: ev.DrugGiven, facts: Facts, _now: datetime) -> None:
    """What can be read; then an emergency asks nothing more, and everything else is held."""
    drug = facts.drugs.drug(event.drug)
    amount = _amount(event, drug, facts)
    if not route_of(event.route, facts):
        facts.drugs.route(event.route)  # refuses, and lists what there is
    known_form(event.form, drug)
    word = said(facts, event.said_by, event.reason)
    if event.emergency and is_rescue(case, event, facts):
        _adds_up(case, event, amount, drug, facts)
        _never(case, event, drug, facts, word, emergency=True)
        return
    if event.emergency and troubled(case):
        _adds_up(case, event, amount, drug, facts)
        _never(case, event, drug, facts, word, emergency=True)
        if not word:
            _asked_over(case, event, drug, amount, facts)
        return
    if event.emergency:  # called one, but nothing in the case or the tables says so
        event = msgspec.structs.replace(event, emergency=False)
        closed(case, event)
        person(facts, event.by, "hand")
    _held(case, event, drug, amount, facts, word=word)


def _asked_over(case: Case, event: ev.DrugGiven, drug: Drug, amount: Quantity, facts: Facts) -> None:
    """In trouble, what no table has for an emergency waits for no order; over a stop or a ceiling it is asked about."""
    try:
        weight = dosing_weight(case)
        row = row_for(case, event, None, facts, weight)
    except Refusal:
        return  # no weight, no row: nothing to hold it against
    with asks_instead(event):  # one question, of the stop or of the ceiling
        under_stops(case, event, amount, row, weight, facts)
        push_under(case, event, amount, facts, emergency=True)


def _held(case: Case, event: ev.DrugGiven, drug: Drug, amount: Quantity, facts: Facts, *, word: bool) -> None:
    facts.drugs.drug(event.drug, species(case))
    if event.giver:
        person(facts, event.giver, "giver")
    found = _adds_up(case, event, amount, drug, facts)
    order = standing_order(case, event.order, event.drug, facts) if event.order else None
    _by_its_name(event, drug, order, facts)
    if order is not None:
        _no_rate(order)
        if not troubled(case):  # in trouble the order is written when there is time
            _ordered_before(case, order, event.happened_at)
    _twice(case, event, drug.id, facts)
    if found is None and event.concentration:
        with asking(event):
            not_a_trap(drug, event.concentration, facts, "concentration")
            able = [*on_the_shelf(drug, facts), *made_here(case, drug, order, facts, event.happened_at)]
            ask_about_strength(drug, read_holds(drug, event.concentration, facts), able, "concentration")
    passed = order is not None and bool(order.over_hard_by and order.reason)
    with asking(event):
        ask_about_allergy(case, event.drug, facts, word or passed)
    _never(case, event, drug, facts, word, emergency=False)
    if word:
        own_hand.push(case, event, order, amount, facts)
        return
    _ordered(event, order, facts)
    text = event.concentration if found is None else found.drawn.vial_concentration
    if text:
        _of_its_product(case, event, facts.drugs.strength(drug, text), drug, facts)
    if event.volume_ml and route_of(event.route, facts) == "IV":
        holds = amount / Quantity.of(event.volume_ml, "mL")
        sugar_for_vein(case, drug, holds, facts, "concentration", event, asks=False)
    _limits(case, event, order, drug, amount, facts)
    with kept_unless_trouble(case, event):
        nsaid_again(case, event, drug, facts)
    opioid_again(case, event, drug, facts)


# ---- what can be read


def _amount(event: ev.DrugGiven, drug: Drug, facts: Facts) -> Quantity:
    """An amount above zero in a unit the drug is measured in: others can never be added up later."""
    amount = Quantity(event.amount, unit(event.unit))
    readable_amount(amount, drug, facts)
    return amount


def _by_its_name(event: ev.DrugGiven, drug: Drug, order: ev.DrugOrdered | None, facts: Facts) -> None:
    """One drug and one route under one name each, so that every sum finds them: as in the tables, or as it was ordered."""
    if event.drug not in {drug.id, order.drug if order is not None else drug.id}:
        raise Contradiction("drug", f"{event.drug} is kept as {drug.id}.", f"Enter it as {drug.id}.", use=drug.id)
    route = facts.drugs.route(event.route)
    if event.route not in {route, order.route if order is not None else route}:
        raise Contradiction("route", f"{event.route} is kept as {route}.", f"Enter it as {route}.", use=route)


def _adds_up(case: Case, event: ev.DrugGiven, amount: Quantity, drug: Drug, facts: Facts) -> Syringe | None:
    """Amount is volume times strength, and no more than is left: the syringe's own label wins over what was sent."""
    found = there(case, event.syringe, event.drug, facts) if event.syringe else None
    _arithmetic(event, amount, found, drug, facts)
    if found is not None and event.volume_ml is not None:
        left_for(found, event.volume_ml)
    return found


def _arithmetic(event: ev.DrugGiven, amount: Quantity, found: Syringe | None, drug: Drug, facts: Facts) -> None:
    if event.volume_ml is None:
        if found is not None or event.concentration:
            raise Missing("volume", "is not given.", "Give the mL that went in.")
        return
    if event.volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give the mL that went in.")
    if amount.unit.dimension == _ML.dimension:  # dosed by volume, whatever it holds
        _equal(Quantity(event.volume_ml, _ML), amount, "mL")
        return
    text = found.drawn.concentration if found is not None else event.concentration
    if not text:
        raise Missing("concentration", "is not given.", "Say what the syringe holds, like 10 mg/mL.")
    holds = read_holds(drug, text, facts)
    if found is not None and event.concentration:
        sent = read_holds(drug, event.concentration, facts)
        if sent.unit.dimension != holds.unit.dimension or not sent.equals(holds):
            raise Contradiction(
                "concentration", f"{sent} was sent, the syringe holds {holds}.", "Take the right syringe."
            )
    _equal(Quantity(event.volume_ml, _ML) * holds, amount, f"{figure(event.volume_ml)} mL of {holds}")


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


# ---- what it rests on


def _no_rate(order: ev.DrugOrdered) -> None:
    """An order per time is for a pump: a push has no sum to be held to."""
    if per_time(unit(order.unit)):
        raise Contradiction("order", f"{order.drug} {figure(order.high)} {order.unit} is a rate.",
                            "Run it as an infusion, or have a dose ordered.")  # fmt: skip


def _ordered_before(case: Case, order: ev.DrugOrdered, at: datetime) -> None:
    if all(o.happened_at > at for o in case.live(ev.DrugOrdered) if o.order == order.order):
        raise Contradiction("order", f"{order.drug} was not ordered yet at that time.", "Give the time it happened.")


def _twice(case: Case, event: ev.DrugGiven, drug: str, facts: Facts) -> None:
    """The same drug by the same route so soon after: meant, or the same push entered twice?"""
    soon = INCREMENT_SOON if "induction" in event.purpose else TWICE_SOON
    for other in given(case):
        if drug_id(other.drug, facts) != drug or route_of(other.route, facts) != route_of(event.route, facts):
            continue
        apart = abs(event.happened_at - other.happened_at)
        if apart < soon and (other.site, other.side) == (event.site, event.side):
            minutes = int(apart.total_seconds() // 60)
            told = "less than a minute" if minutes == 0 else f"{minutes} min"
            with asking(event):
                raise AskAgain("drug", f"{event.drug} {event.route} was entered {told} apart from this.",
                               "Confirm it if it is a second dose.")  # fmt: skip


def _never(case: Case, event: ev.DrugGiven, drug: Drug, facts: Facts, word: bool, *, emergency: bool) -> None:
    """What is never given like this: a veterinarian enters it himself and says why. In an emergency his word is enough."""
    if emergency and is_rescue(case, event, facts):
        return
    route = route_of(event.route, facts)
    why = why_never(case, drug, route, event.purpose, facts, event.happened_at)
    if why and not (word and (emergency or event.by == event.said_by)):
        raise OverLimit("drug", f"{drug.name} is never given {route} like this to a {species(case)}: {why}",
                        "Choose another way, or the veterinarian enters it and says why.")  # fmt: skip


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


def _of_its_product(case: Case, event: ev.DrugGiven, strength: Strength, drug: Drug, facts: Facts) -> None:
    with kept_unless_trouble(case, event):
        product_fits(strength, drug, str(species(case)), facts.drugs.route(event.route))


def _limits(
    case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, drug: Drug, amount: Quantity, facts: Facts
) -> None:
    """The sum with this push, against the order, the animal as it is known now, the row's stops and the shared ceilings."""
    weight = dosing_weight(case)
    row = row_for(case, event, order, facts, weight)
    if order is not None:
        under_order(case, event, order, amount, row, weight, facts)
    if not row.emergency:
        with kept_unless_trouble(case, event):
            not_cautioned(case, drug, order, event.purpose, facts, event.happened_at)
        if order is None or not (order.over_hard_by and order.reason):
            under_stops(case, event, amount, row, weight, facts)
    elif not troubled(case):  # nothing is wrong yet: over its stop it may be a slip
        with asks_instead(event):
            under_stops(case, event, amount, row, weight, facts)
    push_under(case, event, amount, facts, emergency=row.emergency)


def preoxygenation_ended(case: Case, _event: ev.PreoxygenationEnded, _facts: Facts, _now: datetime) -> None:
    if not case.live(ev.PreoxygenationBegan):
        raise Contradiction("oxygen", "was not begun.", "Note when it began.")


RULES: Rules = {
    ev.DrugGiven: drug_given,
    ev.PreoxygenationEnded: preoxygenation_ended,
}
