"""Drops for a giving set without a pump: whole drops a minute, toward less, and what they then really give."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from spiracle.drugs.syringe import percent
from spiracle.quantity import Quantity, down_to, figure, unit
from spiracle.refusals import NotMeasurable, OutOfRange

SETS = (10, 15, 20, 60)  # drops in a mL: large sets of 10, 15 and 20, small ones of 60
_MINUTES = Decimal(60)
_SECONDS = Decimal(60)
_ONE = Decimal(1)
_TENTH = Decimal("0.1")
_FAST = Decimal(150)  # more in a minute runs as a stream


@dataclass(frozen=True, slots=True)
class Drops:
    """`per_min` whole drops, `seconds_between` two of them; `rate` is what they give, `error_percent` against what was asked."""

    drops_per_ml: int
    per_min: int
    seconds_between: Decimal
    rate: Quantity
    error_percent: Decimal
    says: str


def drops(rate: Quantity, drops_per_ml: int) -> Drops:
    """Whole drops a minute for a rate in mL/h, rounded down, and the rate they come to.

    Source: drops/min = mL/h × drops/mL ÷ 60 min/h, common practice of every nursing text. Range: a set of 10 to 60 drops per
    mL, 1 to 150 drops a minute (faster than that nobody counts). Refused beyond it.

    >>> ten = drops(Quantity.of(125, "mL/h"), 15)
    >>> ten.per_min, ten.seconds_between, str(ten.rate)
    (31, Decimal('1.9'), '124 mL/h')
    """
    if drops_per_ml not in SETS:
        raise OutOfRange("giving set", f"{drops_per_ml} drops per mL is not a set that is sold.",
                         "Read the packet: " + ", ".join(str(s) for s in SETS) + ".")  # fmt: skip
    ml_h = rate.number("mL/h")
    if ml_h <= 0:
        raise OutOfRange("rate", f"{rate} makes no drops.", "Give a rate above 0 mL/h.")
    wanted = ml_h * drops_per_ml / _MINUTES
    whole = down_to(wanted, _ONE)
    if whole < 1:
        raise NotMeasurable("drops", f"{figure(wanted, 2)} drops a minute of a {drops_per_ml} drop set is under one drop.",
                            "Take a set with smaller drops, or a pump.")  # fmt: skip
    if whole > _FAST:
        raise NotMeasurable("drops", f"{figure(whole)} drops a minute cannot be counted.",
                            "Take a set with larger drops, or a pump.")  # fmt: skip
    gives = Quantity(whole * _MINUTES / drops_per_ml, unit("mL/h"))
    between = (_SECONDS / whole).quantize(_TENTH, rounding=ROUND_HALF_EVEN)
    error = percent(gives.value, ml_h)
    says = (
        f"{figure(ml_h)} mL/h × {drops_per_ml} drops/mL ÷ 60 = {figure(wanted, 4)} a minute, down to {figure(whole)}; "
        f"{figure(whole)} × 60 ÷ {drops_per_ml} = {figure(gives.value, 4)} mL/h ({figure(error)} %)"
    )
    return Drops(drops_per_ml, int(whole), between, gives, error, says)


def countable(rate: Quantity, drops_per_ml: int, limit_percent: Decimal) -> Drops:
    """Drops, refused where whole drops would give less than the error limit allows.

    >>> str(countable(Quantity.of(11, "mL/h"), 60, Decimal(5)).rate)
    '11 mL/h'
    """
    found = drops(rate, drops_per_ml)
    if -found.error_percent > limit_percent:
        plural = "drop" if found.per_min == 1 else "drops"
        raise NotMeasurable(
            "drops",
            f"{found.per_min} {plural} a minute of a {drops_per_ml} drop set gives {figure(found.rate.value, 4)} mL/h, "
            f"{figure(-found.error_percent)} % under {figure(rate.number('mL/h'))} mL/h.",
            "Take a set with smaller drops, or a pump.",
        )
    return found
