"""Bags with drugs in them: what went in can be read, adds up, and may be mixed."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_people import need_words
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def bag_mixed(_case: Case, event: ev.BagMixed, facts: Facts, _now: datetime) -> None:
    need_words(event.bag, "bag", "Give the bag an id.")
    facts.drugs.drug(event.fluid)
    for part in event.parts:
        facts.drugs.drug(part.drug)


RULES: Rules = {ev.BagMixed: bag_mixed}
