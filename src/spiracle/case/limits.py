"""What stops a drug in this animal now: rows that say never, conditions found, orders no longer fit, stops and ceilings.

Carries U4, U14, U24, U25, U29. The same for what is drawn and what is given; whose word passes is decided by who calls.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from msgspec import structs

from spiracle.case import events as ev
from spiracle.case.animal import conditions
from spiracle.case.fold import Case
from spiracle.case.moments import moments
from spiracle.case.prepared import dosing_weight, ordered_dose
from spiracle.case.pushes import counted, drug_id, route_of, summed
from spiracle.case.questions import Answering, answers, asking
from spiracle.case.standing import species
from spiracle.drugs import (
    DoseRow,
    DosingWeight,
    Drug,
    OrderedDose,
    amount_of,
    in_unit,
    judge,
)
from spiracle.drugs.cautions import stop_for
from spiracle.drugs.choosing import zero_row
from spiracle.drugs.order import allow
from spiracle.drugs.rows import Stop
from spiracle.quantity import Quantity, Unit, figure
from spiracle.refusals import AskAgain, OverLimit, Refusal, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

WORD = "Give less, or a named veterinarian says so with a reason."
SELDOM = "Choose another drug, or a named veterinarian says so with a reason."
NONE = Decimal(0)
A_DAY = timedelta(hours=24)
EVERY = re.compile(r"\bevery (\d+)(?: to \d+)? (min|h)\b")


def why_never(case: Case, drug: Drug, route: str, purpose: str, facts: Facts, at: datetime) -> str:
    """The words of the zero row that forbids this drug by this route in this animal; empty where none does."""
    try:
        meant = facts.drugs.purpose(purpose) if purpose else ""
    except Refusal:
        meant = ""
    found = zero_row(drug.id, str(species(case)), meant, route, conditions(case, facts, at), facts.drugs)
    if found is None:
        return ""
    return found.note.split("A zero row")[0].strip() or "a zero row."


def not_cautioned(
    case: Case, drug: Drug, order: ev.DrugOrdered | None, purpose: str, facts: Facts, at: datetime
) -> None:
    """A condition of the animal or the moment that stops the drug, also one that was found after the order.

    An order that was passed by a word with a reason is passed for what was known then, not for what was found since.
    """
    found = conditions(case, facts, at) | moments(case, order or _as_if(drug, purpose, case, at), facts, at)
    if order is not None and order.over_hard_by and order.reason:
        found &= found_since(case, order)
    stop = stop_for(drug.id, str(species(case)), found, facts.drugs)
    if stop is not None:
        because = ", ".join(sorted(found & set(stop.when)))
        raise OverLimit("caution", f"{drug.name} is stopped by {because}: {stop.statement}", SELDOM)


def _as_if(drug: Drug, purpose: str, case: Case, at: datetime) -> ev.DrugOrdered:
    """What is given without an order meets the same moments as an order would."""
    own = case.lines[0].event.case if case.lines else ""
    return ev.DrugOrdered(id="", case=own, happened_at=at, recorded_at=at, by="", order="", drug=drug.id, purpose=purpose,
                          route="", low=NONE, high=NONE, unit="mg")  # fmt: skip


def found_since(case: Case, order: ev.DrugOrdered) -> frozenset[str]:
    """Conditions named for the first time after the order was last worded."""
    before: set[str] = set()
    since: set[str] = set()
    for told in case.live(ev.HistoryTaken):
        late = told.happened_at > order.happened_at or told.recorded_at > order.recorded_at
        (since if late else before).update(told.conditions)
    return frozenset(since - before)


def order_fits(case: Case, order: ev.DrugOrdered, facts: Facts, at: datetime, entry: Answering) -> DoseRow:
    """An order is held again on the weight of now: one written before there was a weight was never held."""
    dose, weight = ordered_dose(case, order, facts, at), dosing_weight(case)
    row = facts.drugs.choose(dose, weight)
    judged = judge(dose, row, weight)
    try:
        allow(dose, row, judged)
    except AskAgain as question:
        if not answers(entry, question):
            raise
        allow(replace(dose, confirmed=True), row, judged)
    return row


def row_for(
    case: Case, event: ev.DrugGiven, order: ev.DrugOrdered | None, facts: Facts, weight: DosingWeight
) -> DoseRow:
    """The row of the order; of a push without one, the row an order of this amount would have."""
    if order is not None:
        return facts.drugs.choose(ordered_dose(case, order, facts, event.happened_at), weight)
    amount = Quantity.of(event.amount, event.unit)
    asked = OrderedDose(
        drug=event.drug, species=str(species(case)), purpose=event.purpose, route=event.route, low=amount, high=amount,
        conditions=tuple(sorted(conditions(case, facts, event.happened_at))),
    )  # fmt: skip
    return facts.drugs.choose(asked, weight)


def under_order(
    case: Case, event: ev.DrugGiven, order: ev.DrugOrdered, amount: Quantity, row: DoseRow, weight: DosingWeight, facts: Facts
) -> None:  # fmt: skip
    """An order is one dose, however far apart its pushes are. Where its row or its words let it be repeated, each repeat is
    asked about, after its interval."""
    known = facts.drugs.drug(event.drug)
    mine = [g for g in counted(case, known.id, facts) if g.order == event.order]
    top = amount_of(Quantity.of(order.high, order.unit), weight.kg)
    total = summed(mine, amount)
    if total.number(top.unit) <= top.value:
        return
    over = OverLimit("dose", f"{known.name} would reach {_short(total, top.unit)}, over the ordered {_short(top, top.unit)}.",
                     "Give less, or name the veterinarian who said so and why.")  # fmt: skip
    apart = _interval(row, order)
    if apart is None:
        raise over
    recent = [g for g in mine if abs(event.happened_at - g.happened_at) < apart]
    if summed(recent, amount).number(top.unit) > top.value:
        raise over
    with asking(event):
        raise AskAgain("dose", f"{known.name} was given as ordered; with this it is {_short(total, top.unit)} in all.",
                       "Confirm it if the dose is repeated.")  # fmt: skip


def _interval(row: DoseRow, order: ev.DrugOrdered) -> timedelta | None:
    """How far apart repeats of one order are, if row or order say that it may be repeated at all."""
    if row.repeat_min is not None:
        return timedelta(minutes=float(row.repeat_min[0]))
    told = EVERY.search(row.facts.interval)
    if told is not None:
        return timedelta(minutes=float(told[1]) * (60 if told[2] == "h" else 1))
    if "repeat" not in order.when.casefold():
        return None
    return timedelta(minutes=float(row.lasts_min[0])) if row.lasts_min is not None else timedelta(0)


def under_stops(
    case: Case, event: ev.DrugGiven, amount: Quantity, row: DoseRow, weight: DosingWeight, facts: Facts
) -> None:
    """The sum with this push against every stop of the row. What holds for the animal, or in all, counts by every route."""
    drug = facts.drugs.drug(event.drug)
    every = [*counted(case, drug.id, facts), *ward_pushes(case, drug.id, event, facts)]
    route = facts.drugs.route(event.route)
    for stop in row.stops:
        if stop.basis == "rate" or stop.ask:
            continue
        alike = [g for g in every if _all_routes(stop) or route_of(g.route, facts) == route]
        if stop.basis == "single":
            alike = [g for g in alike if _one_dose(g, event, row)]
        try:
            at = in_unit(summed(alike, amount), stop.at.unit, weight.kg)
        except UnlikeUnits:
            continue  # a stop written in another measure than the vial
        if at > stop.at:
            raise OverLimit(
                "dose", f"{drug.name} would reach {figure(at.value, 4)} {at.unit}, over the {stop.words}.", WORD
            )


def ward_pushes(case: Case, drug: str, event: ev.DrugGiven, facts: Facts) -> tuple[ev.DrugGiven, ...]:
    """Doses of the ward and elsewhere of the last day (from memory), as pushes of this case: they are in the same body. Those of a
    drug with a shared ceiling count there, by its own window; NSAIDs by
    their interval."""
    if drug in facts.drugs.classes.get("NSAID", ()) or any(
        drug in k.drugs and not k.ask and not k.form for k in facts.drugs.budgets
    ):
        return ()
    return tuple(
        structs.replace(event, id=b.id, happened_at=b.given_at, drug=b.drug, amount=b.amount, unit=b.unit, route=b.route,
                        by=b.by, emergency=False)
        for b in case.live(ev.GivenBefore)
        if drug_id(b.drug, facts) == drug and abs(event.happened_at - b.given_at) < A_DAY
    )  # fmt: skip


def _all_routes(stop: Stop) -> bool:
    return stop.basis == "cumulative" or not any(s in {"kg", "lb"} for s, _ in stop.at.unit.parts)


def _one_dose(other: ev.DrugGiven, event: ev.DrugGiven, row: DoseRow) -> bool:
    """Whether two pushes are parts of one dose: closer than the row lets a dose be repeated, or than one lasts."""
    span = row.repeat_min or row.lasts_min
    return span is None or abs(event.happened_at - other.happened_at) < timedelta(minutes=float(span[0]))


def _short(amount: Quantity, in_: Unit) -> str:
    return f"{figure(amount.number(in_), 4)} {in_}"
