"""Arterial pressure: what three numbers must agree on, a mean that is only ever an estimate, and the cuff."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from spiracle.circulation.rows import CuffRow
from spiracle.quantity import Quantity, figure, nearest, unit
from spiracle.refusals import Contradiction, OutOfRange
from spiracle.source import Input, Mark, Worked, Working


def check_order(sap: Decimal | None, mean: Decimal | None, dap: Decimal | None) -> None:
    """Systolic, mean and diastolic must not stand in the wrong order; any of them may be missing."""
    named = [(n, v) for n, v in (("systolic", sap), ("mean", mean), ("diastolic", dap)) if v is not None]
    for (upper, high), (lower, low) in pairwise(named):
        if high < low:
            raise Contradiction("pressure", f"{upper} {figure(high)} is under {lower} {figure(low)} mmHg.",
                                "Enter systolic, mean, diastolic in that order.")  # fmt: skip


def one_third_mean(sap: Decimal, dap: Decimal) -> Decimal:
    """Diastolic plus a third of the pulse pressure [mmHg]. An estimate: never charted as a mean that was measured.

    Source: the one-third rule; the published lower limits 90 and 60 give the published 70 exactly, the upper limits
    140 and 90 give 106.7 and not the printed 90 (rows N2 to N4, N24).
    >>> one_third_mean(Decimal(90), Decimal(60))
    Decimal('70')
    """
    if dap > sap:
        raise Contradiction("pressure", f"diastolic {figure(dap)} is over systolic {figure(sap)} mmHg.", "Check both.")
    return dap + (sap - dap) / 3


def mean_estimate(sap: Decimal, dap: Decimal) -> Worked[Quantity]:
    value = nearest(one_third_mean(sap, dap), Decimal(1))
    says = f"{figure(dap)} + ({figure(sap)} - {figure(dap)}) / 3; estimated, not measured"
    inputs = (
        Input("systolic", f"{figure(sap)} mmHg", Mark.TYPED),
        Input("diastolic", f"{figure(dap)} mmHg", Mark.TYPED),
    )
    working = Working(says, inputs, sources=("v_derived",), estimated=True)
    return Worked(Quantity(value, unit("mmHg")), working)


def cuff_width(row: CuffRow, circumference_cm: Decimal) -> Worked[Quantity]:
    """Width of the cuff as a share of the limb's circumference [cm]: 40 % in dogs, 30 % in cats.

    Circumferences of 1 to 60 cm. Source: rows BP7 to BP9, which disagree for cats.
    """
    if not 1 <= circumference_cm <= 60:
        raise OutOfRange("limb circumference", f"{circumference_cm} cm is no limb.", "Give 1 to 60 cm.")
    width = circumference_cm * row.percent / 100
    working = Working(
        f"{figure(row.percent)} % of {figure(circumference_cm)} cm",
        (Input("limb circumference", f"{figure(circumference_cm)} cm", Mark.TYPED),),
        held=(row.note,),
        sources=row.source,
        memory=row.memory,
    )
    return Worked(Quantity(width, unit("cm")), working)


def agreement_sd(low: Decimal, high: Decimal) -> Decimal:
    """Standard deviation implied by 95 % limits of agreement: their width over 2 x 1.96. For checks of papers only.

    >>> round(agreement_sd(Decimal("-39.3"), Decimal("21.7")), 3)
    Decimal('15.561')
    """
    return (high - low) / (2 * Decimal("1.96"))
