"""What the audit says of a row of figures, against printed tables, general libraries, and every case counted out."""

from __future__ import annotations

import math
import random
from decimal import Decimal
from fractions import Fraction
from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spiracle.audit import FEWEST, SPREAD_FROM, summarise
from spiracle.audit.logs import geometric, t_interval
from spiracle.audit.ranks import coverage, interval_rank, median, percentile, range_holds_next
from spiracle.refusals import Missing, OutOfRange

# Doses as they come: to a hundredth of a mg/kg.
DOSES = st.decimals("0.01", "40", places=2)

# Table A.7, confidence intervals for the population median, of a printed textbook of statistics (its page 656): n, the innermost
# place from either end that still holds 95 %, and the level in per cent as printed.
PRINTED = [(6, 1, 96.9), (7, 1, 98.4), (8, 1, 99.2), (9, 2, 96.1), (10, 2, 97.9), (11, 2, 98.8), (12, 3, 96.1), (13, 3, 97.8),
           (14, 3, 98.7), (15, 4, 96.5), (16, 4, 97.9), (17, 5, 95.1), (18, 5, 96.9), (19, 5, 98.1), (20, 6, 95.9)]  # fmt: skip


@pytest.mark.parametrize(("n", "rank", "level"), PRINTED)
def test_the_interval_of_a_median_is_that_of_the_printed_table(n: int, rank: int, level: float) -> None:
    assert interval_rank(n) == rank
    assert float(coverage(n, rank)) * 100 == pytest.approx(level, abs=0.051)


def test_five_are_too_few_for_any_interval_and_six_are_not() -> None:
    """The same table: five give 93.8 % at the most."""
    assert (interval_rank(FEWEST - 1), interval_rank(FEWEST)) == (None, 1)
    assert float(coverage(5, 1)) == pytest.approx(0.938, abs=0.0006)


def test_a_printed_row_of_nineteen() -> None:
    """The example of `ci.median` in the reference pages of the R package statpsych, after Snedecor and Cochran, Statistical Methods,
    8th edition: median 20.7, interval 10.8 to 30.9."""
    row = "30.2 20.4 15.1 10.2 10.5 60.8 20.8 25.0 20.7 30.9 10.8 5.1 50.9 40.0 20.9 10.8 0 20.5 50.8"
    told = summarise(Decimal(v) for v in row.split())
    assert told.interval is not None
    assert (told.median, told.interval.low, told.interval.high) == (Decimal("20.7"), Decimal("10.8"), Decimal("30.9"))


def test_the_interval_holds_as_often_as_scipys_binomial_says_and_the_next_place_would_not() -> None:
    for n in range(2, 300):
        rank = interval_rank(n)
        tails = 1 - 2 * stats.binom.cdf(np.arange(n // 2), n, 0.5)
        fit = [r for r, held in enumerate(tails, 1) if held >= 0.95]
        assert rank == (max(fit) if fit else None), n
        if rank is not None:
            assert float(coverage(n, rank)) == pytest.approx(tails[rank - 1], abs=1e-12)
            assert coverage(n, rank) >= Fraction(95, 100)


@pytest.mark.parametrize("n", [6, 7, 9, 12])
def test_every_way_in_which_animals_can_lie_about_the_median_counted_out(n: int) -> None:
    """Each is over or under it with a half: the interval holds the median where at least `rank` lie on either side."""
    rank = interval_rank(n)
    assert rank is not None
    holding = sum(rank <= sum(under) <= n - rank for under in product((0, 1), repeat=n))
    assert Fraction(holding, 2**n) == coverage(n, rank)


@pytest.mark.parametrize("n", [2, 3, 4, 6])
def test_the_next_one_in_every_order_counted_out(n: int) -> None:
    orders = list(permutations(range(n + 1)))
    inside = sum(min(o[:-1]) < o[-1] < max(o[:-1]) for o in orders)
    assert Fraction(inside, len(orders)) == range_holds_next(n)


def test_the_next_of_a_normal_row_is_the_worked_example() -> None:
    """D. C. Montgomery and G. C. Runger, Applied Statistics and Probability for Engineers, example 8-8: 22 loads at failure of mean
    13.71 and standard deviation 3.55; mean between 12.14 and 15.28, the next one between 6.16 and 21.26."""
    of_mean, of_next = t_interval(13.71, 3.55, 22), t_interval(13.71, 3.55, 22, of_next=True)
    # printed from s and t rounded to three figures: within two hundredths
    assert (of_mean.low, of_mean.high) == (pytest.approx(12.14, abs=0.011), pytest.approx(15.28, abs=0.011))
    assert (of_next.low, of_next.high) == (pytest.approx(6.16, abs=0.011), pytest.approx(21.26, abs=0.011))


def test_a_mean_of_logarithms_is_the_worked_example() -> None:
    """P. Rowe, Essential Statistics for the Pharmaceutical Sciences, Wiley, Table 6.4: residues in 20 crops, log mean 1.1409 with
    standard deviation 0.8917, interval 0.7235 to 1.5582."""
    found = t_interval(1.1409, 0.89170, 20)
    assert (found.low, found.high) == (pytest.approx(0.7235, abs=1e-4), pytest.approx(1.5582, abs=1e-4))


@given(st.lists(DOSES, min_size=2, max_size=60))
def test_the_geometric_mean_and_its_interval_are_scipys(doses: list[Decimal]) -> None:
    found, logs = geometric(doses), np.log([float(v) for v in doses])
    assert found.middle == pytest.approx(stats.gmean([float(v) for v in doses]), rel=1e-9)
    spread = stats.sem(logs)
    if spread > 1e-12:
        low, high = stats.t.interval(0.95, len(doses) - 1, loc=logs.mean(), scale=spread)
        assert (math.log(found.low), math.log(found.high)) == (
            pytest.approx(low, abs=1e-9),
            pytest.approx(high, abs=1e-9),
        )


@given(st.lists(DOSES, min_size=SPREAD_FROM, max_size=60), st.sampled_from([1, 5, 9]))
def test_percentiles_are_numpys_median_unbiased_ones(doses: list[Decimal], tenths: int) -> None:
    found = percentile(doses, tenths)
    wanted = np.quantile([float(v) for v in doses], tenths / 10, method="median_unbiased")
    assert found is not None and float(found) == pytest.approx(wanted, rel=1e-9)


def test_a_percentile_beyond_what_was_seen_is_not_told() -> None:
    """Six animals have no tenth part: the place would lie before the first."""
    assert percentile([Decimal(v) for v in range(6)], 1) is None
    assert percentile([Decimal(v) for v in range(6)], 9) is None


# ---- laws


@given(st.lists(DOSES, min_size=FEWEST, max_size=80))
def test_intervals_hold_their_middle_and_lie_within_what_was_seen(doses: list[Decimal]) -> None:
    told = summarise(doses)
    assert (
        told.median is not None
        and told.interval is not None
        and told.mean is not None
        and told.next_by_logs is not None
    )
    assert told.values[0] <= told.interval.low <= told.median <= told.interval.high <= told.values[-1]
    assert told.interval.low in doses and told.interval.high in doses
    assert told.median == median(doses)
    assert told.mean.low <= told.mean.middle <= told.mean.high
    assert told.next_by_logs.low <= told.mean.low and told.next_by_logs.high >= told.mean.high
    if told.spread is not None:
        assert told.values[0] <= told.spread[0] <= told.median <= told.spread[1] <= told.values[-1]


@given(st.lists(DOSES, min_size=1, max_size=40), st.randoms(use_true_random=False))
def test_the_order_in_which_animals_came_plays_no_part(doses: list[Decimal], chance: random.Random) -> None:
    other = doses[:]
    chance.shuffle(other)
    one, two = summarise(doses), summarise(other)
    assert (one, one.median, one.interval, one.spread, one.mean, one.next_by_logs) == (
        two, two.median, two.interval, two.spread, two.mean, two.next_by_logs)  # fmt: skip


@given(st.lists(DOSES, min_size=FEWEST, max_size=40), st.sampled_from(["2", "0.5", "10"]))
def test_twice_the_doses_are_twice_every_figure(doses: list[Decimal], times: str) -> None:
    one, two = summarise(doses), summarise(v * Decimal(times) for v in doses)
    assert one.median is not None and one.interval is not None and one.mean is not None
    assert two.median is not None and two.interval is not None and two.mean is not None
    factor = Decimal(times)
    assert (two.median, two.interval.low, two.interval.high) == (
        one.median * factor, one.interval.low * factor, one.interval.high * factor)  # fmt: skip
    assert two.mean.high == pytest.approx(one.mean.high * float(factor), rel=1e-9)


@given(st.lists(DOSES, min_size=1, max_size=FEWEST - 1))
def test_of_a_few_nothing_is_made(doses: list[Decimal]) -> None:
    told = summarise(doses)
    assert told.few and told.values == tuple(sorted(doses))
    assert {told.median, told.interval, told.spread, told.mean, told.next_by_range, told.next_by_logs} == {None}


def test_drawn_from_a_known_spread_the_interval_holds_the_median_as_often_as_it_says() -> None:
    """4,000 rows of 9 from a log-normal spread of median 4; by the table 96.1 %, within four standard errors. Chance is seeded."""
    rows = np.sort(np.exp(np.random.default_rng(20).normal(math.log(4), 0.3, (4000, 9))), axis=1)
    rank = interval_rank(9)
    assert rank is not None
    held = float(np.mean((rows[:, rank - 1] <= 4) & (rows[:, -rank] >= 4)))
    want = float(coverage(9, rank))
    assert abs(held - want) < 4 * math.sqrt(want * (1 - want) / 4000)


def test_what_cannot_be_told_is_refused_by_name() -> None:
    with pytest.raises(Missing):
        median([])
    with pytest.raises(Missing):
        range_holds_next(1)
    with pytest.raises(Missing):
        geometric([Decimal(1)])
    with pytest.raises(OutOfRange):
        geometric([Decimal(0), Decimal(1)])
    with pytest.raises(OutOfRange):
        coverage(6, 4)
    with pytest.raises(OutOfRange):
        t_interval(1, 1, 3, 95)
