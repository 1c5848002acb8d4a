"""Drugs given before this case began: known, with a dose and a time in the past, so that they can be counted. Carries U25."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.pushes import readable_amount
from spiracle.case.ruling import Rules
from spiracle.case.standing import species
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, OutOfRange

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

LONGEST = timedelta(hours=72)


def given_before(case: Case, event: ev.GivenBefore, facts: Facts, _now: datetime) -> None:
    drug = facts.drugs.drug(event.drug, species(case))
    route = facts.drugs.route(event.route)
    amount = Quantity.of(event.amount, event.unit)
    readable_amount(amount, drug, facts)
    if event.given_at > event.recorded_at:
        raise Contradiction("given at", "is later than the entry was made.", "Give the time it was given.")
    if event.recorded_at - event.given_at > LONGEST:
        raise OutOfRange("given at", "is more than 72 h ago.", "Enter older medicines as history.")
    for other in case.live(ev.GivenBefore):
        same = facts.drugs.drug(other.drug).id == drug.id and facts.drugs.route(other.route) == route
        if same and other.given_at == event.given_at:
            raise Contradiction(
                "given at", f"{drug.name} of that time is entered already.", "Strike the first, if it is wrong."
            )


RULES: Rules = {ev.GivenBefore: given_before}
