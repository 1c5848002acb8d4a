"""Doses as their logarithms: doses are spread by factors, so a mean of them is taken there, and so is a range for the next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from spiracle.refusals import Missing, OutOfRange


@dataclass(frozen=True, slots=True)
class Around:
    """A middle with its two ends, in the unit of what went in."""

    middle: float
    low: float
    high: float


def t_interval(mean: float, sd: float, n: int, confidence: float = 0.95, *, of_next: bool = False) -> Around:
    """mean ± t x sd x √(1/n), or with `of_next` ± t x sd x √(1 + 1/n): where the mean of all lies, or where the next one does.

    `mean` and `sd` (n - 1 below the line) in one unit, n two or more, confidence over 0 and under 1; else `Missing`,
    `OutOfRange`. Assumes a normal spread. Source: Student's t, common practice of every text on statistics.
    Worked: 20 logarithms of mean 1.1409 and standard deviation 0.8917 give 0.7235 to 1.5582 (P. Rowe, Essential Statistics for the
    Pharmaceutical Sciences, Wiley, Table 6.4); the next of 22 of mean 13.71 and 3.55 lies between 6.16 and 21.26 (D. C. Montgomery
    and G. C. Runger, Applied Statistics and Probability for Engineers, example 8-8).

    >>> found = t_interval(1.1409, 0.8917, 20)
    >>> round(found.low, 3), round(found.high, 3)
    (0.724, 1.558)
    """
    from scipy.special import stdtrit  # type: ignore[import-untyped, unused-ignore]

    if n < 2:
        raise Missing("animals", f"{n} give no interval.", "At least two are needed.")
    if not 0 < confidence < 1:
        raise OutOfRange("confidence", f"{confidence} is none.", "Give a part of one, like 0.95.")
    t = float(stdtrit(n - 1, (1 + confidence) / 2))
    half = t * sd * math.sqrt((1 if of_next else 0) + 1 / n)
    return Around(mean, mean - half, mean + half)


def geometric(values: Sequence[Decimal], confidence: float = 0.95, *, of_next: bool = False) -> Around:
    """The geometric mean with its t interval on the logarithms; with `of_next` the range in which the next one is expected.

    Values over zero in any one unit, two or more; else `OutOfRange`, `Missing`. Assumes that the logarithms are spread normally.
    Source: as `t_interval`. Worked: 1, 2 and 4 have the geometric mean 2; their logarithms to the base 2 are 0, 1 and 2.

    >>> round(geometric([Decimal(1), Decimal(2), Decimal(4)]).middle, 6)
    2.0
    """
    if any(v <= 0 for v in values):
        raise OutOfRange("dose", "is not over zero.", "Leave out what was not given.")
    if len(values) < 2:
        raise Missing("animals", f"{len(values)} give no interval.", "At least two are needed.")
    logs = sorted(math.log(v) for v in values)  # sorted, so that the sums come out the same in any order of arrival
    mean = math.fsum(logs) / len(logs)
    sd = math.sqrt(math.fsum((x - mean) ** 2 for x in logs) / (len(logs) - 1))
    found = t_interval(mean, sd, len(logs), confidence, of_next=of_next)
    return Around(math.exp(found.middle), math.exp(found.low), math.exp(found.high))
