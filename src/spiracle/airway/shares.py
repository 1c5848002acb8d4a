"""Shares, ratios and spans of what a paper counted: the arithmetic by which its figures are checked against one another."""

from __future__ import annotations

from spiracle.refusals import OutOfRange


def share(part: float, whole: float) -> float:
    """Part of a whole, 0 to 1.

    >>> share(14, 20)
    0.7
    """
    if whole <= 0 or not 0 <= part <= whole:
        raise OutOfRange("share", f"{part:g} of {whole:g} is no share.", "Give a part between nothing and the whole.")
    return part / whole


def count_of_percent(percent: float, whole: float) -> float:
    """How many that percentage was, of so many in all.

    >>> count_of_percent(14, 50)
    7.0
    """
    if not 0 <= percent <= 100 or whole <= 0:
        raise OutOfRange("percentage", f"{percent:g} % of {whole:g} is no count.", "Give 0 to 100 %.")
    return percent * whole / 100


def ratio(one: float, other: float) -> float:
    """One over the other. Of two means it is the ratio of means, which is not the mean of ratios.

    >>> round(ratio(297.8, 69.6), 2)
    4.28
    """
    if other <= 0:
        raise OutOfRange("ratio", f"nothing can be held against {other:g}.", "Give more than 0.")
    return one / other


def mean_with_sds(mean: float, sd: float, sds: float) -> float:
    """The mean and so many standard deviations above it (below, when negative): a span, never a maximum.

    >>> round(mean_with_sds(1.6, 0.7, -1), 1), round(mean_with_sds(1.6, 0.7, 1), 1)
    (0.9, 2.3)
    """
    if sd < 0:
        raise OutOfRange("standard deviation", f"{sd:g} is less than none.", "Give 0 or more.")
    return mean + sds * sd
