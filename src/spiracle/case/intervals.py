"""An opioid that works for hours, given again while the last one still does: asked about, whoever gave it and wherever.

Carries U19, U25. The interval is the row's; where no row tells one, nothing is asked.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.limits import EVERY
from spiracle.case.pushes import amount_given, drug_id, is_plain_amount, route_of
from spiracle.case.questions import asking
from spiracle.case.standing import given, species
from spiracle.drugs import DoseRow, Drug
from spiracle.quantity import figure
from spiracle.refusals import AskAgain, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case

HOURS = timedelta(hours=1)  # what works for less is given by increments, and asked about by its own order
OPIOIDS = ("full mu opioid", "partial mu opioid", "kappa agonist", "weak mu agonist")


@dataclass(frozen=True, slots=True)
class Before:
    """A dose that still works: which drug, how much, when, by whom and where."""

    drug: str
    amount: str
    at: datetime
    by: str
    where: str
    order: str
    route: str


def opioid_again(case: Case, event: ev.DrugGiven, drug: Drug, facts: Facts) -> None:
    """Asks where another long opioid was given within its own interval; the pushes of one order are held by the order."""
    if not _opioid(drug) or soonest(drug.id, route_of(event.route, facts), case, facts) is None:
        return
    for one in _doses(case, facts):
        if one.order and one.order == event.order:
            continue
        known = facts.drugs.drug(one.drug)
        lasts = soonest(one.drug, one.route, case, facts) if _opioid(known) else None
        apart = abs(event.happened_at - one.at)
        if lasts is not None and apart < lasts:
            when = "ago" if one.at <= event.happened_at else "after this"
            place = f" on {one.where}" if one.where else ""
            with asking(event):
                raise AskAgain(
                    "drug", f"{known.name} {one.amount} was given {int(apart.total_seconds() // 60)} min {when}{place} by "
                    f"{one.by}, and is given every {_told(lasts)} at the soonest.", "Ask the veterinarian, then confirm it.",
                )  # fmt: skip


def _doses(case: Case, facts: Facts) -> Iterable[Before]:
    for g in given(case):
        name = drug_id(g.drug, facts)
        if name and (amount := amount_given(g)) is not None and is_plain_amount(amount):
            by = _who(g.giver or g.by, facts)
            yield Before(name, f"{figure(g.amount)} {g.unit}", g.happened_at, by, "", g.order, route_of(g.route, facts))
    for b in case.live(ev.GivenBefore):
        name = drug_id(b.drug, facts)
        if name:
            by = b.by_whom or _who(b.by, facts)
            yield Before(name, f"{figure(b.amount)} {b.unit}", b.given_at, by, b.where, "", route_of(b.route, facts))


def _who(hand: str, facts: Facts) -> str:
    try:
        return facts.hospital.person(hand).name
    except Refusal:
        return hand


def _opioid(drug: Drug) -> bool:
    return drug.group.startswith(OPIOIDS)


def soonest(drug: str, route: str, case: Case, facts: Facts) -> timedelta | None:
    """How soon a drug may be given again by a route: the shortest interval that a row tells; None for what works for less than
    an hour, or where no row tells one."""
    rows = [r for r in facts.drugs.every(drug, str(species(case))) if route in r.routes and not r.infusion]
    told = [span for r in rows if (span := interval_of(r)) is not None]
    shortest = min(told, default=None)
    return shortest if shortest is not None and shortest >= HOURS else None


def interval_of(row: DoseRow) -> timedelta | None:
    """How soon a dose of this row may be given again, as the row tells it: its interval, else how long it works."""
    told = EVERY.search(row.facts.interval)
    if told is not None:
        return timedelta(minutes=float(told[1]) * (60 if told[2] == "h" else 1))
    return timedelta(minutes=float(row.lasts_min[0])) if row.lasts_min is not None else None


def _told(span: timedelta) -> str:
    hours = span.total_seconds() / 3600
    return f"{hours:g} h"
