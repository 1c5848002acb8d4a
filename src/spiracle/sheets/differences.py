"""What was ordered beside what was given, where they differ: over, under, another route, not at all, without an order.

Carries U29. A dose within the hospital's error limit of its order is as ordered: a mark of a syringe is no difference.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.pushes import route_of
from spiracle.case.signing import alike
from spiracle.drugs import amount_of
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import Refusal
from spiracle.sheets.given import per_kg_text, summed
from spiracle.sheets.names import capital, joined, quantity_text, unit_text
from spiracle.sheets.shapes import OrderDifference
from spiracle.sheets.told import Told
from spiracle.sheets.words_before import order_words

_PERCENT = Decimal(100)
_WHOLE = Decimal(1)


def differences(t: Told) -> tuple[OrderDifference, ...]:
    """Order by order as they were given, then what went in without one."""
    found = [d for order in t.orders.values() if (d := difference(t, order)) is not None]
    return (*found, *_without_order(t))


def difference(t: Told, order: ev.DrugOrdered) -> OrderDifference | None:
    """One order against its pushes; None where it was given as ordered, and for a rate: that is held at the pump."""
    if _per_time(order):
        return None
    given = [g for g in t.given if g.order == order.order]
    says = _says(t, order, given)
    if not says:
        return None
    return OrderDifference(
        order=order.order,
        name=capital(t.names.drug(order.drug)),
        ordered=order_words(order, t.names),
        given=_given_words(t, given),
        difference=says,
        why=_why(t, given),
    )


def so_far(t: Told, order: ev.DrugOrdered) -> str:
    """What was given of an order as it stands, for the moment of the next push: "1 of 2 mg"; empty before the first."""
    given = [g for g in t.given if g.order == order.order]
    total, top = summed(given), _ordered(t, order, order.high)
    if not given or total is None or top is None:
        return ""
    try:
        told = figure(total.number(top.unit), 4)
    except Refusal:
        return ""
    return f"given so far {told} of {figure(top.value, 4)} {unit_text(str(top.unit))}"


def _per_time(order: ev.DrugOrdered) -> bool:
    try:
        return any(s in {"h", "min", "s", "day"} for s, _ in unit(order.unit).parts)
    except Refusal:
        return True


def _says(t: Told, order: ev.DrugOrdered, given: list[ev.DrugGiven]) -> str:
    if not given:
        return "not given"
    words = [_amount(t, order, given)]
    other = {route_of(g.route, t.facts) for g in given} - {route_of(order.route, t.facts)}
    words += [f"by {', '.join(sorted(other))} instead of {order.route}"] if other else []
    words.append(_strength(t, order, given))
    return joined((w for w in words if w), "; ")


def _strength(t: Told, order: ev.DrugOrdered, given: Iterable[ev.DrugGiven]) -> str:
    """Another vial than the order names; how far it was thinned is a matter of measuring it."""
    if not order.concentration:
        return ""
    vials = {s.drawn.syringe: s.drawn.vial_concentration for s in t.syringes}
    used = dict.fromkeys(vials.get(g.syringe, "" if g.syringe else g.concentration) for g in given)
    other = [text for text in used if text and not alike(text, order.concentration)]
    return f"from {' and '.join(other)} instead of {order.concentration}" if other else ""


def _amount(t: Told, order: ev.DrugOrdered, given: list[ev.DrugGiven]) -> str:
    """Over the top of the order, or under its lower end by more than a mark explains."""
    total, low, high = summed(given), _ordered(t, order, order.low), _ordered(t, order, order.high)
    if total is None or low is None or high is None:
        return ""
    try:
        gave = total.number(high.unit)
    except Refusal:
        return "given in another unit than ordered"
    error = t.facts.drugs.fineness.largest_error
    if gave > high.value:
        return f"{_off(gave, high.value)} % over"
    if gave < low.value * (1 - error / _PERCENT):
        return f"{_off(gave, low.value)} % under"
    return ""


def _off(gave: Decimal, of: Decimal) -> str:
    return figure((abs(gave - of) / of * _PERCENT).quantize(Decimal("0.1")).normalize()) if of else "all"


def _ordered(t: Told, order: ev.DrugOrdered, value: Decimal) -> Quantity | None:
    if not t.kg:
        return None
    try:
        return amount_of(Quantity.of(value, order.unit), t.kg)
    except Refusal:
        return None


def _given_words(t: Told, given: list[ev.DrugGiven]) -> str:
    total = summed(given)
    if not given:
        return "nothing"
    if total is None:
        return joined((f"{figure(g.amount)} {unit_text(g.unit)}" for g in given), " + ")
    times = f" in {len(given)} pushes" if len(given) > 1 else ""
    return joined((f"{quantity_text(total)}{times}", per_kg_text(t, total.value, str(total.unit))))


def _why(t: Told, given: Iterable[ev.DrugGiven]) -> str:
    told = [
        joined((g.reason, f"on the word of {t.names.hand(g.said_by)}" if g.said_by else "")) for g in given if g.reason
    ]
    return joined(dict.fromkeys(told), "; ")


def _without_order(t: Told) -> Iterable[OrderDifference]:
    for g in t.given:
        if g.order and g.order in t.orders:
            continue
        withdrawn = any(o.order == g.order for o in t.case.live(ev.DrugOrdered)) if g.order else False
        amount, hand = f"{figure(g.amount)} {unit_text(g.unit)} {g.route}", t.names.hand(g.giver or g.by)
        rests = "emergency dose" if g.emergency else "given without an order"
        yield OrderDifference(
            order=g.order,
            name=capital(t.names.drug(g.drug)),
            ordered="order withdrawn since" if withdrawn else "no order",
            given=joined((amount, t.names.clock(g.happened_at), hand)),
            difference="given on an order since withdrawn" if withdrawn else rests,
            why=_why(t, [g]),
        )
