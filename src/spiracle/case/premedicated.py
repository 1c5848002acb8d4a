"""What went in beforehand and still works at a moment, by the tables: one reading of the log for every sheet that asks.

A reversal takes a drug away that no table measures the rest of; a dose of before the case whose length of action the tables do not
say may work or not. Both are named here, never guessed at.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

from spiracle.case import events as ev
from spiracle.case.pushes import route_of
from spiracle.refusals import Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

MINUTE = timedelta(minutes=1)


class Went(Protocol):
    """A push, or a dose of before, with its drug as the tables call it."""

    @property
    def drug(self) -> str: ...
    @property
    def at(self) -> datetime: ...
    @property
    def push(self) -> ev.DrugGiven | ev.GivenBefore: ...


def lasts_minutes(drug: str, kind: str, route: str, facts: Facts) -> Decimal | None:
    """The longest that the tables say a drug works in this species: by this route, else by any; None where they do not say."""
    try:
        rows = facts.drugs.every(drug, kind)
    except Refusal:
        return None
    by_route = [r.lasts_min[1] for r in rows if r.lasts_min is not None and route in r.routes]
    by_any = [r.lasts_min[1] for r in rows if r.lasts_min is not None]
    return max(by_route or by_any, default=None)


def still_works(went: Went, kind: str, facts: Facts, at: datetime) -> bool:
    """Where the tables do not say how long, a push of this case counts: it was given for this anaesthetic."""
    lasts = _lasts(went, kind, facts)
    return lasts is None or Decimal((at - went.at) / MINUTE) <= lasts


def was_reversed(before: Collection[Went], counts: Callable[[str], bool], facts: Facts) -> bool:
    """Whether of what counts an agonist went in, and its antagonist after it."""
    return any(
        back.drug == facts.drugs.drug(w.drug).reversal and back.at >= w.at
        for w in before if counts(w.drug)
        for back in before if facts.drugs.is_reversal(back.drug)
    )  # fmt: skip


def unknown_how_long(before: Collection[Went], counts: Callable[[str], bool], kind: str, facts: Facts) -> bool:
    """Whether of what counts something was given before the case, and the tables do not say how long it works."""
    return any(isinstance(w.push, ev.GivenBefore) and counts(w.drug) and _lasts(w, kind, facts) is None for w in before)


def _lasts(went: Went, kind: str, facts: Facts) -> Decimal | None:
    return lasts_minutes(went.drug, kind, route_of(went.push.route, facts), facts)
