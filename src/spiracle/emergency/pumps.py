"""Pressors begun by syringe pump: the start rate in mL/h of a syringe whose making-up stands beside it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.emergency.rows import Made, PumpRow
from spiracle.quantity import Quantity, down_to, figure, read, unit
from spiracle.refusals import NotMeasurable, Refusal
from spiracle.source import Input, Mark, Worked, Working

STEP = Decimal("0.1")  # the finest step of a syringe pump, mL/h: common practice
EASY = Decimal(1)  # below this the weaker syringe is taken, where there is one


@dataclass(frozen=True, slots=True)
class Pump:
    """One pressor: `rate` is what the pump is set to, down to its step; None where no syringe on the row gives a step."""

    row: PumpRow
    dose: Quantity
    made: Made
    recipe: str
    rate: Worked[Quantity] | None
    refusal: Refusal | None = None


def start_rate(dose: Quantity, kg: Decimal, strength: Quantity) -> Decimal:
    """Dose rate x weight x 60 / strength [mL/h], exact.

    Units: dose rate per kg and minute, kg, amount per mL. Source: definition. 10 kg, 0.05 mcg/kg/min of 0.04 mg/mL:

    >>> start_rate(Quantity.of("0.05", "mcg/kg/min"), Decimal(10), Quantity.of("0.04", "mg/mL"))
    Decimal('0.75')
    """
    return (dose * Quantity(kg, unit("kg")) / strength).number("mL/h")


def pump_of(row: PumpRow, kg: Decimal, estimated: bool) -> Pump:
    """The strongest syringe that runs at 1 mL/h or more, else the weakest; refused below the pump's step."""
    dose = Quantity(row.dose, unit(row.unit))
    found = [(m, start_rate(dose, kg, read(m.strength, row.name, "concentration"))) for m in row.made]
    made, exact = next(((m, r) for m, r in found if r >= EASY), found[-1])
    recipe = (
        f"{figure(made.drug_ml)} mL of {row.vial} made up to {figure(made.drug_ml + made.diluent_ml)} mL"
        f" with {row.diluent}: {made.strength}"
    )
    rate = down_to(exact, STEP)
    if rate < STEP:
        return Pump(row, dose, made, recipe, None,
                    NotMeasurable(row.name, f"{figure(exact, 2)} mL/h is under a pump's step of {STEP} mL/h.",
                                  "Dilute further on an order."))  # fmt: skip
    working = Working(f"{dose} x {figure(kg)} kg / {made.strength}, down to {STEP} mL/h",
                      (Input("weight", f"{figure(kg)} kg", Mark.TYPED, "estimated" if estimated else ""), Input("made up", recipe)),
                      held=(f"exactly {figure(exact, 4)} mL/h",), sources=row.source, memory=row.memory, estimated=estimated)  # fmt: skip
    return Pump(row, dose, made, recipe, Worked(Quantity(rate, unit("mL/h")), working))
