"""Kilograms, millilitres, mmHg: read once at the door, exact inside, printed so that they cannot be misread."""

from spiracle.quantity.amount import Quantity, down_to, nearest
from spiracle.quantity.reading import KINDS, Kind, read, read_age_days
from spiracle.quantity.units import Unit, unit
from spiracle.quantity.writing import figure, printed_size, reading, round_significant

__all__ = ["KINDS", "Kind", "Quantity", "Unit", "down_to", "figure", "nearest", "printed_size", "read", "read_age_days",
           "reading", "round_significant", "unit"]  # fmt: skip
