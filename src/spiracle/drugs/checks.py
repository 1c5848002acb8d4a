"""What the check runner may ask of this room: the product's own formulas under the keys of the checks table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.drugs.infusion import dose_rate_of, rate_ml_h
from spiracle.drugs.order import DosingWeight
from spiracle.drugs.rows import amount_of
from spiracle.drugs.stock import read_strength, times
from spiracle.drugs.surface import body_surface
from spiracle.quantity import Quantity
from spiracle.refusals import BadTable

_UNIT_ANIMAL = DosingWeight(Decimal(1))


def _d(inputs: Mapping[str, Any], key: str) -> Decimal:
    return Decimal(str(inputs[key]))


def _of(inputs: Mapping[str, Any], key: str, unit: str) -> Quantity:
    return Quantity.of(_d(inputs, key), unit)


def _strength(inputs: Mapping[str, Any]) -> Quantity:
    found = read_strength(str(inputs["strength"]))[0]
    if found is None:
        raise BadTable("check", f"{inputs['strength']!r} holds no strength.")
    return found


def _volume(inputs: Mapping[str, Any]) -> float:
    """mL of a vial for a dose per kg, for `kg` (1 where none is given: mL per kg)."""
    kg = _d(inputs, "kg") if "kg" in inputs else Decimal(1)
    amount = amount_of(_of(inputs, "dose", str(inputs["dose_unit"])), kg)
    strength = _strength(inputs)
    return float((amount / strength).number("mL"))


def _per_kg(inputs: Mapping[str, Any]) -> float:
    """A drawn volume of a vial as a dose per kg, in `per`."""
    strength = _strength(inputs)
    amount = _of(inputs, "ml", "mL") * strength
    weight = Quantity.of(_d(inputs, "kg"), "kg") if "kg" in inputs else Quantity.of(_d(inputs, "lb"), "lb").to("kg")
    return float((amount / weight).number(str(inputs["per"])))


def _amount(inputs: Mapping[str, Any]) -> float:
    strength = _strength(inputs)
    return float((_of(inputs, "ml", "mL") * strength).number("mg"))


def _rate(inputs: Mapping[str, Any]) -> float:
    strength = _strength(inputs) if "strength" in inputs else None
    dose = _of(inputs, "dose", str(inputs["dose_unit"]))
    return float(rate_ml_h(dose, DosingWeight(_d(inputs, "kg")), strength).value)


def _dose_rate(inputs: Mapping[str, Any]) -> float:
    """A bag made up of `mg` in `ml`, run at `ml_per_kg_h`, as mcg/kg/min."""
    bag = _of(inputs, "mg", "mg") / _of(inputs, "ml", "mL")
    return float(dose_rate_of(_of(inputs, "ml_per_kg_h", "mL/h"), _UNIT_ANIMAL, bag, "mcg/kg/min").value)


def _times(inputs: Mapping[str, Any]) -> float:
    return float(times(_of(inputs, "one", str(inputs["unit"])), _of(inputs, "other", str(inputs["unit"]))))


def _reversal(inputs: Mapping[str, Any]) -> float:
    """mL per kg of a reversal at a multiple of the micrograms of the agonist."""
    amount = amount_of(_of(inputs, "agonist_mcg_per_kg", "mcg/kg"), Decimal(1)) * _d(inputs, "multiple")
    strength = _strength(inputs)
    return float((amount / strength).number("mL"))


def _total(inputs: Mapping[str, Any]) -> float:
    """A dose per kg (or energy per kg) for the whole animal."""
    return float(amount_of(_of(inputs, "dose", str(inputs["dose_unit"])), _d(inputs, "kg")).value)


def _surface_volume(inputs: Mapping[str, Any]) -> float:
    """mL of a vial for a label dose by body surface."""
    amount = _of(inputs, "mcg_per_m2", "mcg/m2") * body_surface(_d(inputs, "kg"), _d(inputs, "k"))
    return float((amount / _strength(inputs)).number("mL"))


CHECKS: dict[str, Callable[[Mapping[str, Any]], float]] = {
    "drugs.volume": _volume,
    "drugs.per_kg": _per_kg,
    "drugs.amount": _amount,
    "drugs.rate": _rate,
    "drugs.dose_rate": _dose_rate,
    "drugs.times": _times,
    "drugs.reversal": _reversal,
    "drugs.total": _total,
    "drugs.surface_volume": _surface_volume,
}
