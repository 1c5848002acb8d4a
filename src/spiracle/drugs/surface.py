"""Body surface: only to read what a label table means. Doses are ordered per kg, never by surface."""

from __future__ import annotations

from decimal import Decimal

from spiracle.quantity import Quantity, unit

_GRAMS = Decimal(1000)
_THIRD = Decimal(2) / Decimal(3)
_SCALE = Decimal(10000)


def body_surface(kg: Decimal, constant: Decimal) -> Quantity:
    """Body surface [m2] from body mass: K × grams^(2/3) / 10000.

    K is 10.1 for dogs (it reproduces a printed label table within 0.011 mL) and 10.0 for cats (from memory).
    Used for 1 to 100 kg; below that no published table was found to hold it against.

    >>> round(body_surface(Decimal(20), Decimal("10.1")).value, 3)
    Decimal('0.744')
    """
    return Quantity(constant * (kg * _GRAMS) ** _THIRD / _SCALE, unit("m2"))


def surface_dose_per_kg(dose: Quantity, kg: Decimal, constant: Decimal) -> Quantity:
    """What a dose by body surface is per kg in this animal: the reason why it is not one dose.

    >>> str(surface_dose_per_kg(Quantity.of(500, "mcg/m2"), Decimal(3), Decimal("10.1")))[:5]
    '35.01'
    """
    return dose * body_surface(kg, constant) / Quantity(kg, unit("kg"))
