"""The syringe that is picked is the smallest that will do: every other one on the shelf is tried by fractions of its own."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from shelf import formulary
from spiracle.drugs.syringe import Barrel, measure, usable
from spiracle.quantity import Quantity

BARRELS = usable(formulary().barrels, None)
FINE = formulary().fineness
shelves = st.lists(st.sampled_from(BARRELS), min_size=0, max_size=len(BARRELS), unique_by=lambda b: b.id)
volumes = st.one_of(
    st.decimals("0.001", "1.2", places=3), st.decimals("0.01", "12", places=2), st.decimals("0.1", "70", places=1)
)


def off(volume: Fraction, barrel: Barrel) -> Fraction | None:
    """What the mark at or under it takes away [part of the volume]; None: it does not go, or is too few marks to be read."""
    holds, mark = Fraction(barrel.holds.value), Fraction(barrel.mark.value)
    few = volume < Fraction(FINE.least_marks) * mark or volume < Fraction(FINE.least_volume.value)
    if volume > holds or few:
        return None
    return (volume - (volume // mark) * mark) / volume


def to_a_hundredth(part: Fraction) -> Decimal:
    return (Decimal(part.numerator) * 100 / Decimal(part.denominator)).quantize(Decimal("0.01"))


@given(shelves, volumes)
def test_no_smaller_syringe_would_do(shelf: list[Barrel], ml: Decimal) -> None:
    """Of those that hold it and show it within the error limit, none is smaller, and of one size none is finer. Where none shows it
    so well, none shows it better."""
    found = measure(Quantity.of(ml, "mL"), shelf, FINE)
    able = [(b, to_a_hundredth(part)) for b in shelf if (part := off(Fraction(ml), b)) is not None]
    if not able:
        assert found is None
        return
    assert found is not None
    mine = next(part for b, part in able if b.id == found.barrel.id)
    assert -found.error_percent == mine and found.volume.value <= ml
    well = [b for b, part in able if part <= FINE.error_limit]
    if not well:
        assert mine == min(part for _, part in able)
        return
    assert mine <= FINE.error_limit
    for other in well:
        assert (other.holds.value, other.mark.value) >= (found.barrel.holds.value, found.barrel.mark.value)
