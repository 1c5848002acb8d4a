"""Laws of the leak test by falling pressure."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from room_tables import breathing_tables
from spiracle import breathing
from spiracle.breathing.leak import circuit_compliance_ml_cmh2o, leak_from_drop_ml_min
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, OutOfRange, Refusal

Q = Quantity.of
LITRES = st.decimals("0.3", "8", places=1)
WALLS = st.decimals("0", "60", places=0)


def leak(litres: Decimal, wall: Decimal, after: int, seconds: int, before: int = 30) -> Decimal:
    found = breathing.leak_from_drop(
        breathing_tables(), volume=Q(litres, "L"), wall=Q(wall, "mL/cmH2O"), bag_on=True, before=Q(before, "cmH2O"),
        after=Q(after, "cmH2O"), seconds=seconds,
    )  # fmt: skip
    return found.flow.value.number("mL/min")


@given(LITRES, WALLS, st.lists(st.integers(1, 30), min_size=2, max_size=2, unique=True), st.integers(5, 120))
def test_the_leak_rises_with_the_drop(litres: Decimal, wall: Decimal, ends: list[int], seconds: int) -> None:
    deep, shallow = sorted(ends)
    try:
        assert leak(litres, wall, deep, seconds) > leak(litres, wall, shallow, seconds) >= 0
    except OutOfRange as refusal:  # a leak over twenty litres a minute is no leak flow
        assert refusal.field == "leak test, flow"


@given(LITRES, WALLS, st.integers(20, 29), st.integers(5, 60))
def test_what_gives_way_hides_a_leak_and_time_shows_it(
    litres: Decimal, wall: Decimal, after: int, seconds: int
) -> None:
    assert leak(litres, wall + 1, after, seconds) > leak(litres, wall, after, seconds)
    assert leak(litres, wall, after, seconds * 2) <= leak(litres, wall, after, seconds)


@settings(max_examples=20)
@given(st.floats(0.5, 8), st.floats(0, 40), st.floats(20, 30), st.floats(1, 19), st.integers(5, 60))
def test_a_system_leaking_so_much_falls_so_far(
    litres: float, wall: float, start: float, end: float, seconds: int
) -> None:
    """Followed in small steps of time: a leak that grows with the pressure, out of what gives way, ends at the second reading."""
    gives = circuit_compliance_ml_cmh2o(litres, wall, 1033.2)
    at_start = leak_from_drop_ml_min(gives, start, end, seconds)
    pressure, steps = start, 4000
    for _ in range(steps):
        pressure -= at_start * pressure / start / gives / 60 * seconds / steps
    assert pressure == pytest.approx(end, rel=0.002)


def test_a_fall_is_held_against_the_published_limits() -> None:
    """1.5 L, 30 to 25 cmH2O in 30 s: 15.9 mL/min stiff; 344 with a bag of 30 mL/cmH2O, over every limit."""
    stiff = breathing.leak_from_drop(breathing_tables(), volume=Q("1.5", "L"), bag_on=False, before=Q(30, "cmH2O"),
                                     after=Q(25, "cmH2O"), seconds=30)  # fmt: skip
    assert str(stiff.flow.value) == "15.9 mL/min" and stiff.verdict.verdict == "passes"
    assert any("taken as stiff" in c for c in stiff.cautions)
    bag = breathing.leak_from_drop(breathing_tables(), volume=Q("1.5", "L"), bag_on=True, wall=Q(30, "mL/cmH2O"),
                                   before=Q(30, "cmH2O"), after=Q(25, "cmH2O"), seconds=30)  # fmt: skip
    assert bag.flow.value.number("mL/min") == pytest.approx(Decimal("344.1"), abs=Decimal("0.5"))
    assert bag.verdict.verdict == "fault" and len(bag.verdict.working.held) == 3


@pytest.mark.parametrize(
    ("changed", "kind", "says"),
    [({"volume": None}, Missing, "a fall of pressure alone is no leak rate"), ({"bag_on": None}, Missing, "whether a bag was on"),
     ({"bag_on": True}, Missing, "how far it gives way"), ({"after": Q(31, "cmH2O")}, Contradiction, "rose"),
     ({"after": Q(0, "cmH2O")}, OutOfRange, "fell to nothing"), ({"seconds": 2}, OutOfRange, "not a time to watch"),
     ({"volume": Q(0, "L")}, OutOfRange, "not a breathing system's volume"),
     ({"wall": Q(-1, "mL/cmH2O")}, OutOfRange, "not a compliance"),
     ({"before": Q(45, "cmH2O")}, OutOfRange, "not a pressure the limits speak of")],
)  # fmt: skip
def test_no_leak_is_worked_from_half_a_test(changed: dict[str, object], kind: type[Refusal], says: str) -> None:
    asked: dict[str, object] = {"volume": Q("1.5", "L"), "bag_on": False, "before": Q(30, "cmH2O"),
                                "after": Q(25, "cmH2O"), "seconds": 30, **changed}  # fmt: skip
    with pytest.raises(kind, match=says):
        breathing.leak_from_drop(breathing_tables(), **asked)  # type: ignore[arg-type]


def test_no_fall_is_said_and_not_called_tight() -> None:
    found = breathing.leak_from_drop(breathing_tables(), volume=Q("1.5", "L"), bag_on=False, before=Q(30, "cmH2O"),
                                     after=Q(30, "cmH2O"), seconds=10)  # fmt: skip
    assert found.flow.value.value == 0
    assert any("No fall was seen" in c for c in found.cautions)
