"""Drugs given before this case began: known, with a dose and a time in the past, so that they can be counted."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules
from spiracle.quantity import Quantity

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def given_before(_case: Case, event: ev.GivenBefore, facts: Facts, _now: datetime) -> None:
    facts.drugs.drug(event.drug)
    facts.drugs.route(event.route)
    Quantity.of(event.amount, event.unit)


RULES: Rules = {ev.GivenBefore: given_before}
