"""Printing numbers that cannot be misread: leading zero, no trailing zero, no exponent, a point, thousands by comma."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

NO_BREAK = "\u00a0"


def figure(value: Decimal, significant: int = 0) -> str:
    """A dose, volume, rate or weight: leading zero, no trailing zero.

    >>> figure(Decimal("0.50")), figure(Decimal("8.0")), figure(Decimal("7204")), figure(Decimal("1.6666"), 3)
    ('0.5', '8', '7,204', '1.67')
    """
    if significant and value:
        value = round_significant(value, significant)
    text = f"{value:,f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def printed_size(value: Decimal) -> str:
    """A tube's size as it is printed on the tube: one decimal at least, and none of its own rounded away.

    >>> printed_size(Decimal("3.25")), printed_size(Decimal("7")), printed_size(Decimal("4.50"))
    ('3.25', '7.0', '4.5')
    """
    own = -int(value.normalize().as_tuple().exponent)
    return reading(value, max(1, own))


def reading(value: Decimal, places: int) -> str:
    """A monitor's value: a fixed number of decimals, because its precision is part of it. A tube's is `printed_size`.

    >>> reading(Decimal("37"), 1), reading(Decimal("7"), 1)
    ('37.0', '7.0')
    """
    return f"{value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN):f}"


def round_significant(value: Decimal, digits: int) -> Decimal:
    """Rounded to so many significant digits; for working lines and rates, never for what goes in a syringe."""
    if not value:
        return value
    return value.quantize(Decimal(1).scaleb(value.adjusted() - digits + 1), rounding=ROUND_HALF_EVEN)
