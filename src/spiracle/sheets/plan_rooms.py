"""Airway, breathing, fluids, limits and the emergency sheet in the plan's JSON."""

from __future__ import annotations

from spiracle.case.facts import Facts
from spiracle.circulation import Limit
from spiracle.emergency import EmergencyPlan, Item, Shock
from spiracle.refusals import Refusal
from spiracle.sheets.emergency_sheet import sheet_id, step_words, vial_words
from spiracle.sheets.plan_request import LimitAsked
from spiracle.sheets.plan_shapes import (
    EmergencyDrugPart,
    EmergencyPart,
    FluidsPart,
    LimitPart,
    Refused,
    amount,
)
from spiracle.sheets.plan_work import PlanWork
from spiracle.sheets.worked_shape import cites, plain_refused, worked_amount
from spiracle.sheets.worked_shape import worked_or_none as _or_none


def fluids_part(work: PlanWork, facts: Facts) -> FluidsPart:
    fluids, guess = work.fluids, work.request.patient.estimated
    bolus = fluids.bolus
    minutes = f"over {bolus.minutes[0]} to {bolus.minutes[1]} min"
    used = (fluids.rate, fluids.ceiling, bolus.first, bolus.in_all, fluids.blood)
    ids = dict.fromkeys(i for w in used for i in w.working.sources)
    return FluidsPart(
        rate=worked_amount(fluids.rate, estimated=guess),
        rate_limit=worked_amount(fluids.ceiling, estimated=guess),
        bolus=worked_amount(bolus.first, estimated=guess),
        bolus_largest=worked_amount(bolus.largest, estimated=guess),
        bolus_limit=worked_amount(bolus.in_all, estimated=guess),
        blood_volume=worked_amount(fluids.blood, estimated=guess),
        allowable_loss=_or_none(fluids.loss, guess),
        notes=tuple(n for n in (f"Bolus {minutes}. {bolus.says}", bolus.between, loss_note(work)) if n.strip()),
        source=cites(ids, facts.sources),
    )


def loss_note(work: PlanWork) -> str:
    """Why no blood loss is named: nothing is assumed in place of a packed cell volume."""
    return (
        ""
        if work.fluids.loss is not None
        else "Allowable blood loss needs a packed cell volume of 3 to 80 %: none was given."
    )


def limit_parts(work: PlanWork, facts: Facts) -> tuple[LimitPart, ...]:
    """Starting limits of the tables for this species and size; a veterinarian's own word replaces its reading's row."""
    rows = facts.circulation.limits(work.request.patient.species, work.size)
    asked = {a.reading: a for a in work.limits}
    known = {r.reading: r for r in rows}
    parts = [_limit_row(r, facts) for r in rows if r.reading not in asked]
    return (*(_limit_asked(a, known.get(a.reading), facts) for a in work.limits), *parts)


def _limit_row(row: Limit, facts: Facts) -> LimitPart:
    return LimitPart(
        reading=row.reading,
        name=facts.circulation.bounds(row.reading).title,
        below=row.low,
        above=row.high,
        unit=row.unit,
        action=row.action,
        ordered=False,
        whose="starting point of the tables",
        memory=row.memory,
        source=cites(row.source, facts.sources),
    )


def _limit_asked(asked: LimitAsked, row: Limit | None, facts: Facts) -> LimitPart:
    name, unit = asked.reading, ""
    if asked.reading in facts.circulation.readings():  # else it is shown as it was ordered
        bounds = facts.circulation.bounds(asked.reading)
        name, unit = bounds.title, bounds.unit
    return LimitPart(
        reading=asked.reading,
        name=name,
        below=asked.below,
        above=asked.above,
        unit=unit,
        action=asked.action or ("" if row is None else row.action),
        ordered=True,
        whose=asked.ordered_by or "ordered",
    )


def emergency_part(work: PlanWork, facts: Facts) -> EmergencyPart:
    return emergency_of(work.emergency, facts)


def emergency_of(plan: EmergencyPlan, facts: Facts) -> EmergencyPart:
    """The emergency room's answer as plain data."""
    return EmergencyPart(
        sheet_id=sheet_id(plan),
        weight=amount(plan.weight, estimated=plan.estimated),
        drugs=tuple(emergency_drug(i, facts) for i in plan.items),
        shocks=tuple(part for s in plan.shocks for part in shock_parts(s)),
        breath=worked_amount(plan.breath),
        rate=f"{plan.rate_low} to {plan.rate_high} compressions a minute, {plan.breaths_per_min} breaths a minute",
        etco2_aim=f"{plan.etco2_aim.value} or more",
        steps=tuple(step_words(s) for s in plan.steps),
        notes=(*plan.notes, *(step_words(c) for c in plan.cautions)),
        source=cites(plan.sources, facts.sources),
    )


def emergency_drug(item: Item, facts: Facts) -> EmergencyDrugPart:
    note = ". ".join(w.rstrip(".") for w in (vial_words(item, facts), item.note) if w)
    return EmergencyDrugPart(
        drug=item.drug, name=item.name, group=item.group, what_for=item.what_for, when=item.when, route=item.route,
        dose=item.dose_text, concentration=item.strength, amount=worked_amount(item.amount, estimated=item.estimated),
        volume=_or_none(item.volume, item.estimated), syringe=item.barrel,
        dilution="" if item.dilution is None else item.dilution.says, note=note, memory=item.memory,
        refused=refused_or_none(item.refusal),
    )  # fmt: skip


def refused_or_none(refusal: Refusal | None) -> Refused | None:
    return None if refusal is None else plain_refused(refusal)


def shock_parts(shock: Shock) -> tuple[EmergencyDrugPart, ...]:
    """First shock, and the energy to go to after it failed."""
    return tuple(
        EmergencyDrugPart(
            drug="defibrillation", name=f"Shock, {shock.mode}", group="shock", what_for=what, when=when, route=shock.mode,
            dose=joules.working.says, concentration="", amount=worked_amount(joules), volume=None, note=shock.note,
            memory=shock.memory,
        )
        for what, when, joules in (
            ("shockable rhythm", "first", shock.first),
            ("shockable rhythm that stays", "then", shock.then),
        )
    )  # fmt: skip
