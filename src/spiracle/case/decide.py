"""Deciding: may this entry stand in this case? Pure: the case as it is, the entry, the tables and the time in; the events
to append out, or a named refusal. Nothing is filled in, corrected or clamped on the way."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import (
    decide_airway,
    decide_bags,
    decide_before,
    decide_drugs,
    decide_fluids,
    decide_form,
    decide_identity,
    decide_infusions,
    decide_lists,
    decide_machine,
    decide_monitors,
    decide_orders,
    decide_protocols,
    decide_record,
    decide_syringes,
    decide_ventilation,
    decide_watching,
)
from spiracle.case.events import EntryStruck, Event
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules
from spiracle.refusals import Contradiction, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

RULES: Rules = {
    **decide_identity.RULES,
    **decide_orders.RULES,
    **decide_protocols.RULES,
    **decide_before.RULES,
    **decide_bags.RULES,
    **decide_syringes.RULES,
    **decide_drugs.RULES,
    **decide_fluids.RULES,
    **decide_infusions.RULES,
    **decide_airway.RULES,
    **decide_lists.RULES,
    **decide_machine.RULES,
    **decide_monitors.RULES,
    **decide_watching.RULES,
    **decide_ventilation.RULES,
    **decide_record.RULES,
}


def decide(case: Case, event: Event, facts: Facts, now: datetime) -> tuple[Event, ...]:
    """The events to append for `event`, in order; or a `Refusal` that says why and what would be accepted."""
    decide_form.check(case, event, facts, now)
    decide_record.closed(case, event)
    RULES[type(event)](case, event, facts, now)
    if isinstance(event, EntryStruck):
        _gives_back(case, event, facts, now)
    return (event,)


def _gives_back(case: Case, event: EntryStruck, facts: Facts, now: datetime) -> None:
    """Striking a strike lets the first entry stand again: it must still fit the case as it is now."""
    strike = case.line(event.target)
    entry = case.line(strike.event.target) if strike is not None and isinstance(strike.event, EntryStruck) else None
    if entry is None or entry.struck is None or entry.struck.id != event.target:
        return
    try:
        RULES[type(entry.event)](case, entry.event, facts, now)
    except Refusal as refusal:
        raise Contradiction("target", f"gives back an entry that no longer fits ({refusal.field}: {refusal.says})",
                            "Enter it anew as it is now.") from refusal  # fmt: skip
