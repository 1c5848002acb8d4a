"""One row of figures told as a whole: the figures themselves where they are few, else middle, interval, spread, the next one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from spiracle.audit.logs import Around, geometric
from spiracle.audit.ranks import FEWEST, coverage, interval_rank, median, percentile, range_holds_next

SPREAD_FROM = 10  # a tenth of the animals is an animal: our own choice
NEXT = 0.9


@dataclass(frozen=True, slots=True)
class Interval:
    """Which places of the sorted row it lies between, and how often such an interval holds the median of all."""

    low: Decimal
    high: Decimal
    rank: int
    holds: Fraction


@dataclass(frozen=True, slots=True)
class Summary:
    """`values` sorted. With fewer than `FEWEST` there is no median to speak of: they stand for themselves."""

    values: tuple[Decimal, ...]

    @property
    def n(self) -> int:
        return len(self.values)

    @property
    def few(self) -> bool:
        return self.n < FEWEST

    @property
    def median(self) -> Decimal | None:
        return None if self.few else median(self.values)

    @property
    def interval(self) -> Interval | None:
        """The exact interval of the median, at least 95 %."""
        rank = interval_rank(self.n)
        if rank is None:
            return None
        return Interval(self.values[rank - 1], self.values[-rank], rank, coverage(self.n, rank))

    @property
    def spread(self) -> tuple[Decimal, Decimal] | None:
        """Between the lowest tenth of the animals and the highest."""
        if self.n < SPREAD_FROM:
            return None
        low, high = percentile(self.values, 1), percentile(self.values, 9)
        return None if low is None or high is None else (low, high)

    @property
    def mean(self) -> Around | None:
        """Geometric, with its 95 % interval; None where they are few or one of them is zero."""
        return None if self.few or self.values[0] <= 0 else geometric(self.values)

    @property
    def next_by_range(self) -> Fraction | None:
        """How often the next one lies between the least and the greatest of these."""
        return None if self.few else range_holds_next(self.n)

    @property
    def next_by_logs(self) -> Around | None:
        """Where nine of ten next ones lie, if logarithms are spread normally."""
        return None if self.few or self.values[0] <= 0 else geometric(self.values, NEXT, of_next=True)


def summarise(values: Iterable[Decimal]) -> Summary:
    """In whatever order they came.

    >>> told = summarise(Decimal(v) for v in (3, 1, 2, 6, 5, 4))
    >>> told.median, told.interval.low, told.interval.high, told.interval.holds
    (Decimal('3.5'), Decimal('1'), Decimal('6'), Fraction(31, 32))
    """
    return Summary(tuple(sorted(values)))
