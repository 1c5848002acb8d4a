"""What the check runner may ask of this room: the product's own formulas under the keys of the checks table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.emergency.sheet import shock_joules, volume_of
from spiracle.quantity import Quantity, unit


def _d(inputs: Mapping[str, Any], name: str) -> Decimal:
    return Decimal(str(inputs[name]))


def _volume(i: Mapping[str, Any]) -> float:
    """mL of a vial for a dose per kg: the sheet's own two steps."""
    amount = Quantity(_d(i, "dose"), unit(str(i["unit"]))) * Quantity(_d(i, "kg"), unit("kg"))
    per_ml = str(i["unit"]).split("/")[0] + "/mL"
    return float(volume_of(amount, Quantity(_d(i, "strength"), unit(per_ml))).value)


CHECKS: dict[str, Callable[[Mapping[str, Any]], float]] = {
    "emergency.volume": _volume,
    "emergency.breath": lambda i: float(_d(i, "kg") * _d(i, "ml_kg")),
    "emergency.shock": lambda i: float(shock_joules(_d(i, "j_kg"), _d(i, "kg"))),
}
