"""The plan of one patient: request in, everything worked out. Pure: the same request, tables and moment give the same plan.

Two kinds of refusal are kept apart. Where the *input* cannot be what was meant (a drug with no row for this species, a
dose ten times the usual), the whole plan is refused, because the rest of the file may be as wrong. Where only a *volume*
must be withheld (two strengths on the shelf, over a hard stop), that drug's entry carries its refusal and the others go on.
"""

from __future__ import annotations

from datetime import datetime

from spiracle.breathing import Supply
from spiracle.breathing.leak import check_litres
from spiracle.case.facts import Facts
from spiracle.patient import Weight
from spiracle.quantity import Quantity
from spiracle.refusals import AskAgain, Contradiction
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.plan_airway import airway_part
from spiracle.sheets.plan_breathing import breathing_part
from spiracle.sheets.plan_drugs import drug_part
from spiracle.sheets.plan_request import Patient, PlanRequest
from spiracle.sheets.plan_rooms import emergency_part, fluids_part, limit_parts
from spiracle.sheets.plan_shapes import Caution, DrugPart, PatientPart, Plan, amount
from spiracle.sheets.plan_work import PlanWork, named, stands_inside, work_out
from spiracle.sheets.worked_shape import cites, worked_amount


def check(
    request: PlanRequest, facts: Facts, *, last_weight: Quantity | None = None, weight_confirmed: bool = False
) -> None:
    """What can be said about the patient before anything is computed: raises the first refusal, names its field."""
    patient = request.patient
    known = facts.patient.breed(patient.breed)
    if known is not None and known.species != patient.species:
        raise Contradiction("breed", f"{patient.breed} is a {known.species}, the species says {patient.species}.",
                            "Put right the one that is wrong.")  # fmt: skip
    _check_weight(patient, facts, last_weight, weight_confirmed)
    for condition in patient.conditions:
        facts.patient.condition(condition)
    for drug in request.stock.strengths:
        facts.drugs.drug(drug)
    supply = request.stock.supply
    if supply is not None:
        Supply.read(facts.breathing, supply.kind, max_flow=supply.max_flow, percent=supply.percent, confirmed=True)
    if request.stock.agent:
        facts.breathing.agent(request.stock.agent)
    if request.stock.volume is not None:
        check_litres(facts.breathing, request.stock.volume, "gas, circuit_volume")
    for limit in request.limits:
        facts.circulation.bounds(limit.reading, patient.species)


def _check_weight(patient: Patient, facts: Facts, last_weight: Quantity | None, confirmed: bool) -> None:
    """What this animal can weigh. A file is written once, so its way to confirm is a key, and an age settles much."""
    last = None if last_weight is None else Weight(last_weight.number("kg"), "earlier visit", None)
    try:
        facts.patient.check_weight(
            patient.species,
            patient.weight.number("kg"),
            breed=patient.breed,
            age_days=patient.age_days,
            last=last,
            confirmed=confirmed,
            method=patient.method,
            typed_once=False,
        )
    except AskAgain as question:
        young = "" if patient.age_days is not None else " If the animal is young, give its age."
        accepts = f"{question.accepts}{young} In a plan file, weight_confirmed = true says that it is right."
        raise AskAgain(question.field, question.says, accepts, question.use) from question


def plan(request: PlanRequest, facts: Facts, now: datetime) -> Plan:
    """The whole plan, or the refusal of the first order that cannot be what was meant."""
    work = work_out(request, facts)
    for order in work.orders:
        if order.made.refusal is not None and not stands_inside(order.made.refusal):
            raise named(order.made.refusal, order.asked)
    return laid_out(work, facts, now)


def laid_out(work: PlanWork, facts: Facts, now: datetime) -> Plan:
    """The work as a plan, each refusal in its own entry."""
    drugs = tuple(drug_part(o, facts) for o in work.orders)
    return Plan(
        patient=_patient(work, facts, now),
        drugs=drugs,
        airway=airway_part(work, facts),
        breathing=breathing_part(work, facts),
        fluids=fluids_part(work, facts),
        limits=limit_parts(work, facts),
        emergency=emergency_part(work, facts),
        cautions=plan_cautions(work, facts, drugs, now),
    )


def _patient(work: PlanWork, facts: Facts, now: datetime) -> PatientPart:
    p = work.request.patient
    return PatientPart(
        name=p.name,
        species=p.species,
        breed=p.breed,
        sex=p.sex,
        age=p.age,
        weight=amount(p.weight, estimated=p.estimated),
        method=p.method,
        estimated=p.estimated,
        weighed=p.weighed,
        dosing_weight=amount(p.basis, p.dosing_reason, estimated=p.estimated),
        dosing_reason=p.dosing_reason,
        lean_weight=None if work.lean is None else worked_amount(work.lean, predicted=True),
        body_condition=p.body_condition,
        asa=p.asa,
        conditions=tuple(sorted(work.conditions)),
        planned_at=now,
        version=facts.version,
    )


def plan_cautions(work: PlanWork, facts: Facts, drugs: tuple[DrugPart, ...], now: datetime) -> tuple[Caution, ...]:
    """The standing cautions, then this plan's, this patient's, and every drug's that was matched to this patient."""
    standing = tuple(Caution(kind="standing", text=t, severity="note") for t in STANDING)
    flags = tuple(
        Caution(kind="patient", text=f"{f.title}: {f.changes}", severity=f.severity, about=f.condition, memory=f.memory,
                source=cites((f.source,) if isinstance(f.source, str) else f.source, facts.sources))
        for f in work.flags
    )  # fmt: skip
    own = tuple(Caution(kind="plan", text=t, severity="care") for t in plan_words(work, facts, now))
    matched = tuple(c for d in drugs for c in d.cautions if c.kind in {"patient", "plan"})
    return (*standing, *own, *flags, *dict.fromkeys(matched))


def plan_words(work: PlanWork, facts: Facts, now: datetime) -> tuple[str, ...]:
    """What the plan itself rests on that may not hold: an estimated or old weight, no ASA grade."""
    p = work.request.patient
    words: list[str] = []
    if p.estimated:
        words.append(
            "The weight is estimated: every figure here rests on it. Weigh the animal as soon as it can be done."
        )
    elif p.method in {"owner", "earlier visit"}:
        words.append(f"The weight is from {p.method}, not from today's scale: weigh the animal before drawing up.")
    if p.weighed is not None:
        stale = facts.patient.weight_stale(
            Weight(p.weight.number("kg"), p.method, p.weighed),
            p.species,
            now,
            age_days=p.age_days,
            hospital_hours=(facts.hospital.weight_hours, facts.hospital.weight_hours_small),
        )
        words += [stale] if stale else []
    if not p.asa:
        words.append("No ASA grade was given: the veterinarian assigns it.")
    return tuple(words)
