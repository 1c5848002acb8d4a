"""What pumps have put into the shared ceilings: what is estimated to be in the body still, or all that ran in.

Carries U24. An estimate is a prediction and says so wherever it is shown; a drug that is not known to leave counts in full.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case.animal import conditions
from spiracle.case.fold import Case
from spiracle.case.pushes import form_mark, route_of, stocked_form
from spiracle.case.standing import order, species
from spiracle.case.streams import Stream, streams
from spiracle.case.syringes import syringe
from spiracle.drugs import LocalDose, Ran, load
from spiracle.drugs.table import BudgetFacts
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

_HOUR = Decimal(3600)
Steps = tuple[tuple[datetime, Decimal], ...]


def running_doses(case: Case, kind: BudgetFacts, facts: Facts, at: datetime, but: str = "") -> list[LocalDose]:
    """Each drug of a ceiling that runs or ran by a pump, as it counts at `at`; `but` leaves one infusion out."""
    if kind.infusions == "apart":
        return []
    found = []
    for stream in streams(case, facts):
        if stream.drug in kind.drugs and stream.id != but and stream.infusion.started.happened_at <= at:
            dose = as_dose(case, stream, stretches_of(stream, at), kind, facts, at)
            if dose is not None:
                found.append(dose)
    return found


def as_dose(
    case: Case, stream: Stream, ran: Iterable[Ran], kind: BudgetFacts, facts: Facts, at: datetime
) -> LocalDose | None:
    """Stretches [mL/h] of one stream as a dose; None where its strength cannot be read, or nothing of it is there."""
    stretches = tuple(ran)
    half_life = _half_life(case, stream.drug, kind, facts, at)
    ml = load(stretches, half_life)
    amount = Quantity.of(ml, "mL") if stream.holds is None else Quantity.of(ml, "mL") * stream.holds
    if stream.holds is None and stream.part is not None:
        return None
    if amount.value <= 0:
        return None
    plain = load(stretches, None)
    told = "all that ran in" if half_life is None else (
        f"estimated to be in the body still, of {_amount(plain, stream)} that ran in; half of it gone in {figure(half_life)} min"
    )  # fmt: skip
    stopped = stream.infusion.stopped
    ended = stopped.happened_at if stopped is not None and stopped.happened_at <= at else None
    return LocalDose(
        drug=stream.drug, amount=amount, at=ended, route=route_of(stream.route, facts), purpose=_purpose(stream, facts, case),
        strength=form_ran(case, stream, facts), running=True, told=told, by=stream.infusion.started.by,
    )  # fmt: skip


def _amount(ml: Decimal, stream: Stream) -> str:
    volume = Quantity.of(ml, "mL")
    return str(volume if stream.holds is None else volume * stream.holds)


def _half_life(case: Case, drug: str, kind: BudgetFacts, facts: Facts, at: datetime) -> Decimal | None:
    """How fast it leaves this animal; None where that is not known, or where something about the animal slows it."""
    if kind.infusions != "load":
        return None
    row = facts.drugs.eliminations.get((drug, str(species(case))))
    if row is None or conditions(case, facts, at) & set(row.unless):
        return None
    return row.half_life_min


def _purpose(stream: Stream, facts: Facts, case: Case) -> str:
    rests = order(case, stream.order) if stream.order else None
    try:
        return facts.drugs.purpose(rests.purpose if rests is not None else stream.purpose)
    except Refusal:
        return ""


def form_ran(case: Case, stream: Stream, facts: Facts) -> str:
    """Which form of a drug runs: by the words on its syringe, its bag's vial or what was said of it, else the only one stocked."""
    started = stream.infusion.started
    drawn = syringe(case, started.syringe) if started.syringe else None
    words = [drawn.drawn.form, drawn.drawn.vial_concentration] if drawn is not None else [started.concentration]
    if stream.part is not None:
        words = [stream.part.vial_concentration]
    found = next((mark for w in words if (mark := form_mark(w))), "")
    return found or form_mark(stocked_form(stream.drug, facts))


def stretches_of(stream: Stream, at: datetime) -> list[Ran]:
    """Its rates as stretches before `at` [mL/h]. A total that was read from the pump stands over rate times time."""
    stopped = stream.infusion.stopped
    end = min(at, stopped.happened_at) if stopped is not None else at
    found = stretches(stream.steps, end, at)
    if stopped is None or stopped.total_ml is None or at < stopped.happened_at:
        return found
    worked = load(found, None)
    share = stopped.total_ml / worked if worked > 0 else Decimal(0)
    return [Ran(r.per_hour * share, r.began, r.ended) for r in found]


def stretches(steps: Steps, end: datetime, at: datetime) -> list[Ran]:
    """Rates [mL/h] with the times they began, as stretches up to `end`, told in hours before `at`."""
    found = []
    for (begin, rate), to_ in zip(steps, [*(t for t, _ in steps[1:]), end], strict=True):
        until = min(to_, end)
        if begin < until and rate > 0:
            found.append(Ran(rate, _hours(begin, at), _hours(until, at)))
    return found


def _hours(then: datetime, at: datetime) -> Decimal:
    return Decimal(int((at - then).total_seconds())) / _HOUR
