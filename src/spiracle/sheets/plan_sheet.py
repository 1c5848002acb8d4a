"""The plan of a stored case, from its live events: the same work as for a plan file, worded for the tablet's page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import datetime
from decimal import Decimal

from msgspec.structs import replace

from spiracle.breathing import Supply
from spiracle.case import standing
from spiracle.case.events import (
    AsaAssigned,
    BodyConditionScored,
    DosingWeightSet,
    DrugGiven,
    DrugOrdered,
    GivenBefore,
    HistoryTaken,
    LimitOrdered,
    MachineAssigned,
    PatientDescribed,
    PlanSent,
    ProcedurePlanned,
    ResultNoted,
    SyringeDrawn,
    VaporiserSet,
)
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.hospital import Hospital
from spiracle.case.measured import measured_of
from spiracle.case.oxygen import cylinder_of, drive_of, in_use, standing_by, supply_of, ventilated
from spiracle.case.prepared import vial_of
from spiracle.case.pushes import amount_given
from spiracle.case.standing import troubled
from spiracle.case.streams import streams
from spiracle.drugs import DosingWeight
from spiracle.quantity import Quantity, figure, read, read_age_days
from spiracle.refusals import Missing, Refusal
from spiracle.sheets.budgets import shared_budgets
from spiracle.sheets.plan import laid_out
from spiracle.sheets.plan_airway import airway_plan, tubes_of
from spiracle.sheets.plan_around import fluid_plan, limit_rows, risk_flags
from spiracle.sheets.plan_breathing import breathing_plan
from spiracle.sheets.plan_lines import drug_line
from spiracle.sheets.plan_request import (
    Cylinder,
    DrugInBody,
    LimitAsked,
    OrderAsked,
    Patient,
    PlanRequest,
    Stock,
)
from spiracle.sheets.plan_shapes import Caution, Plan
from spiracle.sheets.plan_work import PlanWork, shelf_of, work_out
from spiracle.sheets.said_once import said_once
from spiracle.sheets.shapes import DrugLine, PlanSheet
from spiracle.sheets.worked_shape import number, refused

PCV_NAMES = {"pcv", "packed cell volume", "haematocrit", "hematocrit", "hct"}


def plan_sheet(case: Case, facts: Facts, now: datetime) -> PlanSheet:
    """Everything the Plan page shows. Without a weight there are orders but no volumes: nothing is assumed."""
    state = standing.plan_state(case)
    sent = case.last(PlanSent)
    signed = state.approved
    to = "" if sent is None else sent.to
    try:
        request = request_of(case, facts, now)
    except Missing as refusal:
        return PlanSheet(
            lines=tuple(_unread(replace(o, ordered_by=orderer(o, facts)), refusal) for o in standing.orders(case)),
            sent_to=to,
        )
    work = work_out(request, facts)
    lines = (*_lines(work, facts), *_unreadable(case))
    return PlanSheet(
        lines=lines,
        airway=airway_plan(work, facts),
        breathing=breathing_plan(work, facts),
        fluids=fluid_plan(work, facts),
        limits=limit_rows(work, facts),
        budgets=shared_budgets(case, facts, now, work),
        cautions=risk_flags(work, facts),
        sent_to=to,
        signed_by="" if signed is None else signed.signed_by,
        signed_how="" if signed is None else signed.how,
        signed_at=None if signed is None else signed.happened_at,
        open_lines=sum(line.refusal is not None for line in lines),
        weight_basis=_basis_words(request.patient),
        lean=None
        if work.lean is None
        else number(work.lean, "lean weight", facts.sources, significant=3, mark="predicted"),
    )


def plan_of_case(case: Case, facts: Facts, now: datetime) -> Plan:
    """A stored case's plan for print. One order that was refused doesn't hold up the sheet: its entry says why."""
    made = laid_out(work_out(request_of(case, facts, now), facts), facts, now)
    lost = tuple(
        Caution(kind="plan", severity="avoid", about=line.name, text=f"The order of {line.order_text} cannot be read.")
        for line in _unreadable(case)
    )
    return replace(made, cautions=(*made.cautions, *lost))


def drug_lines(case: Case, facts: Facts, now: datetime) -> tuple[DrugLine, ...]:
    """The orders alone, worked: for the list of what is to be drawn up."""
    return plan_sheet(case, facts, now).lines


def request_of(case: Case, facts: Facts, now: datetime) -> PlanRequest:
    """What a plan of this case is made from. Missing when there is no species or no weight yet."""
    return PlanRequest(
        patient=_patient(case, facts),
        orders=tuple(_orders(case, facts)),
        stock=_stock(case, facts),
        airway=measured_of(case),
        limits=tuple(
            LimitAsked(reading=o.reading, below=o.below, above=o.above, action=o.action, ordered_by=orderer(o, facts))
            for o in case.live(LimitOrdered)
        ),
        given=_went_in(case, facts, now),
        urgent=troubled(case),
    )  # fmt: skip


def _minutes(then: datetime, now: datetime) -> Decimal:
    return Decimal(max(0, int((now - then).total_seconds()) // 60))


def _went_in(case: Case, facts: Facts, now: datetime) -> tuple[DrugInBody, ...]:
    """What is in the body as recorded: pushes, doses of before the case, and what a pump gave."""
    pushes = [
        DrugInBody(drug=g.drug, amount=amount_given(g), minutes=_minutes(g.happened_at, now))
        for g in case.live(DrugGiven)
    ]
    before = [
        DrugInBody(drug=b.drug, amount=amount_given(b), minutes=_minutes(b.given_at, now))
        for b in case.live(GivenBefore)
    ]
    ran = [
        DrugInBody(drug=s.drug, amount=s.amount(now),
                   minutes=_minutes(now if s.infusion.stopped is None else s.infusion.stopped.happened_at, now))
        for s in streams(case, facts)
        if s.holds is not None
    ]  # fmt: skip
    return (*before, *pushes, *ran)


def _lines(work: PlanWork, facts: Facts) -> tuple[DrugLine, ...]:
    stock, _ = shelf_of(work.request, facts)
    patient = work.request.patient
    weight = DosingWeight(
        kg=patient.basis.number("kg"),
        estimated=patient.estimated,
        basis=_basis_words(patient),
        chosen=patient.dosing_weight is not None,
    )
    return said_once(drug_line(o, facts, weight, stock.strengths) for o in work.orders)


def _unreadable(case: Case) -> Iterable[DrugLine]:
    """Orders whose dose can't be read as a quantity stay in sight, with the reason; a page never breaks on one."""
    for order in standing.orders(case):
        try:
            _asked(order)
        except Refusal as refusal:
            yield _unread(order, refusal)


def _unread(order: DrugOrdered, refusal: Refusal) -> DrugLine:
    """An order as said, with the reason why it has no volume."""
    span = figure(order.high) if order.low == order.high else f"{figure(order.low)} to {figure(order.high)}"
    return DrugLine(
        order=order.order, event_id=order.id, drug=order.drug, name=order.drug, purpose=order.purpose, route=order.route,
        when=order.when, order_text=f"{span} {order.unit}", given_as=order.given_as, ordered_by=order.ordered_by,
        refusal=refused(refusal),
    )  # fmt: skip


def _basis_words(patient: Patient) -> str:
    how = {"scale": "scale", "estimated": "estimated", "owner": "as the owner says", "earlier visit": "earlier visit"}
    if patient.dosing_weight is not None:
        return f"dosing weight {patient.dosing_weight}: {patient.dosing_reason} (body weight {patient.weight})"
    return f"body weight, {how[patient.method]}"


# ---- events into the request


def _patient(case: Case, facts: Facts) -> Patient:
    opened, weight = standing.opened(case), standing.weight_in_use(case)
    if opened is None:
        raise Missing("species", "Nobody has opened this case.", "Open it with a species.")
    if weight is None:
        raise Missing("weight", "No weight yet, so no volume.", "Weigh the animal, or enter an estimated weight.")
    said = _described(case)
    score, asa, basis = case.last(BodyConditionScored), case.last(AsaAssigned), case.last(DosingWeightSet)
    dosing = standing.dosing_weight_kg(case)
    other = basis is not None and dosing is not None and dosing != weight.kg
    return Patient(
        species=opened.species,
        weight=Quantity.of(weight.kg, "kg"),
        method=weight.event.method,
        weighed=weight.at,
        name=said.get("name") or opened.name,
        breed=said.get("breed", ""),
        sex=said.get("sex", ""),
        age=said.get("age", ""),
        age_days=_days(said.get("age", "")),
        body_condition=None if score is None else score.score,
        asa="" if asa is None else asa.asa + (" E" if asa.emergency else ""),
        conditions=_conditions(case, facts),
        dosing_weight=Quantity.of(dosing, "kg") if other and dosing is not None else None,
        dosing_reason=basis.reason if other and basis is not None else "",
        pcv=_pcv(case),
    )


def _pcv(case: Case) -> Decimal | None:
    """The packed cell volume last noted, in per cent; one written in another way gives none."""
    noted = [r for r in case.live(ResultNoted) if r.test.strip().casefold() in PCV_NAMES and r.unit.strip() == "%"]
    if not noted:
        return None
    try:
        value = read(f"{noted[-1].value.strip()} %", "packed cell volume", "fraction").value
    except Refusal:
        return None
    return value if 3 <= value <= 80 else None


def _described(case: Case) -> Mapping[str, str]:
    """Signalment as last told; an empty field leaves what was said before."""
    said: dict[str, str] = {}
    for event in case.live(PatientDescribed):
        said |= {k: v for k in ("name", "breed", "sex", "age") if (v := getattr(event, k))}
    return said


def _days(text: str) -> Decimal | None:
    """An age in days; an age told in other words gives none, and no rule that needs one is applied."""
    try:
        return read_age_days(text) if text else None
    except Refusal:
        return None


def _conditions(case: Case, facts: Facts) -> tuple[str, ...]:
    """Named conditions that the tables know; the assessment shows the others as they were written."""
    known = {c.id for c in facts.patient.conditions}
    named = dict.fromkeys(c for h in case.live(HistoryTaken) for c in h.conditions)
    return tuple(c for c in named if c in known)


def _orders(case: Case, facts: Facts) -> Iterable[OrderAsked]:
    for order in standing.orders(case):
        with suppress(Refusal):  # shown by `_unreadable`
            yield _asked(replace(order, ordered_by=orderer(order, facts)), _vial(order, case))


def orderer(order: DrugOrdered | LimitOrdered, facts: Facts) -> str:
    """Whose order it is: the one named in it, else the veterinarian who entered it with his own hand."""
    return order.ordered_by or (order.by if facts.hospital.is_veterinarian(order.by) else "")


def _asked(order: DrugOrdered, concentration: Quantity | None = None) -> OrderAsked:
    return OrderAsked(
        field=f"order {order.order}", order=order.order, event_id=order.id, drug=order.drug, purpose=order.purpose,
        route=order.route, low=Quantity.of(order.low, order.unit), high=Quantity.of(order.high, order.unit), row=order.row,
        concentration=concentration, when=order.when, given_as=order.given_as, ordered_by=order.ordered_by,
        over_hard_by=order.over_hard_by, reason=order.reason,
    )  # fmt: skip


def _vial(order: DrugOrdered, case: Case) -> Quantity | None:
    """The vial in hand: that of the syringe drawn for this order, else the one picked, else the strength named in the order."""
    drawn = [s for s in case.live(SyringeDrawn) if s.order == order.order]
    text = drawn[-1].vial_concentration if drawn else vial_of(case, order)
    if not text:
        return None
    try:
        return read(text, f"order {order.order}, concentration", "concentration")
    except Refusal:
        return None


def _stock(case: Case, facts: Facts) -> Stock:
    """The hospital's shelf, the machine this patient is on, and the oxygen as read."""
    hospital, planned = facts.hospital, case.last(ProcedurePlanned)
    machine, drive, dial = case.last(MachineAssigned), drive_of(case), case.last(VaporiserSet)
    return Stock(
        tubes=tubes_of(hospital),
        cylinders=_cylinders(case),
        case_minutes=None if planned is None else planned.minutes,
        parts=tuple((p.name, read(p.volume, f"hospital, part {p.name}", "volume")) for p in hospital.parts),
        circuit="" if machine is None else machine.circuit,
        bag_on_ml=None if machine is None else machine.bag_ml,
        supply=_supply(case, facts),
        drive_gas=None if drive is None else Quantity.of(drive, "L/min"),
        ventilated=ventilated(case),
        volume=_circle(machine, hospital),
        agent="" if dial is None else dial.agent,
        dial=None if dial is None or not dial.percent else Quantity.of(dial.percent, "%"),
    )


def _circle(machine: MachineAssigned | None, hospital: Hospital) -> Quantity | None:
    """What the circle holds: the machine's own gas without a bag, and the bag that is on it. Not told without both."""
    own = next((m for m in hospital.machine_figures if machine is not None and m.name == machine.machine), None)
    if machine is None or own is None or not own.volume or machine.bag_ml is None:
        return None
    return read(own.volume, f"hospital, {own.name}", "volume").to("L") + Quantity.of(machine.bag_ml, "mL").to("L")


def _cylinders(case: Case) -> tuple[Cylinder, ...]:
    """The cylinder in use; beside another supply, the one that was last read as standing by."""
    used = in_use(case)
    spare = () if used is None or used.source == "cylinder" else standing_by(case)
    read_ones = [c for c in (None if r is None else cylinder_of(r) for r in (used, *spare)) if c is not None]
    return tuple(Cylinder(contents=c.contents, full=c.full_pressure, gauge=c.gauge) for c in read_ones[-1:])


def _supply(case: Case, facts: Facts) -> Supply | None:
    """The supply in use as last read; an older entry of a concentrator without its figures gives none."""
    oxygen = in_use(case)
    if oxygen is None:
        return None
    try:
        return supply_of(facts, oxygen)
    except Refusal:
        return None
