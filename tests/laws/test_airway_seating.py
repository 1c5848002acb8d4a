"""Laws of the tube in place: the stylet never reaches the tip or the side hole, the cuff is past the larynx or it is said, and
no change adds dead space."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from room_tables import airway_tables
from spiracle import airway
from spiracle.airway.measured import depth_bounds_cm
from spiracle.airway.seating import seat, stylet
from spiracle.airway.sizing import shelf
from spiracle.quantity import Quantity

Q = Quantity.of
MM = st.integers(5, 60).map(Decimal)
PARTS = st.lists(
    st.tuples(
        st.sampled_from(["connector", "elbow", "HME filter", "CO2 sensor", "filter with sampling port", "other"]),
        st.integers(0, 400).map(lambda n: Q(Decimal(n) / 10, "mL")),
    ),
    max_size=5,
)


@st.composite
def tubes(draw: st.DrawFn) -> airway.Tube:
    top = draw(st.none() | MM)
    cuff = None if top is None else draw(st.none() | st.integers(1, int(top) - 1).map(Decimal))
    free = None if top is None else int(top - (cuff or 0)) - 1
    hole = draw(st.none() | st.integers(0, 60 if free is None else max(0, free)).map(Decimal))
    stock = airway.TubeInStock(id_mm=Decimal("4.0"), tip_to_cuff_top_mm=top, cuff_length_mm=cuff, side_hole_mm=hole)
    return shelf(airway_tables(), "cat", [stock])[0][0]


@given(tubes(), st.integers(5, 250))
def test_a_stylet_ends_inside_the_tube_and_behind_its_hole(tube: airway.Tube, length: int) -> None:
    found = stylet(airway_tables(), tube, Q(length, "mm").to("cm"))
    behind = found.tip_behind.value.number("mm")
    assert behind >= 10
    assert tube.side_hole_mm is None or behind > tube.side_hole_mm
    if found.bend_at is None:
        assert length <= behind and not found.usable
    else:
        assert 0 < found.bend_at.value.number("mm") == length - behind


@given(tubes(), st.integers(60, 250), st.none() | st.integers(10, 59))
def test_a_cuff_is_past_the_larynx_or_it_is_said_or_asked(tube: airway.Tube, tip: int, larynx: int | None) -> None:
    measured = airway.Measured(larynx_depth=None if larynx is None else Q(larynx, "mm"))
    found = seat(tube, Q(tip, "mm"), measured)
    if larynx is None or tube.tip_to_cuff_top_mm is None:
        assert found.cuff_fits is None and found.questions
    else:
        assert found.cuff_fits is (larynx <= tip - tube.tip_to_cuff_top_mm)
        assert found.least_depth_mm == larynx + float(tube.tip_to_cuff_top_mm)
        assert found.cuff_fits or found.cautions


@given(st.sampled_from(["dog", "cat"]), st.integers(8, 120), PARTS, st.floats(0, 1))
def test_no_change_adds_dead_space_and_the_best_is_first(
    species: str, tenths: int, parts: list[tuple[str, Quantity]], along: float
) -> None:
    kg = Decimal(tenths) / 10
    low, high = depth_bounds_cm(airway_tables(), species, float(kg))
    depth = Q((low + (high - low) * Decimal(str(along))).quantize(Decimal("0.1")), "cm")
    choice = airway.lay_out(
        airway_tables(), species, Q(kg, "kg"), parts=parts, measured=airway.Measured(incisors_to_inlet=depth)
    )
    now = (choice.dead_space_before or choice.dead_space_after).value.number("mL")
    saved = [c.saves.value.number("mL") for c in choice.changes]
    assert saved == sorted(saved, reverse=True)
    for change in choice.changes:
        assert 0 < change.saves.value.number("mL") <= now
        assert change.leaves.number("mL") == now - change.saves.value.number("mL")
        assert change.what != "leave out" or "HME filter" in change.part
