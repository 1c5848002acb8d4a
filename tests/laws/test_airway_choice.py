"""Laws of the choice of a tube: what estimates say together, the chance that a tube fits, and what may never come first.

The normal law is held against the standard library's own `statistics.NormalDist`.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import permutations
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from room_tables import airway_tables
from spiracle import airway
from spiracle.airway.estimating import Combined, from_weight_mm, joined, leaning_on_one_body, sd_of_hits_mm
from spiracle.airway.ranking import fit_chance
from spiracle.quantity import Quantity
from spiracle.refusals import Missing
from spiracle.source import Working

Q = Quantity.of
SIZES = st.floats(2, 16)
SPREADS = st.floats(0.1, 4)
PAIRS = st.lists(st.tuples(SIZES, SPREADS), min_size=1, max_size=5)
TENTHS = st.integers(0, 200).map(lambda n: Decimal(n) / 10)


def tenths(low: float, high: float) -> st.SearchStrategy[Decimal]:
    return st.integers(int(low * 10), int(high * 10)).map(lambda n: Decimal(n) / 10)


def maybe(of: st.SearchStrategy[Decimal], unit: str) -> st.SearchStrategy[Quantity | None]:
    return st.none() | of.map(lambda n: Q(n, unit))


OUTCOME = st.sampled_from([None, "served", "leaked", "tight"])
GROWN = st.sampled_from([None, True, False])


@st.composite
def measured_dogs(draw: st.DrawFn) -> airway.Measured:
    tube = draw(maybe(tenths(2, 16), "mm"))
    return airway.Measured(
        tracheal_diameter=draw(maybe(tenths(2.5, 40), "mm")), ultrasound_diameter=draw(maybe(tenths(2.5, 40), "mm")),
        palpated_outer=draw(maybe(tenths(4.5, 42), "mm")), septum_width=draw(maybe(tenths(2, 40), "mm")),
        occiput_to_tail=draw(maybe(tenths(25, 120), "cm")), previous_tube_id=tube,
        previous_outcome=None if tube is None else draw(OUTCOME), previous_full_grown=draw(GROWN),
    )  # fmt: skip


@st.composite
def measured_cats(draw: st.DrawFn) -> airway.Measured:
    tube = draw(maybe(tenths(2, 5), "mm"))
    return airway.Measured(
        tracheal_diameter=draw(maybe(tenths(2.5, 12), "mm")), ultrasound_diameter=draw(maybe(tenths(2.5, 12), "mm")),
        palpated_outer=draw(maybe(tenths(4.5, 14), "mm")), septum_width=draw(maybe(tenths(2, 12), "mm")),
        occiput_to_tail=draw(maybe(tenths(25, 50), "cm")), previous_tube_id=tube,
        previous_outcome=None if tube is None else draw(OUTCOME), previous_full_grown=draw(GROWN),
    )  # fmt: skip


def combined(size: float, sd: float) -> Combined:
    return Combined(id_mm=size, sd_mm=sd, widened=1, working=Working(""))


@given(PAIRS)
def test_the_order_of_estimates_does_not_matter(pairs: list[tuple[float, float]]) -> None:
    once = joined(pairs)
    assert all(joined(other) == pytest.approx(once, rel=1e-12) for other in permutations(pairs))


@given(PAIRS, SIZES)
def test_an_estimate_that_knows_nothing_changes_nothing(pairs: list[tuple[float, float]], size: float) -> None:
    assert joined([*pairs, (size, 1e7)]) == pytest.approx(joined(pairs), rel=1e-5)
    assert leaning_on_one_body([*pairs, (size, 1e9)]) == pytest.approx(leaning_on_one_body(pairs), rel=1e-5)


@given(PAIRS)
def test_what_they_say_together_lies_between_them(pairs: list[tuple[float, float]]) -> None:
    size, sd, widened = joined(pairs)
    assert min(s for s, _ in pairs) - 1e-9 <= size <= max(s for s, _ in pairs) + 1e-9
    assert widened >= 1 and sd <= widened * min(s for _, s in pairs) + 1e-9


@given(SIZES, SPREADS, SPREADS)
def test_two_that_agree_are_surer_than_either_unless_they_share_a_body(size: float, one: float, other: float) -> None:
    pairs = [(size, one), (size, other)]
    assert joined(pairs)[1] < min(one, other) <= leaning_on_one_body(pairs)[1] + 1e-9


@given(st.floats(0.05, 0.95), st.floats(0.1, 2))
def test_the_spread_behind_a_share_of_hits_gives_that_share(share: float, half: float) -> None:
    law = NormalDist(0, sd_of_hits_mm(share, half))
    assert law.cdf(half) - law.cdf(-half) == pytest.approx(share, abs=1e-9)


@given(st.sampled_from(["dog", "cat"]), st.booleans(), SIZES, SIZES, SPREADS)
def test_chances_are_the_normal_laws_and_make_one(
    species: str, cuffed: bool, tube: float, size: float, sd: float
) -> None:
    seal = airway_tables().seal(species, cuffed)
    chance = fit_chance(tube, combined(size, sd), seal)
    law = NormalDist(size, sd)
    assert chance.too_large == pytest.approx(law.cdf(tube - float(seal.above_mm)), abs=1e-9)
    assert chance.too_small == pytest.approx(1 - law.cdf(tube + float(seal.below_mm)), abs=1e-9)
    assert chance.too_small + chance.fits + chance.too_large == pytest.approx(1, abs=1e-12)
    assert all(0 <= share <= 1 for share in (chance.too_small, chance.fits, chance.too_large))


@given(tenths(0.3, 12), measured_cats(), st.booleans())
def test_a_cats_first_tube_is_never_above_what_weight_asks(kg: Decimal, measured: airway.Measured, short: bool) -> None:
    by_weight, _ = from_weight_mm(airway_tables(), "cat", kg)
    try:
        choice = airway.lay_out(airway_tables(), "cat", Q(kg, "kg"), measured=measured, brachycephalic=short)
    except Missing:
        return
    smallest = min(r.tube.id_mm for r in choice.ranked)
    assert choice.first.id_mm <= max(by_weight, smallest)


@given(tenths(0.5, 90), measured_dogs(), st.booleans(), st.lists(tenths(1, 20), max_size=8))
def test_no_measurement_carries_a_tube_beyond_the_species(
    kg: Decimal, measured: airway.Measured, short: bool, bores: list[Decimal]
) -> None:
    stock = [airway.TubeInStock(id_mm=b, od_mm=b * Decimal("1.4")) for b in bores]
    try:
        choice = airway.lay_out(airway_tables(), "dog", Q(kg, "kg"), measured=measured, brachycephalic=short,
                                stock=stock)  # fmt: skip
    except Missing as refusal:
        assert refusal.field == "tubes in stock"
        return
    reach = airway_tables().reach("dog")
    assert all(reach.id_low_mm <= r.tube.id_mm <= reach.id_high_mm for r in choice.ranked)
    assert {t.id_mm for t in choice.tubes} <= set(bores)
    assert choice.ranked[0].place == "first" and choice.ranked[0].tube.id_mm == choice.first.id_mm
    assert [t.id_mm for t in choice.tubes] == sorted({t.id_mm for t in choice.tubes})


@given(tenths(0.5, 90), measured_dogs(), st.booleans())
def test_what_leads_is_under_its_ceiling(kg: Decimal, measured: airway.Measured, short: bool) -> None:
    try:
        choice = airway.lay_out(airway_tables(), "dog", Q(kg, "kg"), measured=measured, brachycephalic=short)
    except Missing:
        return
    bores = [b.number("mm") for b in (measured.tracheal_diameter, measured.ultrasound_diameter) if b is not None]
    smallest = min(r.tube.id_mm for r in choice.ranked)
    first = choice.first
    if first.id_mm == smallest:
        return
    assert all(first.od_mm <= bore * Decimal("0.7") for bore in bores)
    assert float(first.id_mm) <= choice.combined.id_mm + (0 if short or bores else 0.25) + 1e-6
    if measured.previous_tube_id is not None and measured.previous_full_grown:
        last = measured.previous_tube_id.number("mm")
        assert measured.previous_outcome != "tight" or first.id_mm < last
        assert measured.previous_outcome != "served" or first.id_mm <= last


@given(st.sampled_from(["dog", "cat"]), st.data(), st.booleans())
def test_a_larger_trachea_never_gives_a_smaller_first_choice(species: str, data: st.DataObject, short: bool) -> None:
    """Up to twice the trachea that weight expects. Beyond it a reading's own spread grows so wide that weight takes over again,
    and the two are said to disagree (next test)."""
    kg = data.draw(tenths(1, 60) if species == "dog" else tenths(0.8, 9))
    expected = expected_trachea_mm(species, kg, short)
    high = min(40 if species == "dog" else 12, 2 * expected)
    one, other = sorted(data.draw(st.tuples(tenths(4.5, high), tenths(4.5, high))))
    firsts = []
    for trachea in (one, other):
        measured = airway.Measured(tracheal_diameter=Q(trachea, "mm"))
        firsts.append(
            airway.lay_out(airway_tables(), species, Q(kg, "kg"), measured=measured, brachycephalic=short).first
        )
    assert firsts[0].id_mm <= firsts[1].id_mm


def expected_trachea_mm(species: str, kg: Decimal, short: bool) -> float:
    size = float(from_weight_mm(airway_tables(), species, kg)[0]) - (1.3 if short and species == "dog" else 0)
    return max(size * 1.36 / 0.7, 5)


@given(st.sampled_from(["dog", "cat"]), st.data(), st.booleans())
def test_a_trachea_twice_what_weight_expects_is_not_believed_in_silence(
    species: str, data: st.DataObject, short: bool
) -> None:
    kg = data.draw(tenths(4, 20) if species == "dog" else tenths(0.8, 2.5))
    least = 2 * expected_trachea_mm(species, kg, short)
    high = 40 if species == "dog" else 12
    if least >= high:
        return
    measured = airway.Measured(tracheal_diameter=Q(data.draw(tenths(least + 0.1, high)), "mm"))
    choice = airway.lay_out(airway_tables(), species, Q(kg, "kg"), measured=measured, brachycephalic=short)
    assert any("disagree" in line for line in choice.disagreements)
    assert choice.combined.widened > 2
