"""The same NSAID again before its interval is over: refused, whoever gave the first one and wherever.

Carries U14, U25. Another NSAID, or a steroid, is a condition of the moment and stops by its caution. Where a row says "once",
a day is kept (common practice, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.pushes import drug_id, hand_name
from spiracle.case.standing import given, species
from spiracle.refusals import OverLimit

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case
    from spiracle.drugs import Drug

GROUP = "NSAID"
A_DAY = timedelta(hours=24)
_EVERY = re.compile(r"\bevery (\d+)(?: to \d+)? h\b")


def nsaid_again(case: Case, event: ev.DrugGiven, drug: Drug, facts: Facts) -> None:
    """Refuses a push of an NSAID inside the interval of the last one; increments of one order are one dose."""
    if drug.id not in facts.drugs.classes.get(GROUP, ()):
        return
    apart = _apart(drug.id, case, facts)
    for when, who, where in _doses(case, drug.id, event.order, facts):
        since = event.happened_at - when
        if timedelta(0) <= since < apart:
            hours = f"{apart.total_seconds() / 3600:g} h"
            place = f" on {where}" if where else ""
            raise OverLimit(
                "drug", f"{drug.name} was given {_ago(since)} ago{place} by {who}; it is given every {hours} at the soonest.",
                "Wait, choose another way, or a named veterinarian says so with a reason.",
            )  # fmt: skip


def _doses(case: Case, drug: str, order: str, facts: Facts) -> Iterable[tuple[datetime, str, str]]:
    """When, by whom and where it was given, here and before; but for the pushes of this order."""
    for g in given(case):
        if drug_id(g.drug, facts) == drug and not (order and g.order == order):
            yield g.happened_at, hand_name(g.giver or g.by, facts), ""
    for b in case.live(ev.GivenBefore):
        if drug_id(b.drug, facts) == drug:
            yield b.given_at, b.by_whom or hand_name(b.by, facts), b.where


def _apart(drug: str, case: Case, facts: Facts) -> timedelta:
    """The shortest interval that a row of this drug tells; a day where none does."""
    rows = facts.drugs.every(drug, str(species(case)))
    told = [int(found[1]) for r in rows if (found := _EVERY.search(r.facts.interval))]
    return timedelta(hours=min(told)) if told else A_DAY


def _ago(since: timedelta) -> str:
    minutes = int(since.total_seconds() // 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h"
