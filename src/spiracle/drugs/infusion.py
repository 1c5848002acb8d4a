"""Infusions: a dose rate as mL/h and back, and how long a syringe or bag lasts. Time bases are never converted silently."""

from __future__ import annotations

from decimal import Decimal

from spiracle.drugs.order import DosingWeight
from spiracle.drugs.rows import amount_of, in_unit
from spiracle.quantity import Quantity, Unit, unit
from spiracle.refusals import OutOfRange, UnlikeUnits

_ML_H = unit("mL/h")


def rate_ml_h(dose_rate: Quantity, weight: DosingWeight, concentration: Quantity | None) -> Quantity:
    """The pump's rate for a dose rate; a fluid in mL/kg/h needs no concentration.

    >>> rate = rate_ml_h(Quantity.of(10, "mcg/kg/min"), DosingWeight(Decimal(10)), Quantity.of("1.6", "mg/mL"))
    >>> str(rate)
    '3.75 mL/h'
    """
    amount = amount_of(dose_rate, weight.kg)
    if amount.unit.dimension == _ML_H.dimension:
        return amount.to(_ML_H)
    if concentration is None or concentration.value <= 0:
        raise UnlikeUnits("strength", f"{dose_rate} needs a strength.", "Say what the syringe holds, like 1 mg/mL.")
    try:
        return (amount / concentration).to(_ML_H)
    except UnlikeUnits as unlike:
        raise UnlikeUnits(
            "strength", f"{concentration} does not measure what {dose_rate} is written in.", "Give both in one kind."
        ) from unlike


def dose_rate_of(rate: Quantity, weight: DosingWeight, concentration: Quantity | None, target: Unit | str) -> Quantity:
    """What a running pump gives, in the unit asked for.

    >>> ten = dose_rate_of(
    ...     Quantity.of("3.75", "mL/h"), DosingWeight(Decimal(10)), Quantity.of("1.6", "mg/mL"), "mcg/kg/min"
    ... )
    >>> str(ten)
    '10 mcg/kg/min'
    """
    goal = unit(target) if isinstance(target, str) else target
    amount = rate if concentration is None else rate * concentration
    return in_unit(amount, goal, weight.kg)


def minutes_left(volume: Quantity, rate: Quantity) -> Decimal:
    """Minutes until a volume has run out at this rate, rounded down to a whole minute.

    >>> minutes_left(Quantity.of(50, "mL"), Quantity.of("3.75", "mL/h"))
    Decimal('800')
    """
    if rate.value <= 0:
        raise OutOfRange("rate", f"{rate} never ends.", "Give a rate above 0 mL/h.")
    return (volume / rate).number("min").to_integral_value(rounding="ROUND_FLOOR")
