"""What else is on board when a drug is ordered or given: the case's other orders, what went in by hand or pump, and what was given
before say it, nothing else does.

These are conditions of the moment, not of the animal: a premedication makes an induction dose another one, an NSAID given
makes a second one wrong. Carries U14, U25. How long each counts is common practice, from memory, and long on purpose.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case.events import DrugOrdered, GivenBefore
from spiracle.case.fold import Case
from spiracle.case.standing import given, orders
from spiracle.case.streams import streams
from spiracle.refusals import Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

KETAMINE = timedelta(minutes=40)
ACEPROMAZINE = timedelta(hours=12)
# A class of drugs, the condition that it makes for another drug, and for how long after it went in.
ON_BOARD: tuple[tuple[str, str, timedelta], ...] = (
    ("alpha-2 agonist", "alpha2-on-board", timedelta(hours=8)),
    ("full mu opioid", "full-mu-opioid-recent", timedelta(minutes=240)),
    ("NSAID", "nsaid-recent", timedelta(hours=24)),
    ("corticosteroid", "steroid-recent", timedelta(hours=24)),
)
RECENT = "ketamine-recent"
_MINUTE = timedelta(minutes=1)


def moments(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> frozenset[str]:
    """Condition ids of the moment for one order, as of `at`."""
    others = [o for o in orders(case) if o.order != order.order]
    went = went_in(case, facts, at, order.order)
    own, purpose = _drug(order.drug, facts), _purpose(order.purpose, facts)
    found = set(on_board(own, {_drug(o.drug, facts) for o in others}, went, facts))
    if purpose == "induction":
        sedated = went or any(_purpose(o.purpose, facts) in {"premedication", "sedation"} for o in others)
        found.add("premedicated" if sedated else "no premedication")
    if purpose == "maintenance":
        found.add("under anaesthesia")
    return frozenset(found)


def went_in(case: Case, facts: Facts, at: datetime, but: str = "") -> list[tuple[str, Decimal]]:
    """Each drug that went in, and the minutes since: pushes, doses of before the case, and what runs or ran by a pump (since it
    stopped). What rests on the order `but` is left out."""
    pushes = [(_drug(g.drug, facts), g.happened_at) for g in given(case) if not but or g.order != but]
    before = [(_drug(b.drug, facts), b.given_at) for b in case.live(GivenBefore)]
    ran = [
        (s.drug, at if s.infusion.stopped is None else s.infusion.stopped.happened_at)
        for s in streams(case, facts)
        if s.holds is not None and (not but or s.order != but)
    ]
    return [(drug, _minutes(when, at)) for drug, when in (*before, *pushes, *ran)]


def on_board(own: str, ordered: set[str], went: Iterable[tuple[str, Decimal]], facts: Facts) -> Iterable[str]:
    """The conditions that other drugs make for this one: those ordered beside it, and those that went in not long ago."""
    had = tuple(went)
    for condition, members, within in makers(own, facts):
        as_ordered = condition != RECENT and members & ordered  # an order has no time yet, so it cannot be "recent"
        if as_ordered or any(d in members and minutes <= Decimal(within // _MINUTE) for d, minutes in had):
            yield condition


def makers(own: str, facts: Facts) -> Iterable[tuple[str, frozenset[str], timedelta]]:
    """Each condition that drugs on board make for another drug: which drugs make it, and for how long after they went in."""
    for group, condition, within in ON_BOARD:
        yield condition, frozenset(facts.drugs.classes.get(group, ())) - {own}, within
    if own != "acepromazine":
        yield "acepromazine-on-board", frozenset({"acepromazine"}), ACEPROMAZINE
    yield RECENT, frozenset({"ketamine"}), KETAMINE


def _minutes(when: datetime, at: datetime) -> Decimal:
    return Decimal(max(0, int((at - when).total_seconds()) // 60))


def _drug(name: str, facts: Facts) -> str:
    try:
        return facts.drugs.drug(name).id
    except Unknown:
        return ""


def _purpose(word: str, facts: Facts) -> str:
    try:
        return facts.drugs.purpose(word)
    except Unknown:
        return ""
