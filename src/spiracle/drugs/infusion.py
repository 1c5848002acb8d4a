"""Infusions: a dose rate as mL/h and back, and how long a syringe or bag lasts. Time bases are never converted silently."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal

from spiracle.drugs.order import DosingWeight
from spiracle.drugs.rows import amount_of, in_unit
from spiracle.quantity import Quantity, Unit, unit
from spiracle.refusals import OutOfRange, UnlikeUnits

_ML_H = unit("mL/h")
_SIXTY = Decimal(60)
_FINE = 9


def rate_ml_h(dose_rate: Quantity, weight: DosingWeight, concentration: Quantity | None) -> Quantity:
    """The pump's rate for a dose rate; a fluid in mL/kg/h needs no concentration.

    >>> rate = rate_ml_h(Quantity.of(10, "mcg/kg/min"), DosingWeight(Decimal(10)), Quantity.of("1.6", "mg/mL"))
    >>> str(rate)
    '3.75 mL/h'
    """
    amount = hourly(amount_of(dose_rate, weight.kg))
    top = amount.unit.parts[0][0]
    if top == "mL":
        return Quantity(amount.value, _ML_H)
    if concentration is None or concentration.value <= 0:
        raise UnlikeUnits("strength", f"{dose_rate} needs a strength.", "Say what the syringe holds, like 1 mg/mL.")
    try:
        return Quantity(amount.value / concentration.number(f"{top}/mL"), _ML_H)
    except UnlikeUnits as unlike:
        raise UnlikeUnits(
            "strength", f"{concentration} does not measure what {dose_rate} is written in.", "Give both in one kind."
        ) from unlike


def hourly(amount: Quantity) -> Quantity:
    """An amount per minute as an amount per hour: times sixty, exactly; one per hour stays as it is.

    >>> str(hourly(Quantity.of(100, "mcg/min")))
    '6,000 mcg/h'
    """
    top, times = amount.unit.parts[0][0], {s for s, _ in amount.unit.parts}
    if "h" in times:
        return Quantity(amount.value, unit(f"{top}/h"))
    if "min" in times:
        return Quantity(amount.value * _SIXTY, unit(f"{top}/h"))
    return amount.to(f"{top}/h")


def per_hour(rate: Quantity, concentration: Quantity | None, top: str) -> Quantity:
    """What a rate in mL/h gives in an hour, in the drug's own unit."""
    held = Decimal(1) if concentration is None else concentration.number(f"{top}/mL")
    return Quantity(rate.value * held, unit(f"{top}/h"))


def dose_rate_of(rate: Quantity, weight: DosingWeight, concentration: Quantity | None, target: Unit | str) -> Quantity:
    """What a running pump gives, in the unit asked for.

    >>> ten = dose_rate_of(
    ...     Quantity.of("3.75", "mL/h"), DosingWeight(Decimal(10)), Quantity.of("1.6", "mg/mL"), "mcg/kg/min"
    ... )
    >>> round(ten.value, 9), str(ten.unit)
    (Decimal('10.000000000'), 'mcg/kg/min')
    """
    goal = unit(target) if isinstance(target, str) else target
    amount = rate if concentration is None else rate * concentration
    return in_unit(amount, goal, weight.kg)


def minutes_left(volume: Quantity, rate: Quantity) -> Decimal:
    """Minutes until a volume has run out at this rate, rounded down to a whole minute.

    >>> int(minutes_left(Quantity.of(50, "mL"), Quantity.of("3.75", "mL/h")))
    800
    """
    if rate.value <= 0:
        raise OutOfRange("rate", f"{rate} never ends.", "Give a rate above 0 mL/h.")
    minutes = round(
        volume.number("mL") * _SIXTY / rate.number("mL/h"), _FINE
    )  # a rate that has no end is not a minute less
    return minutes.to_integral_value(rounding=ROUND_FLOOR)


_TIMES = ("min", "h")
_SMALLER = {"g": "mg", "mg": "mcg", "IU": "mIU"}
_LARGER = {"mcg": "mg", "mIU": "IU"}
_THOUSAND = Decimal(1000)
_TENTH = Decimal("0.1")


def per(dose_rate: Quantity, time: str) -> Quantity:
    """The same dose rate on another time base, in a mass unit that reads well: 0.6 mg/kg/h and 10 mcg/kg/min are one rate.

    `time` is "min" or "h". Units of amount are stepped by a thousand so that the figure is neither under 0.1 nor over 1,000.

    >>> str(per(Quantity.of("0.6", "mg/kg/h"), "min")), str(per(Quantity.of(10, "mcg/kg/min"), "h"))
    ('10 mcg/kg/min', '600 mcg/kg/h')
    """
    if time not in _TIMES:
        raise UnlikeUnits("time", f"{time} is no time base of an infusion.", "Say min or h.")
    top, *rest = (s for s, _ in dose_rate.unit.parts)
    others = "".join(f"/{s}" for s in rest if s not in {"min", "h", "day", "s"})
    found = dose_rate.to(f"{top}{others}/{time}")
    if found.value and found.value < _TENTH and top in _SMALLER:
        return found.to(f"{_SMALLER[top]}{others}/{time}")
    if found.value >= _THOUSAND and top in _LARGER:
        return found.to(f"{_LARGER[top]}{others}/{time}")
    return found
