"""Every mark of a syringe and what it gives, worked once so that nobody works it at the table."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.drugs.order import DosingWeight
from spiracle.drugs.rows import in_unit
from spiracle.drugs.syringe import Barrel
from spiracle.quantity import Quantity, unit
from spiracle.source import Guardrail, Zone

if TYPE_CHECKING:
    from spiracle.drugs.prepared import Prepared


@dataclass(frozen=True, slots=True)
class Step:
    """One mark: `per_kg` in the unit of the row where there is one."""

    volume: Quantity
    amount: Quantity
    per_kg: Quantity
    zone: Zone
    over_order: bool


def rungs(
    concentration: Quantity | None,
    barrel: Barrel,
    weight: DosingWeight,
    guardrail: Guardrail | None,
    order_high: Quantity | None,
) -> tuple[Step, ...]:
    """Every mark of a barrel, first to last. `order_high` is an amount; without a guardrail nothing is called usual."""
    steps = []
    ml, kg = unit("mL"), unit("kg")
    for count in range(1, barrel.marks + 1):
        volume = Quantity(barrel.mark.value * count, ml)
        amount = volume if concentration is None else volume * concentration
        if guardrail is None:
            per_kg, zone = amount / Quantity(weight.kg, kg), Zone.UNUSUAL
        else:
            per_kg = in_unit(amount, guardrail.usual_high.unit, weight.kg)
            zone = guardrail.zone(per_kg)
        steps.append(Step(volume, amount, per_kg, zone, order_high is not None and amount > order_high))
    return tuple(steps)


def ladder(prepared: Prepared, weight: DosingWeight) -> tuple[Step, ...]:
    """The marks of a prepared syringe; none for an infusion or where no syringe was found."""
    if prepared.barrel is None or prepared.volume is None or prepared.rate is not None:
        return ()
    return rungs(prepared.concentration, prepared.barrel, weight, prepared.guardrail, prepared.amount)


def step_at(steps: tuple[Step, ...], volume_ml: Decimal) -> Step | None:
    """The step of one mark, or none where the barrel has no such mark."""
    return next((s for s in steps if s.volume.value == volume_ml), None)
