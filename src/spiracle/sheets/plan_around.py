"""Airway, breathing, fluids, limits and shared ceilings as the tablet's plan shows them."""

from __future__ import annotations

from spiracle.case.facts import Facts
from spiracle.quantity import figure
from spiracle.sheets.plan_lines import caution_flag
from spiracle.sheets.plan_rooms import limit_parts, loss_note
from spiracle.sheets.plan_shapes import LimitPart
from spiracle.sheets.plan_work import PlanWork
from spiracle.sheets.said_once import Spoken, together
from spiracle.sheets.shapes import (
    Cited,
    FluidPlan,
    LimitRow,
    RiskFlag,
)
from spiracle.sheets.worked_shape import cited, number


def fluid_plan(work: PlanWork, facts: Facts) -> FluidPlan:
    fluids, sources, guess = work.fluids, facts.sources, work.request.patient.estimated
    bolus = fluids.bolus
    notes = (
        f"Bolus over {bolus.minutes[0]} to {bolus.minutes[1]} min. {bolus.says}".strip(),
        bolus.between,
        loss_note(work),
    )
    return FluidPlan(
        rate=number(fluids.rate, "fluid rate", sources, significant=3, estimated=guess),
        bolus=number(bolus.first, "first bolus", sources, significant=3, estimated=guess),
        bolus_limit=number(bolus.in_all, "boluses in all", sources, significant=3, estimated=guess),
        blood_volume=number(fluids.blood, "blood volume", sources, significant=3, mark="predicted", estimated=guess),
        allowable_loss=None if fluids.loss is None else number(fluids.loss, "allowable loss", sources, significant=3,
                                                               mark="predicted", estimated=guess),
        notes=tuple(n for n in notes if n),
    )  # fmt: skip


def limit_rows(work: PlanWork, facts: Facts) -> tuple[LimitRow, ...]:
    return tuple(_limit_row(p) for p in limit_parts(work, facts))


def _limit_row(part: LimitPart) -> LimitRow:
    return LimitRow(
        reading=part.reading,
        text=limit_words(part),
        low=None if part.below is None else float(part.below),
        high=None if part.above is None else float(part.above),
        unit=part.unit,
        action=part.action,
        whose=part.whose,
        memory=part.memory,
        cited=tuple(Cited(citation=c.citation, seen=c.seen, memory=c.memory) for c in part.source),
    )


def limit_words(part: LimitPart) -> str:
    """A limit as one reads it aloud: "MAP below 60 mmHg".

    >>> from decimal import Decimal
    >>> limit_words(LimitPart(reading="map", name="Mean pressure", below=Decimal(60), above=None, unit="mmHg", action="",
    ...                       ordered=True))
    'Mean pressure below 60 mmHg'
    """
    sides = []
    if part.below is not None:
        sides.append(f"below {figure(part.below)}")
    if part.above is not None:
        sides.append(f"above {figure(part.above)}")
    return f"{part.name} {' or '.join(sides)} {part.unit}".strip()


def risk_flags(work: PlanWork, facts: Facts) -> tuple[RiskFlag, ...]:
    """What this patient brings, then what its drugs say about it, the gravest first."""
    grave = ("never", "avoid", "care")
    flags = [
        RiskFlag(title=f.title, changes=f.changes, severity=f.severity, memory=f.memory,
                 cited=cited((f.source,) if isinstance(f.source, str) else f.source, facts.sources))
        for f in work.flags
    ]  # fmt: skip
    spoken = [
        Spoken(order.made.drug.name if order.made.drug else order.asked.drug, caution_flag(hit, facts))
        for order in work.orders
        for hit in order.cautions
        if hit.matched
    ]
    flags += together(spoken)
    return tuple(sorted(dict.fromkeys(flags), key=lambda f: grave.index(f.severity)))
