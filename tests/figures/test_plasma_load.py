"""What of an infusion is still in the body: against a general-purpose integrator, and laws over random rates. Carries U24."""

from __future__ import annotations

import math
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from shelf import formulary
from spiracle.drugs import Ran, load
from spiracle.refusals import OutOfRange

HALF = formulary().eliminations[("lidocaine", "dog")].half_life_min


def stretches() -> st.SearchStrategy[list[Ran]]:
    """Up to four stretches in a row, the last ending up to five hours ago."""
    hours = st.integers(1, 40).map(lambda n: Decimal(n) / 10)
    rate = st.integers(0, 60).map(lambda n: Decimal(n) / 10)

    def row(parts: list[tuple[Decimal, Decimal]], ended: Decimal) -> list[Ran]:
        found, edge = [], ended
        for length, per_hour in parts:
            found.append(Ran(per_hour, edge + length, edge))
            edge += length
        return found

    return st.builds(
        row, st.lists(st.tuples(hours, rate), min_size=1, max_size=4), st.integers(0, 50).map(lambda n: Decimal(n) / 10)
    )


def stepped(ran: list[Ran], half_life_min: Decimal) -> float:
    """The same by scipy on the bare equation da/dt = rate - k a, stretch by stretch."""
    k, a = math.log(2) / float(half_life_min) * 60, 0.0
    edges = sorted({float(r.began) for r in ran} | {float(r.ended) for r in ran} | {0.0}, reverse=True)
    for begin, end in pairwise(edges):
        middle = (begin + end) / 2
        rate = sum(float(r.per_hour) for r in ran if float(r.ended) < middle < float(r.began))
        solved = solve_ivp(lambda _t, y, rate=rate: [rate - k * y[0]], (0, begin - end), [a], rtol=1e-9, atol=1e-10)
        a = float(solved.y[0][-1])
    return a


def test_the_half_life_is_the_published_one() -> None:
    """wilcke1983: elimination constant 0.786 per h in dogs (abstract): ln 2 / 0.786 h is 52.9 min. The faster 34.8 min that
    follows from ngo1997 (ln 2 x 1.38 L/kg / 27.5 mL/min/kg) is written down and not used."""
    row = formulary().eliminations[("lidocaine", "dog")]
    assert abs(math.log(2) / 0.786 * 60 - float(row.half_life_min)) < 0.05
    assert (
        abs(math.log(2) * 1380 / 27.5 - 34.8) < 0.05 and "34.8" in row.disagrees and row.half_life_min > Decimal("34.8")
    )
    assert ("lidocaine", "cat") not in formulary().eliminations, "nothing is taken to have gone in a cat"


def test_half_an_hour_of_lidocaine_in_a_dog() -> None:
    """U24: larynx 0.6 and block 2 mg/kg, 50 mcg/kg/min for 30 min: 4.1 mg/kg by adding, about 3.84 as estimated."""
    ran = [Ran(Decimal(3), Decimal("0.5"), Decimal(0))]
    assert load(ran, None) == Decimal("1.5")
    assert Decimal("2.6") + load(ran, HALF) == pytest.approx(Decimal("3.84"), abs=Decimal("0.005"))


@given(stretches())
def test_against_an_integrator(ran: list[Ran]) -> None:
    """scipy.integrate.solve_ivp on the equation itself, which knows nothing of the closed form."""
    assert float(load(ran, HALF)) == pytest.approx(stepped(ran, HALF), abs=2e-4)


@given(stretches(), st.integers(5, 600).map(Decimal))
def test_never_over_what_ran_in(ran: list[Ran], half_life: Decimal) -> None:
    plain = load(ran, None)
    assert 0 <= load(ran, half_life) <= plain + Decimal("0.0001")
    assert abs(plain - sum(r.per_hour * (r.began - r.ended) for r in ran)) <= Decimal("0.0001")


@given(stretches(), st.integers(1, 30).map(lambda n: Decimal(n) / 10))
def test_more_is_never_less_and_splitting_changes_nothing(ran: list[Ran], more: Decimal) -> None:
    faster = [Ran(r.per_hour + more, r.began, r.ended) for r in ran]
    assert load(faster, HALF) >= load(ran, HALF)
    halves: list[Ran] = []
    for r in ran:
        middle = (r.began + r.ended) / 2
        halves += [Ran(r.per_hour, r.began, middle), Ran(r.per_hour, middle, r.ended)]
    assert abs(load(halves, HALF) - load(ran, HALF)) <= Decimal("0.0002")


@given(stretches(), st.integers(1, 40).map(lambda n: Decimal(n) / 10))
def test_it_only_falls_once_it_has_stopped(ran: list[Ran], later: Decimal) -> None:
    moved = [Ran(r.per_hour, r.began + later, r.ended + later) for r in ran]
    assert load(moved, HALF) <= load(ran, HALF)
    assert load(moved, None) == load(ran, None)


def test_it_levels_out() -> None:
    """Where as much leaves as runs in: rate / k. 3 mg/kg/h and 0.7862 per h: 3.816 mg/kg (arithmetic worked by hand)."""
    assert load([Ran(Decimal(3), Decimal(24), Decimal(0))], HALF) == pytest.approx(
        Decimal("3.816"), abs=Decimal("0.001")
    )


@pytest.mark.parametrize(
    ("ran", "half_life"),
    [
        (Ran(Decimal(1), Decimal(0), Decimal(1)), HALF),
        (Ran(Decimal(-1), Decimal(1), Decimal(0)), HALF),
        (Ran(Decimal(1), Decimal(1), Decimal(-1)), HALF),
        (Ran(Decimal(1), Decimal(1), Decimal(0)), Decimal(0)),
    ],
)
def test_what_makes_no_sense_is_refused(ran: Ran, half_life: Decimal) -> None:
    with pytest.raises(OutOfRange):
        load([ran], half_life)
