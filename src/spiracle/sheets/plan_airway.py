"""The airway of a plan: what was measured goes to the airway room, what it found comes back for tablet, JSON and print.

Here the airway room's dead space meets the breathing room's arithmetic of CO2: the rooms do not know each other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.airway import (
    AirwayChoice,
    Change,
    Estimate,
    Ranked,
    Tube,
    TubeBurden,
    TubeInStock,
    attempt_rules,
    lay_out,
)
from spiracle.airway.drawing import Place, TubeDrawing, drawn
from spiracle.airway.measured import full_grown
from spiracle.breathing import Burden, burden
from spiracle.case.facts import Facts
from spiracle.case.hospital import Hospital
from spiracle.quantity import Quantity, figure, printed_size, read
from spiracle.refusals import Refusal
from spiracle.sheets.plan_shapes import (
    AirwayPart,
    ChangePart,
    DeadSpacePart,
    EstimatePart,
    NamedAmount,
    RankedPart,
    ResistancePart,
    TubePart,
    amount,
)
from spiracle.sheets.shapes import (
    AirwayPlan,
    ChangeRow,
    DrawnPlace,
    DrawnTube,
    EstimateRow,
    Num,
    Part,
    RankedTube,
    ResistanceRow,
    TubeShape,
)
from spiracle.sheets.worked_shape import (
    cites,
    number,
    plain_refused,
    refused,
    worked_amount,
    worked_or_none,
    working_shape,
)
from spiracle.source import Worked

if TYPE_CHECKING:
    from spiracle.sheets.plan_request import PlanRequest
    from spiracle.sheets.plan_work import PlanWork

_MM = Quantity.of(1, "mm").unit


@dataclass(frozen=True, slots=True)
class AirwayWork:
    """What the airway room laid out, and what its dead space would do to the breath, as it is now and after cutting."""

    choice: AirwayChoice
    uncut: Burden | None
    cut: Burden | None


def airway_work(
    request: PlanRequest, facts: Facts, conditions: frozenset[str], refusals: dict[str, Refusal]
) -> AirwayWork | None:
    patient, stock = request.patient, request.stock
    try:
        choice = lay_out(
            facts.airway,
            patient.species,
            patient.weight,
            brachycephalic="brachycephalic" in conditions,
            measured=request.airway,
            stock=stock.tubes or None,
            parts=stock.parts or None,
            adult=None if patient.age_days is None else full_grown(facts.airway, patient.age_days),
        )
    except Refusal as refusal:
        refusals["airway"] = refusal
        return None
    before, after = choice.dead_space_before, choice.dead_space_after
    return AirwayWork(choice, _burden(facts, choice, before), _burden(facts, choice, after))


def _burden(facts: Facts, choice: AirwayChoice, space: Worked[Quantity] | None) -> Burden | None:
    """None where nothing is added, or where the apparatus would take the whole breath: the dead space says so itself."""
    if space is None or space.value.value <= 0:
        return None
    try:
        return burden(facts.breathing, choice.tidal.value, space.value)
    except Refusal:
        return None


# ---- from a case


def tubes_of(hospital: Hospital) -> tuple[TubeInStock, ...]:
    """The hospital's shelf, each figure as its file prints it."""

    def mm(text: str, what: str) -> Decimal | None:
        return read(text, f"hospital, tube, {what}", "diameter").number("mm") if text else None

    def long(text: str, what: str) -> Decimal | None:
        return read(text, f"hospital, tube, {what}", "length").number("mm") if text else None

    return tuple(
        TubeInStock(
            id_mm=read(t.id, "hospital, tube", "diameter").number("mm"), od_mm=mm(t.od, "od"), cuffed=t.cuffed,
            length_mm=long(t.length, "length"), tip_to_cuff_top_mm=long(t.tip_to_cuff_top, "tip to cuff top"),
            cuff_length_mm=long(t.cuff_length, "cuff length"), side_hole_mm=long(t.side_hole, "side hole"),
        )
        for t in hospital.tubes
    )  # fmt: skip


# ---- for the tablet


def airway_plan(work: PlanWork, facts: Facts) -> AirwayPlan:
    found, sources = work.airway, facts.sources
    if found is None:
        return AirwayPlan(tubes=(), refusal=refused(work.refusals["airway"]))
    choice = found.choice
    chances = {r.tube: r for r in choice.ranked}
    return AirwayPlan(
        tubes=tuple(_tube_shape(t, chances) for t in choice.tubes),
        why=choice.why.says,
        working=working_shape(choice.why, "which tube", sources),
        insertion=_num(choice.insertion, "how far in", facts, 1),
        cut=_num(choice.cut, "length to cut", facts, 1),
        stylet_setback=_num(choice.stylet_setback, "stylet inside the tip by", facts),
        stylet_bend=_num(choice.stylet.bend_at, "bend the stylet at", facts, 1),
        dead_space_before=_num(choice.dead_space_before, "outside the incisors, uncut", facts, 1),
        dead_space_after=_num(choice.dead_space_after, "outside the incisors, cut", facts, 1),
        parts=tuple(Part(name=p.name, ml=float(p.ml), text=f"{p.name} {p.quantity}") for p in choice.parts),
        percent_of_breath=float(round(choice.percent_of_breath, 1)),
        ml_per_kg=float(choice.dead_space_ml_per_kg),
        tidal=number(choice.tidal, "one breath", sources, significant=3, estimated=work.request.patient.estimated),
        warn_percent=float(round(choice.caution_percent, 1)),
        stop_percent=float(round(choice.stop_percent, 1)),
        warning=choice.dead_space_warning,
        cautions=_cautions(choice),
        mark=_num(choice.mark_at_incisors, "mark at the incisors", facts, 1),
        attempts=attempt_rules(facts.airway).next_steps,
        memory=choice.memory,
        refusal=refused(choice.refusals[0]) if choice.refusals else None,
        combined=choice.combined.text,
        estimates=tuple(_estimate_row(e, facts) for e in choice.estimates),
        disagreements=choice.disagreements,
        unused=choice.unused,
        ranked=tuple(_ranked_row(r) for r in choice.ranked),
        changes=tuple(ChangeRow(says=c.says, saves_ml=float(c.saves.value.value), memory=c.memory) for c in choice.changes),
        resistances=tuple(_resistance_row(b, facts) for b in choice.burdens),
        co2_uncut=_co2(found.uncut, facts),
        co2=_co2(found.cut, facts),
        co2_from=str(found.cut.before) if found.cut is not None else "",
        co2_words=found.cut.words if found.cut is not None else "",
        drawing=_drawing(drawn(choice)),
    )  # fmt: skip


def _tube_shape(t: Tube, chances: dict[Tube, Ranked]) -> TubeShape:
    """Its chance is that of this very tube: two of one bore may differ in their cuff."""
    ranked = chances[replace(t, role="first choice")]
    return TubeShape(
        role=t.role, id_text=printed_size(t.id_mm), id_mm=float(t.id_mm), od_mm=float(t.od_mm), od_memory=t.od_memory,
        cuffed=t.cuffed, fits=ranked.chance.fits, why=ranked.why,
    )  # fmt: skip


def _cautions(choice: AirwayChoice) -> tuple[str, ...]:
    """What is to be said about the tubes, beside what has its own place on the page."""
    said = {*choice.disagreements, *choice.unused}
    return tuple(c for c in choice.cautions if c not in said)


def _num(worked: Worked[Quantity] | None, title: str, facts: Facts, places: int | None = None) -> Num | None:
    return None if worked is None else number(worked, title, facts.sources, places=places)


def _estimate_row(e: Estimate, facts: Facts) -> EstimateRow:
    return EstimateRow(name=e.name, text=e.text, id_mm=e.id_mm, sd_mm=e.sd_mm, memory=e.memory,
                       working=working_shape(e.working, f"tube by {e.name}", facts.sources))  # fmt: skip


def _ranked_row(r: Ranked) -> RankedTube:
    c = r.chance
    return RankedTube(
        id_text=printed_size(r.tube.id_mm), id_mm=float(r.tube.id_mm), od_mm=float(r.tube.od_mm), od_memory=r.tube.od_memory,
        cuffed=r.tube.cuffed, too_small=c.too_small, fits=c.fits, too_large=c.too_large, place=r.place, why=r.why,
    )  # fmt: skip


def _resistance_row(b: TubeBurden, facts: Facts) -> ResistanceRow:
    size = printed_size(b.tube.id_mm)
    bench = ""
    if b.bench is not None:
        joint = f"{figure(b.bench.joint_percent)} % of it the slip joint"
        bench = f"{b.bench.tube.value} on the bench at {b.bench.flow}, {joint}"
    return ResistanceRow(
        role=b.tube.role,
        id_text=size,
        lost=number(b.lost, f"lost along ID {size} mm", facts.sources, mark="predicted"),
        regime=b.regime,
        reynolds=b.reynolds,
        times_first=float(b.times_first),
        bench=bench,
    )


def _co2(found: Burden | None, facts: Facts) -> Num | None:
    return (
        None
        if found is None
        else number(found.paco2, "arterial CO₂ if nothing answers", facts.sources, mark="predicted")
    )


def _drawing(found: TubeDrawing | None) -> DrawnTube | None:
    if found is None:
        return None

    def place(p: Place) -> DrawnPlace:
        return DrawnPlace(at_mm=p.at_mm, how="not known" if p.how == "unknown" else p.how)

    return DrawnTube(
        id_text=found.id_text, id_mm=found.id_mm, od_mm=found.od_mm, od_memory=found.od_how == "memory", cuffed=found.cuffed,
        trachea_mm=found.trachea_mm, larynx=place(found.larynx), inlet=place(found.inlet), tip=place(found.tip),
        cuff_top=place(found.cuff_top), cuff_bottom=place(found.cuff_bottom), side_hole=place(found.side_hole),
        has_side_hole=found.has_side_hole, uncut_end=place(found.uncut_end), stylet_tip=place(found.stylet_tip),
        fork_low_mm=None if found.fork is None else found.fork[0], fork_high_mm=None if found.fork is None else found.fork[1],
        questions=found.questions,
    )  # fmt: skip


# ---- for the plan's JSON


def airway_part(work: PlanWork, facts: Facts) -> AirwayPart:
    found, estimated = work.airway, work.request.patient.estimated
    if found is None:
        told = (plain_refused(work.refusals["airway"]),)
        return AirwayPart(
            tubes=(), insertion_depth=None, cut_length=None, dead_space=None, stylet_setback=None, refused=told
        )
    choice = found.choice
    return AirwayPart(
        tubes=tuple(
            TubePart(
                role=t.role,
                id=amount(_mm(t.id_mm), predicted=True, memory=choice.memory, estimated=estimated),
                od=amount(_mm(t.od_mm), memory=t.od_memory),
                cuffed=t.cuffed,
            )
            for t in choice.tubes
        ),
        insertion_depth=worked_or_none(choice.insertion),
        cut_length=worked_or_none(choice.cut),
        dead_space=_dead_space(found, estimated),
        stylet_setback=worked_amount(choice.stylet_setback),
        stylet_bend=worked_or_none(choice.stylet.bend_at),
        estimates=tuple(_estimate_part(e, facts, estimated) for e in choice.estimates),
        combined=choice.combined.text,
        disagreements=choice.disagreements,
        ranked=tuple(_ranked_part(r) for r in choice.ranked),
        changes=tuple(_change_part(c) for c in choice.changes),
        resistances=tuple(_resistance_part(b) for b in choice.burdens),
        why=choice.why.says,
        refused=tuple(plain_refused(r) for r in choice.refusals),
        notes=choice.cautions,
        source=cites(choice.why.sources, facts.sources),
    )


def _mm(value: Decimal) -> Quantity:
    return Quantity(value, _MM)


def _tenth(value: float) -> Decimal:
    return round(Decimal(str(value)), 1)


def _share(value: float) -> Decimal:
    return round(Decimal(str(value)), 2)


def _estimate_part(e: Estimate, facts: Facts, estimated: bool) -> EstimatePart:
    return EstimatePart(
        name=e.name, id=amount(_mm(_tenth(e.id_mm)), e.says, memory=e.memory, estimated=estimated, predicted=True),
        spread=amount(_mm(_share(e.sd_mm)), memory=e.memory, predicted=True), source=cites(e.sources, facts.sources),
    )  # fmt: skip


def _ranked_part(r: Ranked) -> RankedPart:
    return RankedPart(
        id=amount(_mm(r.tube.id_mm)), od=amount(_mm(r.tube.od_mm), memory=r.tube.od_memory), cuffed=r.tube.cuffed,
        place=r.place, too_small=_share(r.chance.too_small), fits=_share(r.chance.fits),
        too_large=_share(r.chance.too_large), why=r.why,
    )  # fmt: skip


def _change_part(c: Change) -> ChangePart:
    return ChangePart(
        what=c.what, part=c.part, saves=worked_amount(c.saves), saves_percent=c.saves_percent, says=c.says
    )


def _resistance_part(b: TubeBurden) -> ResistancePart:
    return ResistancePart(
        role=b.tube.role, id=amount(_mm(b.tube.id_mm)), lost=worked_amount(b.lost, predicted=True), regime=b.regime,
        times_first=b.times_first,
    )  # fmt: skip


def _dead_space(found: AirwayWork, estimated: bool) -> DeadSpacePart:
    choice = found.choice
    base = worked_amount(choice.dead_space_after)
    return DeadSpacePart(
        value=base.value,
        unit=base.unit,
        ucum=base.ucum,
        working=base.working,
        memory=base.memory or any(p.memory for p in choice.parts),
        estimated=base.estimated,
        before=worked_or_none(choice.dead_space_before),
        after=worked_or_none(choice.dead_space_after),
        tube_before=worked_or_none(choice.tube_volume_before),
        tube_after=worked_or_none(choice.tube_volume_after),
        parts=tuple(NamedAmount(name=p.name, amount=amount(p.quantity, memory=p.memory)) for p in choice.parts),
        breath=worked_amount(choice.tidal, estimated=estimated),
        percent_of_breath=_tenth(float(choice.percent_of_breath)),
        ml_per_kg=choice.dead_space_ml_per_kg,
        warn_percent=_tenth(float(choice.caution_percent)),
        stop_percent=_tenth(float(choice.stop_percent)),
        warning=choice.dead_space_warning,
        co2_if_unanswered=None if found.cut is None else worked_amount(found.cut.paco2, predicted=True),
        minute_volume_more=None if found.cut is None else worked_amount(found.cut.deeper, predicted=True),
        no_answer=found.cut.words if found.cut is not None else "",
    )
