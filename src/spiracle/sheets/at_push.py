"""What is said as a drug is about to go in: what went in before, when it works, when it may be repeated, what else is on board.

Carries U19, U25, U29. Times to come are worked from the rows of the tables: they are expectations, never readings.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from functools import cached_property

import msgspec

from spiracle.case import events as ev
from spiracle.case.intervals import interval_of
from spiracle.case.moments import makers, on_board, went_in
from spiracle.case.pushes import amount_given, drug_id
from spiracle.case.standing import plan_state
from spiracle.case.streams import streams
from spiracle.drugs import DoseRow
from spiracle.drugs.cautions import cautions
from spiracle.quantity import figure
from spiracle.sheets.countersign import to_be_signed
from spiracle.sheets.differences import so_far
from spiracle.sheets.names import capital, joined, unit_text
from spiracle.sheets.plan_lines import caution_flag
from spiracle.sheets.shapes import AtPush, BeforeLine, RiskFlag
from spiracle.sheets.told import Told
from spiracle.sheets.words_before import order_words
from spiracle.sheets.worked_shape import cited

MOST = 4  # lines of earlier doses: the newest say what matters
BACK = timedelta(hours=24)
# How long an antagonist, and what it undoes, are counted: from memory, long on purpose.
_TIMES = frozenset({"onset_min", "lasts_min", "interval"})
UNDOES, UNDONE = timedelta(hours=2), timedelta(hours=8)
_KINDS = (
    "full mu opioid",
    "partial mu opioid",
    "kappa agonist",
    "alpha-2 agonist",
    "NSAID",
    "corticosteroid",
    "local anaesthetic",
)


@dataclass(frozen=True)
class _Went:
    drug: str
    order: str
    line: BeforeLine


class Board:
    """What went into this animal, read once for all syringes of a page."""

    def __init__(self, t: Told) -> None:
        self.t = t

    @cached_property
    def went(self) -> list[_Went]:
        """Newest first."""
        t = self.t
        found = [*self._pushes(), *self._before(), *self._ran()]
        return sorted((w for w in found if t.now - w.line.at <= BACK), key=lambda w: w.line.at, reverse=True)

    @cached_property
    def minutes(self) -> list[tuple[str, Decimal]]:
        return list(went_in(self.t.case, self.t.facts, self.t.now))

    def _pushes(self) -> Iterable[_Went]:
        for g in self.t.given:
            text = joined((f"{self._name(g.drug)} {figure(g.amount)} {unit_text(g.unit)}", g.route), " ")
            line = BeforeLine(event_id=g.id, at=g.happened_at, text=text, by=self.t.names.hand(g.giver or g.by))
            yield _Went(drug_id(g.drug, self.t.facts), g.order, line)

    def _before(self) -> Iterable[_Went]:
        for b in self.t.case.live(ev.GivenBefore):
            amount = amount_given(b)
            told = "" if amount is None else f"{figure(b.amount)} {unit_text(b.unit)}"
            text = joined((self._name(b.drug), told, b.route, b.where), " ")
            line = BeforeLine(
                event_id=b.id, at=b.given_at, text=text, by=b.by_whom or self.t.names.hand(b.by), here=False
            )
            yield _Went(drug_id(b.drug, self.t.facts), "", line)

    def _ran(self) -> Iterable[_Went]:
        t = self.t
        for s in streams(t.case, t.facts):
            amount = s.amount(t.now)
            if amount is None:
                continue
            stopped = s.infusion.stopped
            how = "running" if stopped is None else "stopped"
            text = f"{self._name(s.drug)} by pump, {figure(amount.value, 3)} {amount.unit} so far, {how}"
            at = t.now if stopped is None else stopped.happened_at
            by = t.names.hand(s.infusion.started.by)
            yield _Went(s.drug, s.order, BeforeLine(event_id=s.infusion.started.id, at=at, text=text, by=by))

    def _name(self, drug: str) -> str:
        return capital(self.t.names.drug(drug))


def at_push(board: Board, drug: str, order: ev.DrugOrdered | None, row: DoseRow | None) -> AtPush:
    """For one drug, under its order where it has one."""
    t = board.t
    name = drug_id(drug, t.facts)
    kin = _kin(name, t)
    mine = [w for w in board.went if w.drug == name]
    last = mine[0].line.at if mine else None
    span = None if row is None else interval_of(row)
    onset = None if row is None or row.onset_min is None else timedelta(minutes=float(row.onset_min[1]))
    return AtPush(
        order_ref=_order_words(t, order),
        before=tuple(w.line for w in board.went if w.drug in kin)[:MOST],
        onset="" if row is None else _minutes(row.onset_min),
        lasts="" if row is None else row.facts.interval or _minutes(row.lasts_min),
        onset_at=last + onset if last is not None and onset is not None else None,
        next_due=last + span if last is not None and span is not None else None,
        with_on_board=_with(board, name, t),
        difference="" if order is None else so_far(t, order),
        unsigned=_unsigned(t, order),
        times_memory=row is not None and (row.facts.memory or bool(_TIMES & set(row.memory_fields))),
        times_cited=() if row is None else cited(row.sources, t.facts.sources),
    )  # fmt: skip


def _order_words(t: Told, order: ev.DrugOrdered | None) -> str:
    if order is None:
        return ""
    return joined(
        (order_words(order, t.names), f"ordered by {t.names.hand(order.ordered_by)}" if order.ordered_by else "")
    )


def _kin(drug: str, t: Told) -> frozenset[str]:
    """The drug itself, and those of a class that adds to it."""
    classes = t.facts.drugs.classes
    group = t.facts.drugs.drug(drug).group if drug else ""
    kin = {drug}
    for name in _KINDS:
        members = set(classes.get(name, ()))
        if drug in members or group.startswith(name):
            kin |= members
    return frozenset(kin)


def _with(board: Board, drug: str, t: Told) -> tuple[RiskFlag, ...]:
    """Cautions of this drug that something on board makes true, with what makes them so; what only other orders make true stands
    on the plan. Then what undoes it, or what it would undo."""
    if not drug:
        return ()
    went = [(d, m) for d, m in board.minutes if d != drug]
    found = frozenset(on_board(drug, set(), went, t.facts))
    hits = [h for h in cautions(drug, t.species, found, t.facts.drugs) if h.matched] if found else []
    told = [_because(board, caution_flag(h, t.facts), drug, frozenset(h.because)) for h in hits]
    return tuple(dict.fromkeys((*told, *_undone(board, drug), *_undoes(board, drug))))


def _because(board: Board, flag: RiskFlag, drug: str, conditions: frozenset[str]) -> RiskFlag:
    """The caution with the newest dose that makes it true, and for how long such a dose is counted."""
    for condition, members, within in makers(drug, board.t.facts):
        last = next((w for w in board.went if w.drug in members), None)
        if condition in conditions and last is not None:
            counted = f"counted for {_hours(within)}, from memory and long on purpose"
            return msgspec.structs.replace(flag, changes=f"{flag.changes} On board: {_told(board, last)}; {counted}.")
    return flag


def _undone(board: Board, drug: str) -> Iterable[RiskFlag]:
    """Its antagonist went in not long ago: it may not work yet, and more of it works too well later."""
    back = board.t.facts.drugs.drug(drug).reversal
    last = _last_within(board, {back} if back else set(), UNDOES)
    if last is not None:
        says = f"{_told(board, last)}: this drug may not work as usual; counted for {_hours(UNDOES)}."
        yield RiskFlag(title="its reversal went in", changes=says, severity="care", memory=True)


def _undoes(board: Board, drug: str) -> Iterable[RiskFlag]:
    """What it would undo: pain relief and sedation that somebody counts on."""
    facts = board.t.facts
    known = {w.drug for w in board.went if w.drug}
    of = {d for d in known if facts.drugs.drug(d).reversal == drug}
    last = _last_within(board, of, UNDONE)
    if last is not None:
        says = f"{_told(board, last)}: its effect ends with this push, pain relief too where it gave any."
        yield RiskFlag(title="what it undoes", changes=says, severity="care", memory=True)


def _last_within(board: Board, drugs: set[str], within: timedelta) -> _Went | None:
    return next((w for w in board.went if w.drug in drugs and board.t.now - w.line.at <= within), None)


def _told(board: Board, went: _Went) -> str:
    return f"{went.line.text}, {board.t.names.clock(went.line.at)} by {went.line.by}"


def _hours(span: timedelta) -> str:
    minutes = span // timedelta(minutes=1)
    return f"{minutes} min" if minutes % 60 else f"{minutes // 60} h"


def _unsigned(t: Told, order: ev.DrugOrdered | None) -> str:
    """What is missing of a signature: the veterinarian's own for an order said aloud, or that of the plan."""
    if order is None:
        return "no order"
    if waits := to_be_signed(t, order):
        return waits
    if t.hospital.is_veterinarian(order.by):
        return ""
    return "" if plan_state(t.case).approved is not None else "the plan is not signed"


def _minutes(span: tuple[object, object] | None) -> str:
    if span is None:
        return ""
    low, high = span
    return f"{low} min" if low == high else f"{low} to {high} min"
