"""What a sorted row of figures says without any curve laid through it: median, its interval, the range for the next animal.

Every figure here is one that was seen, or lies halfway between two that were; nothing is assumed of how they are spread.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from itertools import takewhile

from spiracle.refusals import Missing, OutOfRange

CONFIDENCE = Fraction(95, 100)
# The fewest with which the least and the greatest hold a median as often as that: 1 - 2 / 2^6 = 31/32. Five give 15/16.
FEWEST = 6


def median(values: Sequence[Decimal]) -> Decimal:
    """The middle one, or halfway between the two in the middle. Any unit, any number from one up.

    Source: common practice of every text on statistics.

    >>> median([Decimal(4), Decimal(1), Decimal(3)]), median([Decimal(4), Decimal(1)])
    (Decimal('3'), Decimal('2.5'))
    """
    row = _sorted(values)
    half, odd = divmod(len(row), 2)
    return row[half] if odd else (row[half - 1] + row[half]) / 2


@lru_cache(maxsize=1024)
def coverage(n: int, rank: int) -> Fraction:
    """How often the figures of this rank from below and from above hold the median of all animals between them.

    1 - 2 x P(fewer than `rank` of n lie under the median), of a binomial with a half: exact where no two figures are equal, at
    least that where some are. `rank` 1 to n / 2, else `OutOfRange`. Source: distribution-free interval of a median,
    W. R. Thompson, Ann Math Stat 1936;7:122 (from memory); printed values in tests/laws/test_audit_intervals.py.
    Worked: 1 - 2 x (1 + 10) / 1,024 = 0.979 for ten figures and their second from either end.

    >>> coverage(10, 2)
    Fraction(501, 512)
    """
    if rank < 1 or 2 * rank > n:
        raise OutOfRange("rank", f"{rank} is no pair of places in a row of {n}.", "Give 1 to half of the row.")
    return 1 - Fraction(2 * next(under for r, under in _under(n) if r == rank), 2**n)


def _under(n: int) -> Iterator[tuple[int, int]]:
    """For each place from one up: in how many of the 2^n ways fewer than so many lie under the median."""
    ways, total = 1, 0
    for k in range(n // 2):
        total += ways
        yield k + 1, total
        ways = ways * (n - k) // (k + 1)


@lru_cache(maxsize=1024)
def interval_rank(n: int, confidence: Fraction = CONFIDENCE) -> int | None:
    """The innermost pair of places that still holds the median as often as asked; None where n figures are too few for any.

    >>> [interval_rank(n) for n in (5, 6, 9, 20)]
    [None, 1, 2, 6]
    """
    most = (1 - confidence) / 2 * 2**n
    return max((rank for rank, under in takewhile(lambda place: place[1] <= most, _under(n))), default=None)


def percentile(values: Sequence[Decimal], tenths: int) -> Decimal | None:
    """Under which so many tenths of the animals lie; None where that would lie outside what was seen.

    At place (n + 1/3) x p + 1/3 of the sorted row, between two figures in proportion: the estimate whose median is right
    whatever the spread. Source: R. J. Hyndman and Y. Fan, Am Stat 1996;50:361, definition 8 (from memory; agrees with numpy's
    `median_unbiased`). Worked: one tenth of 1 to 12 stands at place 37/3 x 1/10 + 1/3 = 1.567, which is 1.567.

    >>> round(percentile([Decimal(v) for v in range(1, 13)], 1), 3), percentile([Decimal(1), Decimal(2)], 1)
    (Decimal('1.567'), None)
    """
    row, n = _sorted(values), len(values)
    place = (n + Fraction(1, 3)) * Fraction(tenths, 10) + Fraction(1, 3)
    below = int(place)
    if place < 1 or place > n:
        return None
    if below == n:
        return row[-1]
    part = place - below
    return row[below - 1] + (row[below] - row[below - 1]) * part.numerator / part.denominator


def range_holds_next(n: int) -> Fraction:
    """How often the next one of the same kind lies between the least and the greatest of n: (n - 1) / (n + 1).

    It is as likely to take any of the n + 1 places, and two of them lie outside. Two or more, else `Missing`. Source: prediction
    interval from order statistics, (k - h) / (n + 1) between the h-th and the k-th: exercise of a statistics text, read as such.

    >>> range_holds_next(19)
    Fraction(9, 10)
    """
    if n < 2:
        raise Missing("animals", f"{n} give no range.", "At least two are needed.")
    return Fraction(n - 1, n + 1)


def _sorted(values: Sequence[Decimal]) -> list[Decimal]:
    if not values:
        raise Missing("animals", "there are none.", "At least one is needed.")
    return sorted(values)
