"""Laws of the countdown between two readings of the gauge, and of supplies other than a cylinder."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from room_tables import breathing_tables
from spiracle import breathing
from spiracle.breathing import Cylinder, Step, Supply
from spiracle.breathing.countdown import used_litres
from spiracle.quantity import Quantity
from spiracle.refusals import AskAgain, Contradiction, Missing, NotOneOf, OutOfRange, Refusal
from spiracle.source import Mark

Q = Quantity.of
READ = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)
FULL = Cylinder.read("680 L", "137 bar", "137 bar")
FLOWS = st.decimals("0", "10", places=1)
STEPS = st.lists(st.tuples(st.integers(0, 300), FLOWS), max_size=6)


def after(minutes: int) -> datetime:
    return READ + timedelta(minutes=minutes)


def steps(flows: list[tuple[int, Decimal]], first: Decimal = Decimal(0)) -> list[Step]:
    return [Step(READ, first), *(Step(after(m), f) for m, f in flows)]


@given(STEPS, st.integers(0, 300), st.integers(0, 300))
def test_oxygen_falls_with_time(flows: list[tuple[int, Decimal]], one: int, other: int) -> None:
    early, late = sorted((one, other))
    first, then = (breathing.left(breathing_tables(), FULL, READ, steps(flows), after(m)) for m in (early, late))
    assert then.litres.value <= first.litres.value
    assert first.litres.value.number("L") <= 680


@given(FLOWS, FLOWS, st.integers(1, 300))
def test_oxygen_minutes_fall_with_flow(one: Decimal, other: Decimal, minutes: int) -> None:
    slow, fast = sorted((one, other))
    low, high = (breathing.left(breathing_tables(), FULL, READ, [Step(READ, f)], after(minutes)) for f in (slow, fast))
    assert high.litres.value <= low.litres.value
    later = breathing.left(breathing_tables(), FULL, READ, [Step(READ, slow)], after(minutes + 1))
    if later.minutes_to_reserve is not None and low.minutes_to_reserve is not None:
        assert later.minutes_to_reserve <= low.minutes_to_reserve
        assert later.minutes_to_empty is not None and later.minutes_to_empty <= (low.minutes_to_empty or 0)
    if slow > 0 and low.minutes_to_empty is not None and high.minutes_to_empty is not None:
        assert high.minutes_to_empty <= low.minutes_to_empty
        assert (high.minutes_to_reserve or 0) <= high.minutes_to_empty


@given(STEPS, st.integers(0, 150), st.integers(0, 150), st.integers(0, 150))
def test_where_the_time_is_cut_does_not_matter(flows: list[tuple[int, Decimal]], a: int, b: int, c: int) -> None:
    first, middle, last = sorted((a, b, c))
    plain = [(Decimal(0), Decimal(1)), *((Decimal(m + 1), f) for m, f in flows)]
    d = Decimal
    assert used_litres(plain, d(first), d(middle)) + used_litres(plain, d(middle), d(last)) == used_litres(
        plain, d(first), d(last)
    )


def test_the_countdown_of_a_case_by_hand() -> None:
    """A10: 680 L at 137 bar; 30 min at 2 L/min and 60 at 1: 560 L left. 500 psi of 137 bar is 171.1 L: 388 min above it."""
    found = breathing.left(breathing_tables(), FULL, READ, steps([(30, Decimal(1))], Decimal(2)), after(90))
    assert str(found.litres.value) == "560 L" and str(found.used) == "120 L"
    assert (found.minutes_to_reserve, found.minutes_to_empty) == (388, 560)
    assert found.reserve_at == after(90 + 388)
    assert found.mark is Mark.PREDICTED and found.litres.working.estimated and "predicted" in found.litres.working.says
    assert not found.short


def test_at_the_reading_it_is_the_reading() -> None:
    found = breathing.left(breathing_tables(), FULL, READ, steps([]), READ)
    assert found.mark is Mark.MEASURED and found.litres.value.number("L") == 680
    assert found.minutes_to_empty is None and found.reserve_at is None


def test_short_oxygen_is_called_before_the_reserve() -> None:
    """A10: at 4 L/min a cylinder of 680 L is 127 min from its reserve: short in the last ten (from memory), and told when past."""
    run = steps([], Decimal(4))
    calm, short, past, empty = (
        breathing.left(breathing_tables(), FULL, READ, run, after(m)) for m in (110, 120, 130, 175)
    )
    assert not calm.short and short.short and past.short and empty.short
    assert any("change the cylinder" in c for c in past.cautions)
    assert any("empty" in c for c in empty.cautions) and empty.litres.value.value == 0


def test_a_time_without_a_charted_flow_is_not_taken_for_nothing() -> None:
    with pytest.raises(Missing, match="no flow is charted"):
        breathing.left(breathing_tables(), FULL, READ, [], after(10))
    with pytest.raises(Missing, match="no flow is charted"):
        breathing.left(breathing_tables(), FULL, READ, [Step(after(5), Decimal(2))], after(10))
    with pytest.raises(Contradiction, match="before the reading"):
        breathing.left(breathing_tables(), FULL, after(10), [Step(READ, Decimal(2))], READ)
    with pytest.raises(OutOfRange, match="not a figure of 0 or more"):
        breathing.left(breathing_tables(), FULL, READ, [Step(READ, Decimal(-2))], after(10))


@pytest.mark.parametrize(
    ("gauge", "asks"), [("113 bar", ""), ("100 bar", ""), ("90 bar", "a leak"), ("133 bar", ""), ("137 bar", "was the cylinder changed")]
)  # fmt: skip
def test_a_reading_that_does_not_fit_is_asked_about(gauge: str, asks: str) -> None:
    """A10: 560 L are predicted (112.8 bar); more than 102 L apart (15 % of the contents, from memory) is a question."""
    predicted = breathing.left(breathing_tables(), FULL, READ, steps([(30, Decimal(1))], Decimal(2)), after(90))
    said = breathing.gauge_question(breathing_tables(), predicted, Cylinder.read("680 L", "137 bar", gauge))
    assert (asks.casefold() in said.casefold()) if asks else said == ""


def test_drive_gas_is_marked_from_memory() -> None:
    found = breathing.drive_gas(breathing_tables(), Q(250, "mL"), Q(12, "/min"))
    assert str(found.value) == "3 L/min"
    assert found.working.memory and found.working.estimated


def test_contents_from_water_capacity() -> None:
    """Contents are about water capacity times bar (a page of metric cylinders, row O9); litres of gas are not water."""
    found = breathing.contents_from_water(breathing_tables(), Q("4.7", "L"), Q(137, "bar"))
    assert str(found.value) == "643 L"
    with pytest.raises(OutOfRange, match="were litres of gas meant"):
        breathing.contents_from_water(breathing_tables(), Q(680, "L"), Q(137, "bar"))
    with pytest.raises(Missing, match="no cylinder is assumed"):
        breathing.contents_from_water(breathing_tables(), None, Q(137, "bar"))
    with pytest.raises(OutOfRange, match="another unit"):
        breathing.contents_from_water(breathing_tables(), Q("4.7", "L"), Q(137, "psi"))


@pytest.mark.parametrize(
    ("kind", "flow", "percent", "refused", "says"),
    [("balloon", None, None, NotOneOf, "not a supply"),
     ("concentrator", None, Q(93, "%"), Missing, "largest flow"),
     ("concentrator", Q(5, "L/min"), None, Missing, "oxygen: was not given"),
     ("concentrator", Q(5, "L/min"), Q(9, "%"), OutOfRange, "not what a supply"),
     ("concentrator", Q(5, "L/min"), Q(60, "%"), AskAgain, "under 85 %"),
     ("concentrator", Q(500, "L/min"), Q(93, "%"), OutOfRange, "not a supply's flow")],
)  # fmt: skip
def test_no_supply_is_assumed(
    kind: str, flow: Quantity | None, percent: Quantity | None, refused: type[Refusal], says: str
) -> None:
    with pytest.raises(refused, match=says):
        Supply.read(breathing_tables(), kind, max_flow=flow, percent=percent)


def test_a_concentrator_is_held_against_the_flow() -> None:
    """A10: a concentrator neither gives more than it can nor drives a bellows."""
    supply = Supply.read(breathing_tables(), "concentrator", max_flow=Q(5, "L/min"), percent=Q(93, "%"))
    calm = breathing.supply_words(supply, Q(2, "L/min"))
    asked = breathing.supply_words(supply, Q(4, "L/min"), drive=Q(2, "L/min"))
    assert len(calm) == 1 and "93 %" in calm[0]
    assert any("does not drive" in w for w in asked) and any("6 L/min is wanted" in w for w in asked)
    pipe = breathing.supply_words(Supply.read(breathing_tables(), "pipeline"), Q(2, "L/min"))
    assert pipe and "no minutes" in pipe[0]
    assert Supply.read(
        breathing_tables(), "concentrator", max_flow=Q(5, "L/min"), percent=Q(60, "%"), confirmed=True
    ).percent
