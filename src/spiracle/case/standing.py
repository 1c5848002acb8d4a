"""What stands in a case now: weight, orders, times, signatures. One reading of the log for deciding and for showing."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from spiracle.case.events import (
    AllergiesAsked,
    ArrestBegan,
    ArrestEnded,
    AsaAssigned,
    AttemptEnded,
    CaseOpened,
    DosingWeightSet,
    DrugGiven,
    DrugOrdered,
    Extubated,
    GapExplained,
    HistoryTaken,
    LimitOrdered,
    OrderWithdrawn,
    OutcomeNoted,
    PlanApproved,
    RecordAmended,
    RecordSigned,
    SheetPrinted,
    Species,
    TimeMarked,
    TroubleBegan,
    TroubleEnded,
    TubePlaced,
    Weighed,
)
from spiracle.case.fold import Case, E, Line
from spiracle.case.tube import went_in

FIGURES = re.compile(r"([0-9]+)")
ABOUT_THE_RECORD = (RecordSigned, RecordAmended, SheetPrinted, GapExplained, OutcomeNoted)


@dataclass(frozen=True, slots=True)
class WeightInUse:
    """The weight every figure is worked on, and what it rests on."""

    kg: Decimal
    event: Weighed
    estimated: bool
    at: datetime
    by: str


def opened(case: Case) -> CaseOpened | None:
    return case.last(CaseOpened)


def species(case: Case) -> Species | None:
    first = opened(case)
    return None if first is None else first.species


def is_emergency(case: Case) -> bool:
    first = opened(case)
    return first is not None and first.kind == "emergency"


def troubled(case: Case) -> bool:
    """An emergency case, an arrest that was called, or a trouble that began: and that has not ended."""
    ended = {e.trouble: e.happened_at for e in case.live(TroubleEnded)}
    open_ = any(t.trouble not in ended or ended[t.trouble] < t.happened_at for t in case.live(TroubleBegan))
    began, over = case.last(ArrestBegan), case.last(ArrestEnded)
    arrest = began is not None and (over is None or over.happened_at < began.happened_at)
    return is_emergency(case) or arrest or open_


def weight_in_use(case: Case) -> WeightInUse | None:
    """The last weight that stands; nothing is assumed where there is none."""
    last = case.last(Weighed)
    if last is None:
        return None
    return WeightInUse(last.weight_kg, last, last.method != "scale", last.happened_at, last.by)


def dosing_weight_kg(case: Case) -> Decimal | None:
    """The weight a veterinarian set for dosing, unless the animal was weighed again since; else the weight itself."""
    weight, own = weight_in_use(case), case.last(DosingWeightSet)
    if own is not None and (weight is None or own.happened_at >= weight.at):
        return own.weight_kg
    return None if weight is None else weight.kg


def orders(case: Case) -> tuple[DrugOrdered, ...]:
    """Orders that hold: the latest wording of each order id, less those withdrawn after it. They stand as they were first
    entered; of one moment, as their ids count: a protocol's first line before its tenth."""
    latest: dict[str, DrugOrdered] = {}
    place: dict[str, tuple[datetime, datetime, tuple[tuple[int, str], ...]]] = {}
    for o in case.live(DrugOrdered):
        latest[o.order] = o
        place.setdefault(o.order, (o.happened_at, o.recorded_at, _counted(o.order)))
    for gone in case.live(OrderWithdrawn):
        found = latest.get(gone.order)
        if found is not None and gone.happened_at >= found.happened_at:
            del latest[gone.order]
    return tuple(sorted(latest.values(), key=lambda o: place[o.order]))


def _counted(name: str) -> tuple[tuple[int, str], ...]:
    """An id to sort by: figures in it count as numbers.

    >>> sorted(["dental-10", "dental-2", "dental-1"], key=_counted)
    ['dental-1', 'dental-2', 'dental-10']
    """
    return tuple((int(part), "") if part.isdecimal() and part.isascii() else (-1, part) for part in FIGURES.split(name))


def order(case: Case, order_id: str) -> DrugOrdered | None:
    return next((o for o in orders(case) if o.order == order_id), None)


def given(case: Case, drug: str = "", order: str = "", syringe: str = "") -> tuple[DrugGiven, ...]:
    """Every push that stands, of one drug, order or syringe if named."""
    return tuple(g for g in case.live(DrugGiven)
                 if drug in ("", g.drug) and order in ("", g.order) and syringe in ("", g.syringe))  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlanState:
    """The signed plan that holds, and why it does not cover the case any more, if it does not."""

    approved: PlanApproved | None
    stale: tuple[str, ...] = ()


def plan_state(case: Case) -> PlanState:
    """A signature covers the weight, the ASA grade and the orders it was given for, and nothing else."""
    signed_ = case.last(PlanApproved)
    if signed_ is None:
        return PlanState(None)
    stale = []
    weight, asa = weight_in_use(case), case.last(AsaAssigned)
    if weight is not None and weight.kg != signed_.weight_kg:
        stale.append(
            f"weight is {weight.kg.normalize():f} kg, the plan was signed for {signed_.weight_kg.normalize():f} kg"
        )
    if asa is not None and signed_.asa.split(" ")[0] not in ("", asa.asa):
        stale.append(f"ASA is {asa.asa}, the plan was signed for {signed_.asa}")
    if asa is not None and not signed_.asa and max(asa.happened_at, asa.recorded_at) > signed_.recorded_at:
        stale.append(f"ASA {asa.asa} was given after signing")
    stale += _found_later(case, signed_)
    latest = {o.order: o for o in orders(case)}
    added = [o.drug for o in latest.values() if o.order not in signed_.orders or o.happened_at > signed_.happened_at]
    if added:
        stale.append("orders changed after signing: " + ", ".join(added))
    return PlanState(signed_, tuple(stale))


def _found_later(case: Case, signed_: PlanApproved) -> list[str]:
    """What was said of the animal after the signature and makes another plan of it."""

    def later(kind: type[E]) -> tuple[E, ...]:
        return tuple(e for e in case.live(kind)
                     if e.happened_at > signed_.happened_at or e.recorded_at > signed_.recorded_at)  # fmt: skip

    before = {c for h in case.live(HistoryTaken) if h not in later(HistoryTaken) for c in h.conditions}
    new = dict.fromkeys(c for h in later(HistoryTaken) for c in h.conditions if c not in before)
    allergies = dict.fromkeys(a for asked in later(AllergiesAsked) for a in asked.allergies)
    limits = dict.fromkeys(x.reading.replace("_", " ") for x in later(LimitOrdered) if x.by != signed_.signed_by)
    return [
        *(f"dosing weight set to {w.weight_kg.normalize():f} kg after signing" for w in later(DosingWeightSet)[-1:]),
        *(f"found after signing: {c}" for c in new),
        *(f"allergy told after signing: {a}" for a in allergies),
        *(f"limit set after signing: {reading}" for reading in limits),
    ]


def signed(case: Case, role: str) -> RecordSigned | None:
    return next((s for s in reversed(case.live(RecordSigned)) if s.role == role), None)


def since_technician(case: Case) -> tuple[Line, ...]:
    """Entries that reached the log after the technician signed: the signature does not cover them."""
    places = [n.entry.seq for n in case.every(RecordSigned) if n.struck is None and _role(n) == "technician"]
    if not places:
        return ()
    return tuple(n for n in case.lines if n.entry.seq > max(places) and not isinstance(n.event, ABOUT_THE_RECORD))


def _role(line: Line) -> str:
    return line.event.role if isinstance(line.event, RecordSigned) else ""


def in_arrest(case: Case) -> bool:
    """Whether an arrest was called and not ended."""
    began, ended = case.last(ArrestBegan), case.last(ArrestEnded)
    return began is not None and (ended is None or ended.happened_at < began.happened_at)


def marked_at(case: Case, mark: str) -> datetime | None:
    """The last time this moment was marked."""
    return next((m.happened_at for m in reversed(case.live(TimeMarked)) if m.mark == mark), None)


def induced_at(case: Case) -> datetime | None:
    """Marked, or the first push to induce if nobody marked it; else the first tube that went in: with a tube an animal is asleep,
    whoever forgot to write how."""
    pushes = [g.happened_at for g in case.live(DrugGiven) if "induction" in g.purpose]
    tubes = [e.happened_at for e in case.live(AttemptEnded) if e.outcome == "in"]
    tubes += [p.happened_at for p in case.live(TubePlaced)]
    return marked_at(case, "induction") or (pushes[0] if pushes else min(tubes, default=None))


def extubated_at(case: Case) -> datetime | None:
    """When the tube came out; None while there is one in place, be it for the second time."""
    if went_in(case) is not None:
        return None
    out = case.last(Extubated)
    return out.happened_at if out is not None else marked_at(case, "extubated")


def ended_at(case: Case) -> datetime | None:
    """When recovery ended, or the veterinarian signed."""
    closed = signed(case, "veterinarian")
    return marked_at(case, "recovery end") or (closed.happened_at if closed is not None else None)


def packs(case: Case) -> tuple[int, int]:
    """Throat packs and swabs counted in and out; a mark without a number counts one."""
    count = {"packs in": 0, "packs out": 0}
    for mark in case.live(TimeMarked):
        if mark.mark in count:
            count[mark.mark] += int(mark.detail) if mark.detail.isdecimal() else 1
    return count["packs in"], count["packs out"]
