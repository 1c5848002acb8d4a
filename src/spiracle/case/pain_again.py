"""The same NSAID again before its interval is over, or past what a day may bring: refused, whoever gave the first one and wherever.

Carries U14, U25. How soon it may be given again hangs on how much went in: where a row says every 12 to 24 h, its smaller dose is
given each 12 h and its larger each 24 h. Another NSAID, or a steroid, is a condition of the moment and stops by its caution.
Where a row says "once", a day is kept and a second dose within three days is asked about (common practice, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.prepared import dosing_weight
from spiracle.case.pushes import amount_given, drug_id, hand_name
from spiracle.case.questions import asking
from spiracle.case.standing import given, species
from spiracle.drugs import DoseRow, in_unit
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import AskAgain, OverLimit, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case
    from spiracle.drugs import Drug

GROUP = "NSAID"
A_DAY, THREE_DAYS = timedelta(hours=24), timedelta(hours=72)
ROUNDED = Decimal("1.05")  # what a mark of the syringe makes of a dose
WAIT = "Wait, choose another way, or a named veterinarian says so with a reason."
_MG_KG = unit("mg/kg")
_EVERY = re.compile(r"\bevery (\d+)(?: to (\d+))? h\b")


@dataclass(frozen=True, slots=True)
class Before:
    """A dose of this drug that went in, per kg; by whom, and where if not here. `order`: what it rested on."""

    per_kg: Decimal | None
    at: datetime
    who: str
    where: str
    order: str = ""


def nsaid_again(case: Case, event: ev.DrugGiven, drug: Drug, facts: Facts) -> None:
    """Refuses a push of an NSAID inside the interval of the last one; increments of one order are one dose."""
    if drug.id not in facts.drugs.classes.get(GROUP, ()):
        return
    rows = [r for r in facts.drugs.every(drug.id, str(species(case))) if r.high.value > 0]
    doses = list(_doses(case, drug.id, facts))
    for one in doses:
        if event.order and one.order == event.order:
            continue
        since, told = abs(event.happened_at - one.at), _apart(one.per_kg, rows)
        place = f" on {one.where}" if one.where else ""
        said = f"{drug.name} was given {_ago(since)} {'ago' if one.at <= event.happened_at else 'after this'}{place} by {one.who}"
        if since < (told or A_DAY):
            hours = f"{(told or A_DAY).total_seconds() / 3600:g} h"
            raise OverLimit("drug", f"{said}; it is given every {hours} at the soonest.", WAIT)
        if told is None and since < THREE_DAYS:
            with asking(event):
                raise AskAgain("drug", f"{said}; it is given once (three days are kept, from memory).",
                               "Choose another way, or confirm it.")  # fmt: skip
    _in_a_day(case, event, drug, doses, rows)


def _in_a_day(case: Case, event: ev.DrugGiven, drug: Drug, doses: list[Before], rows: list[DoseRow]) -> None:
    """What goes in within a day, this push with it, against the greatest stop of the drug."""
    stops = [s.at for r in rows for s in r.stops if s.basis == "single" and not s.ask]
    this = _per_kg(Quantity.of(event.amount, event.unit), case)
    if not stops or this is None:
        return
    day = [d.per_kg for d in doses if abs(event.happened_at - d.at) < A_DAY]
    total, most = sum((d for d in day if d is not None), this), max(s.number("mg/kg") for s in stops)
    if total > most * ROUNDED:
        raise OverLimit(
            "dose", f"{drug.name} would reach {figure(total, 3)} mg/kg within a day, over the hard stop of {figure(most)} mg/kg.",
            WAIT,
        )  # fmt: skip


def _doses(case: Case, drug: str, facts: Facts) -> Iterable[Before]:
    for g in given(case):
        if drug_id(g.drug, facts) == drug:
            yield Before(_per_kg(amount_given(g), case), g.happened_at, hand_name(g.giver or g.by, facts), "", g.order)
    for b in case.live(ev.GivenBefore):
        if drug_id(b.drug, facts) == drug:
            yield Before(_per_kg(amount_given(b), case), b.given_at, b.by_whom or hand_name(b.by, facts), b.where)


def _per_kg(amount: Quantity | None, case: Case) -> Decimal | None:
    try:
        weight = dosing_weight(case)
        return None if amount is None else in_unit(amount, _MG_KG, weight.kg).value
    except UnlikeUnits:
        return None


def _apart(per_kg: Decimal | None, rows: Iterable[DoseRow]) -> timedelta | None:
    """How soon a dose of this size may be given again: the shortest interval of the rows it lies in. None where they say once."""
    told = [found for r in rows if (found := _told(per_kg, r)) is not None]
    return min(told, default=None)


def _told(per_kg: Decimal | None, row: DoseRow) -> timedelta | None:
    found = _EVERY.search(row.facts.interval)
    if found is None:
        return None
    try:
        low, high = row.low.number("mg/kg"), row.high.number("mg/kg")
    except UnlikeUnits:
        low = high = Decimal(0)
    if per_kg is None or per_kg > high * ROUNDED:
        return max(A_DAY, timedelta(hours=int(found[2] or found[1])))
    larger = bool(found[2]) and per_kg > low * ROUNDED
    return timedelta(hours=int(found[2] if larger else found[1]))


def _ago(since: timedelta) -> str:
    minutes = int(since.total_seconds() // 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h"
