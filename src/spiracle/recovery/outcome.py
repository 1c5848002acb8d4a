"""Rates of death as studies print them: for the manual and the audit, never for one animal."""

from __future__ import annotations

from decimal import Decimal

from spiracle.refusals import OutOfRange


def per_hundred(deaths: Decimal, animals: Decimal) -> Decimal:
    """Deaths in a hundred [%]. Source: definition.

    >>> round(per_hundred(Decimal(48), Decimal(3546)), 2)
    Decimal('1.35')
    """
    if animals <= 0 or not 0 <= deaths <= animals:
        raise OutOfRange(
            "deaths", f"{deaths} of {animals} is no rate.", "Give deaths out of a larger number of animals."
        )
    return deaths / animals * 100


def lowest_over(cutoff_share: Decimal, top: Decimal) -> Decimal:
    """Lowest whole score of a scale whose share of its top exceeds a cut-off.

    >>> lowest_over(Decimal("0.39"), Decimal(10))
    Decimal('4')
    """
    score = Decimal(0)
    while score / top <= cutoff_share:
        score += 1
    return score
