"""Deciding: may this entry stand in this case? Pure: the case as it is, the entry, the tables and the time in; the events
to append out, or a named refusal. Nothing is filled in, corrected or clamped on the way."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from spiracle.case import decide_form
from spiracle.case.events import Event
from spiracle.case.fold import Case

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

Rule = Callable[[Case, Any, "Facts", datetime], None]
RULES: dict[type[Event], Rule] = {}


def decide(case: Case, event: Event, facts: Facts, now: datetime) -> tuple[Event, ...]:
    """The events to append for `event`, in order; or a `Refusal` that says why and what would be accepted."""
    decide_form.check(case, event, facts, now)
    rule = RULES.get(type(event))
    if rule is not None:
        rule(case, event, facts, now)
    return (event,)
