"""What of an infusion is still in the body: an estimate for a shared ceiling, never a concentration and never a reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from spiracle.refusals import OutOfRange

_LN2 = Decimal(2).ln()
_MIN = Decimal(60)
_PLACES = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Ran:
    """A stretch at one rate: `per_hour` [amount/h], from `began` to `ended` [h before the moment asked about]."""

    per_hour: Decimal
    began: Decimal
    ended: Decimal


def load(ran: Iterable[Ran], half_life_min: Decimal | None) -> Decimal:
    """Amount still in the body [the amount's own unit], by one compartment that empties at a constant fraction per hour.

    load = sum over the stretches of rate / k * (e^(-k * ended) - e^(-k * began)), k = ln 2 / half-life. Without a half-life
    nothing is taken to have gone: the plain sum of what ran in. Never below zero and never over the plain sum; the fast
    distribution of the first minutes is left out, so that it is no figure for a plasma peak. Given down to a ten-thousandth
    above, so that rounding never makes room.

    Raises OutOfRange for a stretch that ends before it begins, or a half-life or rate that is none.
    Source: Rowland and Tozer, Clinical Pharmacokinetics (from memory), constant-rate infusion into one compartment.

    Worked by hand: 3 mg/kg/h for 30 min at a half-life of 52.9 min: k = 0.7862 per h, 3 / 0.7862 * (1 - e^-0.3931) = 1.240.

    >>> load([Ran(Decimal(3), Decimal("0.5"), Decimal(0))], Decimal("52.9"))
    Decimal('1.2403')
    >>> load([Ran(Decimal(3), Decimal("0.5"), Decimal(0))], None)
    Decimal('1.5000')
    """
    if half_life_min is not None and half_life_min <= 0:
        raise OutOfRange("half-life", "is not above zero.", "Give the minutes in which half of it is gone.")
    k = None if half_life_min is None else _LN2 * _MIN / half_life_min
    total = Decimal(0)
    for each in ran:
        if each.per_hour < 0 or each.began < each.ended or each.ended < 0:
            raise OutOfRange("infusion", "runs backwards.", "Give a rate, and when it began and ended.")
        hours = each.began - each.ended
        if k is None:
            total += each.per_hour * hours
        else:
            left = each.per_hour / k * ((-k * each.ended).exp() - (-k * each.began).exp())
            total += min(left, each.per_hour * hours)
    return _up(total)


def _up(amount: Decimal) -> Decimal:
    down = amount.quantize(_PLACES, rounding="ROUND_DOWN")
    return down if down == amount else down + _PLACES
