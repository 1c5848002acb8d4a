"""What a field can hold: the span of the instrument it is read from. Not limits of care: those stand in the tables.

A value outside its span is a slip of the hand. The spans are wide on purpose and are no statement about any animal.
"""

from __future__ import annotations

from decimal import Decimal

from spiracle.quantity import figure
from spiracle.refusals import OutOfRange

SPANS: dict[str, tuple[str, str, str]] = {
    "cuff pressure": ("0", "150", "cmH2O"),
    "air in the cuff": ("0", "60", "mL"),
    "leak pressure": ("0", "80", "cmH2O"),
    "oxygen flow": ("0", "15", "L/min"),
    "other gas flow": ("0", "15", "L/min"),
    "vaporiser": ("0", "20", "%"),
    "breathing rate": ("1", "120", "/min"),
    "tidal volume": ("1", "3000", "mL"),
    "peak pressure": ("0", "80", "cmH2O"),
    "PEEP": ("0", "40", "cmH2O"),
    "tube, inside diameter": ("1.5", "40", "mm"),
    "tube, outside diameter": ("2", "50", "mm"),
    "depth": ("2", "120", "cm"),
    "cut length": ("2", "120", "cm"),
    "incisors to thoracic inlet": ("2", "120", "cm"),
    "tracheal diameter": ("1", "60", "mm"),
    "incisors to larynx": ("1", "60", "cm"),
    "nasal septum": ("1", "80", "mm"),
    "occipital bump to tail base": ("10", "150", "cm"),
    "trachea over thoracic inlet": ("0.03", "0.5", ""),
    "test pressure": ("0", "60", "cmH2O"),
    "leak flow": ("0", "20000", "mL/min"),
    "drive gas": ("0", "60", "L/min"),
    "concentrator flow": ("0.1", "30", "L/min"),
    "concentrator oxygen": ("21", "100", "%"),
    "agent bottle": ("10", "1000", "mL"),
    "inspiration": ("0.1", "10", "s"),
    "energy": ("1", "1000", "J"),
    "pump rate": ("0.01", "2000", "mL/h"),
    "fluid volume": ("0.1", "10000", "mL"),
    "minutes": ("1", "1440", "min"),
    "bag": ("100", "10000", "mL"),
    "cylinder contents": ("10", "20000", "L"),
    "every": ("1", "120", "min"),
    "refill": ("0", "20", "s"),
    "attempts": ("1", "20", ""),
}


def inside(name: str, value: Decimal | int | None, place: str = "") -> None:
    """Refuse a value its instrument cannot show, under its name or the place it was written; None was not read and passes."""
    if value is None:
        return
    low, high, unit = SPANS[name]
    if not Decimal(low) <= value <= Decimal(high):
        said = f"{figure(Decimal(value))} {unit}".strip()
        span = f"{low} to {figure(Decimal(high))} {unit}".strip()
        raise OutOfRange(place or name, f"{said} cannot be.", f"Give {span}.")
