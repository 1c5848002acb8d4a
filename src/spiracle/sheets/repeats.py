"""Doses that fall due again: an antibiotic while the wound is open, pain relief and its clock from the ward.

Carries U20, U25. The interval is the row's and says where it comes from; nothing here orders a dose.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from spiracle.case import events as ev
from spiracle.case.intervals import interval_of
from spiracle.case.pushes import drug_id, route_of
from spiracle.drugs import DoseRow
from spiracle.refusals import Refusal
from spiracle.sheets.names import capital, joined
from spiracle.sheets.shapes import Due, PhaseName
from spiracle.sheets.told import Told, purpose_of

PAIN, ANTIBIOTIC = "analgesia", "antibiotic"
LEAST = timedelta(minutes=60)  # what works for less is repeated by what is seen, not by the clock


@dataclass(frozen=True, slots=True)
class _Last:
    drug: str
    route: str
    purpose: str
    order: str
    at: datetime
    where: str


def repeats(t: Told) -> Iterable[Due]:
    """The last dose of each drug that has an interval, at the time it may be given again."""
    if t.ended_at is not None:
        return
    for last in _lasts(t).values():
        row = _row(t, last)
        span = None if row is None else interval_of(row)
        if row is None or span is None or span < LEAST or not _wanted(t, row, last):
            continue
        stands = t.orders.get(last.order)
        detail = joined((
            f"{t.names.clock(last.at)} last{last.where}", row.facts.interval or "by how long it works",
            "from memory" if row.memory else "", "" if stands is not None else "needs an order",
        ))  # fmt: skip
        yield Due(id=f"repeat {last.drug}", title=f"{capital(t.names.drug(last.drug))} again", detail=detail,
                  at=last.at + span, from_at=last.at, phase=_phase(t, row))  # fmt: skip


def _lasts(t: Told) -> dict[str, _Last]:
    found: dict[str, _Last] = {}
    before = [
        _Last(
            drug_id(b.drug, t.facts),
            route_of(b.route, t.facts),
            "",
            "",
            b.given_at,
            f" on {b.where}" if b.where else " before",
        )
        for b in t.case.live(ev.GivenBefore)
    ]
    here = [
        _Last(drug_id(g.drug, t.facts), route_of(g.route, t.facts), purpose_of(g, t.orders), g.order, g.happened_at, "")
        for g in t.given
    ]
    for one in sorted((*before, *here), key=lambda x: x.at):
        if one.drug:
            found[one.drug] = one
    return found


def _row(t: Told, last: _Last) -> DoseRow | None:
    """The order's own row; of what has none, the one of its drug and route that may be repeated soonest."""
    order = t.orders.get(last.order)
    if order is not None and order.row:
        try:
            return t.facts.drugs.row(order.row)
        except Refusal:
            return None
    able = [r for r in t.facts.drugs.every(last.drug, t.species)
            if last.route in r.routes and not r.infusion and r.pick != "never" and set(r.purposes) & {PAIN, ANTIBIOTIC}
            and interval_of(r) is not None]  # fmt: skip
    return min(able, key=lambda r: interval_of(r) or LEAST, default=None)


def _wanted(t: Told, row: DoseRow, last: _Last) -> bool:
    """An antibiotic while the wound may be open; pain relief until the case has ended."""
    if ANTIBIOTIC in row.purposes:
        closed = t.mark("procedure end")
        return closed is None or closed < last.at
    return PAIN in row.purposes


def _phase(t: Told, row: DoseRow) -> PhaseName:
    return "maintain" if ANTIBIOTIC in row.purposes or t.asleep else "recover"
