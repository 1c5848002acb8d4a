"""Ceilings that several drugs and several givers share: held at the order, the signature, the draw, the push and the pump.

Carries U24, U25. What was given counts, by whomever; what runs counts by what is estimated to be in the body. A planned block is
refused over a ceiling; a dose by vein that only an estimate puts over it is asked about. Arrest and ventricular rhythm are never
held to a ceiling, and are asked about where a block comes after them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.by_vein import BOLUS
from spiracle.case.fold import Case
from spiracle.case.loads import as_dose, running_doses, stretches
from spiracle.case.prepared import dosing_weight, vial_of
from spiracle.case.pushes import (
    doses_given,
    drug_id,
    form_mark,
    hand_name,
    local_dose,
    rescues,
    route_of,
    stocked_form,
)
from spiracle.case.questions import Answering, answers, asks_instead
from spiracle.case.running import per_time
from spiracle.case.standing import orders, species, troubled
from spiracle.case.streams import Stream, streams
from spiracle.case.syringes import Infusion
from spiracle.drugs import BudgetPart, BudgetSum, LocalDose, amount_of, cumulative, left_of
from spiracle.drugs.syringe import usable
from spiracle.drugs.table import BudgetFacts
from spiracle.quantity import Quantity, down_to, figure, unit
from spiracle.refusals import AskAgain, Missing, OverLimit, Refusal, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.run_asked import Run

WORD = "or a named veterinarian says so with a reason."
FULL = Decimal(100)
AHEAD = timedelta(hours=4)  # how far a rate is looked at: longer than most cases, and where a sum has levelled out
STEP = timedelta(minutes=5)
AN_HOUR_OR_TWO = 120  # minutes after which it is told in hours
BY_VEIN = frozenset({"IV", "IO"})


def filled(case: Case, kind: BudgetFacts, facts: Facts, at: datetime) -> list[LocalDose]:
    """All that is in a ceiling at `at`: pushes, rescue doses, fluids by bolus, doses of before the case, and what pumps left."""
    return [
        *doses_given(case, kind.drugs, facts),
        *rescues(case, kind.drugs, facts),
        *_boluses(case, kind, facts),
        *running_doses(case, kind, facts, at),
    ]


def _boluses(case: Case, kind: BudgetFacts, facts: Facts) -> list[LocalDose]:
    """Fluids that went in by bolus."""
    return [
        LocalDose(drug=drug_id(f.fluid, facts), amount=Quantity.of(f.volume_ml, "mL"), at=f.happened_at, route="IV",
                  purpose=BOLUS, by=f.by)
        for f in case.live(ev.FluidGiven)
        if drug_id(f.fluid, facts) in kind.drugs
    ]  # fmt: skip


def sum_of(kind: BudgetFacts, doses: Iterable[LocalDose], case: Case, facts: Facts, at: datetime) -> BudgetSum | None:
    """The sum of one ceiling. A dose without a known ceiling for its way of giving is left out: its own stops are held beside."""

    def add(some: list[LocalDose]) -> BudgetSum | None:
        try:
            return cumulative(kind.id, some, dosing_weight(case), str(species(case)), facts.drugs, at)
        except (Missing, UnlikeUnits):
            return None

    return add([dose for dose in doses if add([dose]) is not None])


def planned(case: Case, facts: Facts, but: str = "") -> list[LocalDose]:
    """Standing orders of a dose of which nothing has gone in yet, on the weight in use; `but` leaves one out."""
    begun = {g.order for g in case.live(ev.DrugGiven) if g.order} | {s.order for s in streams(case, facts) if s.order}
    found = (as_planned(case, o, facts) for o in orders(case) if o.order not in begun and o.order != but)
    return [dose for dose in found if dose is not None]


def as_planned(case: Case, order: ev.DrugOrdered, facts: Facts) -> LocalDose | None:
    """The most an order lets go in; None for a rate, and for what cannot be worked yet."""
    try:
        amount = amount_of(Quantity.of(order.high, order.unit), dosing_weight(case).kg)
        drug, purpose = facts.drugs.drug(order.drug).id, facts.drugs.purpose(order.purpose)
    except Refusal:
        return None
    if len(amount.unit.parts) != 1:
        return None
    form = form_mark(vial_of(case, order)) or form_mark(stocked_form(drug, facts))
    return LocalDose(drug=drug, amount=amount, planned=True, route=route_of(order.route, facts), purpose=purpose,
                     by=order.ordered_by, strength=form)  # fmt: skip


# ---- what holds


def order_under(case: Case, order: ev.DrugOrdered, facts: Facts, at: datetime) -> None:
    """An order with all that is planned and given: over a ceiling it is not taken without a veterinarian's word."""
    this = as_planned(case, order, facts)
    if this is None or (order.over_hard_by and order.reason):
        return
    for kind in _kinds(this, facts):
        if kind.ask:
            continue
        before = [*filled(case, kind, facts, at), *planned(case, facts, order.order)]
        _block(_Question(case, kind, facts, at), before, this, "Order")


def draw_under(case: Case, event: ev.SyringeDrawn, order: ev.DrugOrdered, holds: Quantity, facts: Facts) -> None:
    """What is drawn will be given: it is held with what was given already, not with what others may still be given."""
    if (order.over_hard_by and order.reason) or per_time(unit(order.unit)):
        return  # what a pump will take of it is held at the pump
    drug = facts.drugs.drug(event.drug)
    this = LocalDose(drug=drug.id, amount=Quantity.of(event.volume_ml, "mL") * holds, planned=True,
                     route=route_of(order.route, facts), purpose=_purpose(order.purpose, facts),
                     strength=form_mark(event.form) or form_mark(event.vial_concentration))  # fmt: skip
    for kind in _kinds(this, facts):
        if not kind.ask:
            at = event.happened_at
            _block(_Question(case, kind, facts, at, holds), filled(case, kind, facts, at), this, "Draw")


def push_under(case: Case, event: ev.DrugGiven, amount: Quantity, facts: Facts, *, emergency: bool = False) -> None:
    """A push with all that was given and runs. What is of an emergency row, or given in trouble, is asked about and not refused."""
    if not emergency and not troubled(case):
        _push(case, event, amount, facts)
        return
    with asks_instead(event):
        _push(case, event, amount, facts)


def _push(case: Case, event: ev.DrugGiven, amount: Quantity, facts: Facts) -> None:
    this, at = local_dose(case, event, amount, facts), event.happened_at
    holds = None if not event.volume_ml else amount / Quantity.of(event.volume_ml, "mL")
    for kind in _kinds(this, facts):
        question = _Question(case, kind, facts, at, holds, event)
        before = filled(case, kind, facts, at)
        if kind.ask:
            _asked(question, before, this)
        elif this.route in BY_VEIN:
            _by_vein(question, before, this)
        else:
            _block(question, before, this, "Give")


@dataclass(frozen=True, slots=True)
class _Question:
    """What is asked of one ceiling: in which case, when, of which strength, and by which entry, if one can answer."""

    case: Case
    kind: BudgetFacts
    facts: Facts
    at: datetime
    holds: Quantity | None = None
    entry: Answering | None = None

    def ask(self, question: AskAgain) -> None:
        if self.entry is None or not answers(self.entry, question):
            raise question

    def add(self, doses: list[LocalDose]) -> BudgetSum | None:
        return sum_of(self.kind, doses, self.case, self.facts, self.at)

    def room(self, before: list[LocalDose], drug: str) -> str:
        """What may still be given, in its own unit and in mL of the strength in hand, down to a mark."""
        total = self.add(before)
        if total is None:
            return ""
        left = left_of(total, drug, dosing_weight(self.case), str(species(self.case)), self.facts.drugs)
        if left is None:
            return ""
        if left.value <= 0:
            return "nothing"
        volume = None if self.holds is None else left_ml(left, self.holds, self.facts)
        rounded = Quantity(down_to(left.value, _places(left.value)), left.unit)
        return str(rounded) if volume is None else f"{rounded}, {volume} of {self.holds}"


def _places(value: Decimal) -> Decimal:
    return Decimal(1).scaleb(value.adjusted() - 2)


def left_ml(left: Quantity, holds: Quantity, facts: Facts) -> Quantity | None:
    """An amount in mL of a strength, down to a mark of the smallest syringe that holds it; None where it is no volume."""
    try:
        ml = (left / holds).to("mL")
    except UnlikeUnits:
        return None
    able = [b for b in usable(facts.drugs.barrels, holds) if b.common and b.holds.value >= ml.value]
    mark = able[0].mark.value if able else Decimal(1)
    return Quantity(down_to(ml.value, mark), ml.unit)


def _kinds(this: LocalDose, facts: Facts) -> list[BudgetFacts]:
    """The ceilings that hold for a dose; arrest and ventricular rhythm are exempt where the table says so."""
    return [k for k in facts.drugs.budgets if this.drug in k.drugs and this.purpose not in k.exempt]


def _purpose(word: str, facts: Facts) -> str:
    try:
        return facts.drugs.purpose(word)
    except Refusal:
        return ""


def _block(q: _Question, before: list[LocalDose], this: LocalDose, verb: str) -> None:
    """A planned block: refused over the ceiling; asked about where doses for the rhythm would put it over."""
    total = q.add([*before, this])
    if total is None or not _counts(total, this):
        return
    if total.percent > FULL:
        room = q.room(before, this.drug)
        does = f"{verb} at most {room}, {WORD}" if room not in {"", "nothing"} else f"{verb} none of it, {WORD}"
        raise OverLimit("dose", _reaches(q, total), does)
    if total.percent + total.exempt_percent > FULL and verb == "Give":
        told = ", ".join(f"{p.amount} of {p.name}" for p in total.exempt)
        q.ask(AskAgain("dose", f"{told} went in for the rhythm or in arrest; with it {_reaches(q, total, total.exempt)}",
                       "Give less, or confirm it."))  # fmt: skip


def _by_vein(q: _Question, before: list[LocalDose], this: LocalDose) -> None:
    """By vein: refused where doses alone are over; asked where an estimate of what runs makes the difference."""
    total = q.add([*before, this])
    if total is None or not _counts(total, this) or total.percent <= FULL:
        return
    hard = q.add([d for d in before if not d.running or q.kind.infusions == "sum"] + [this])
    if hard is not None and hard.percent > FULL:
        room = q.room([d for d in before if not d.running or q.kind.infusions == "sum"], this.drug)
        does = f"Give at most {room}, {WORD}" if room not in {"", "nothing"} else f"Give none of it, {WORD}"
        raise OverLimit("dose", _reaches(q, hard), does)
    q.ask(AskAgain("dose", _reaches(q, total), "Give less, or confirm it."))


def _asked(q: _Question, before: list[LocalDose], this: LocalDose) -> None:
    """A ceiling that asks and never stops."""
    total = q.add([*before, this])
    if total is not None and _counts(total, this) and total.percent > FULL:
        q.ask(AskAgain("dose", _reaches(q, total), "Ask the veterinarian, then confirm it."))


def _counts(total: BudgetSum, this: LocalDose) -> bool:
    return any(p.drug == this.drug and p.amount == this.amount for p in total.parts)


def _reaches(q: _Question, total: BudgetSum, also: tuple[BudgetPart, ...] = ()) -> str:
    """The sum and the entries it is made of, in one sentence."""
    parts = [*total.parts, *also]
    each = ", ".join(f"{p.name} {p.amount} ({_how(q, p)}) {figure(p.percent, 3)} %" for p in parts)
    whole = figure(sum((p.percent for p in parts), Decimal(0)), 3)
    return f"{total.title} would reach {whole} % of its shared ceiling: {each}."


def _how(q: _Question, part: BudgetPart) -> str:
    """Which entry it is: when it went in, and by whom."""
    if part.running:
        return part.told or "running"
    if part.planned:
        return "planned"
    minutes = None if part.at is None else int((q.at - part.at).total_seconds() // 60)
    if minutes is None or minutes <= 0:
        return "this dose" if minutes == 0 else "given"
    ago = f"{minutes} min" if minutes < AN_HOUR_OR_TWO else f"{minutes // 60} h"
    return f"given {ago} ago by {hand_name(part.by, q.facts)}" if part.by else f"given {ago} ago"


# ---- pumps


def run_under(run: Run) -> None:
    """A rate that is begun or raised: where, and when, it would put the sum over."""
    if run.by_veterinarian and run.entry.reason.strip():
        return  # his own hand, and he says why
    case, facts, at = run.case, run.facts, run.entry.happened_at
    purpose = _purpose(run.purpose, facts)
    for kind in facts.drugs.budgets:
        if run.drug.id not in kind.drugs or kind.infusions == "apart" or purpose in kind.exempt:
            continue
        _projected(run, kind, _Question(case, kind, facts, at, run.holds, run.entry))


def _projected(run: Run, kind: BudgetFacts, q: _Question) -> None:
    """The sum from now on at the new rate, every five minutes for four hours."""
    own, begun = _own(run), run.started
    others = [d for d in filled(run.case, kind, run.facts, q.at) if not d.running]
    moment = q.at
    while moment <= q.at + AHEAD:
        steps = [*((t, r) for t, r in (own.steps if own is not None else ())), (q.at, run.entry.rate_ml_h)]
        mine = _mine(run, own, steps, kind, moment)
        beside = running_doses(run.case, kind, run.facts, moment, begun.infusion)
        doses = [*others, *beside, *([mine] if mine is not None else ())]
        total = sum_of(kind, doses, run.case, run.facts, moment)
        if total is not None and total.percent > FULL:
            _over_ahead(q, total, int((moment - q.at).total_seconds() // 60))
            return
        moment += STEP


def _own(run: Run) -> Stream | None:
    """What of this drug this pump has run already, if it runs."""
    return next(
        (s for s in streams(run.case, run.facts) if s.id == run.started.infusion and s.drug == run.drug.id), None
    )


def _mine(
    run: Run, own: Stream | None, steps: Iterable[tuple[datetime, Decimal]], kind: BudgetFacts, at: datetime
) -> LocalDose | None:
    """This drug of this pump at a moment to come, at the new rate."""
    if own is None:
        asked = Infusion(run.started, ((run.entry.happened_at, run.entry.rate_ml_h),), None, "", None)
        order = "" if run.order is None else run.order.order
        own = Stream(asked, run.drug.id, run.holds, order, run.purpose, run.started.bag, run.part)
    return as_dose(run.case, own, stretches(tuple(steps), at, at), kind, run.facts, at)


def _over_ahead(q: _Question, total: BudgetSum, minutes: int) -> None:
    if q.kind.infusions == "sum" and not q.kind.ask and minutes == 0:
        raise OverLimit("rate", _reaches(q, total), f"Stop it, {WORD}")
    when = "now" if minutes == 0 else f"in about {minutes} min"
    q.ask(AskAgain("rate", f"At this rate, {when}: {_reaches(q, total)}", "Run it slower, or confirm it."))
