"""Laws of fresh gas as the sources have it, of wash-in, of agent used, of waste gas, and of what is in stock."""

from __future__ import annotations

from decimal import Decimal

import pytest
from fluids.constants import R, atm
from hypothesis import given
from hypothesis import strategies as st

from room_tables import breathing_tables
from spiracle import breathing
from spiracle.breathing import Cylinder, Price, Supply
from spiracle.breathing.flows import part_changed, wash_in_minutes
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, OutOfRange, Refusal, Unknown

Q = Quantity.of
ANIMALS = st.one_of(
    st.tuples(st.just("dog"), st.decimals("0.2", "100", places=2)),
    st.tuples(st.just("cat"), st.decimals("0.2", "15", places=2)),
)
SYSTEMS = st.lists(
    st.sampled_from(["T-piece", "Bain", "mini-Lack", "circle", "paediatric circle"]), min_size=1, unique=True
)
PRICE = Price(amount=Decimal(40), currency="EUR", bottle_ml=Decimal(250))


@given(ANIMALS)
def test_what_is_set_lies_among_the_opinions(animal: tuple[str, Decimal]) -> None:
    """The flow that is shown first is never under the lowest opinion, unless the flowmeter's mark or floor raised it."""
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"))
    lows = [o.low_l_min for o in choice.opinions if o.low_l_min is not None]
    assert len(lows) >= 2
    flow = next(g.set.value for g in choice.fresh_gas if g.phase == "maintenance")
    assert flow >= min(lows)
    assert all(o.sources for o in choice.opinions)


def test_a_cats_t_piece_has_opinions_side_by_side() -> None:
    """Taught 200 to 300 and 500 (Massey), measured 455 (cats of 3.1 kg), and a study whose figure could not be read."""
    found = breathing.opinions(breathing_tables(), "T-piece", "cat", weight=Q("3.1", "kg"))
    ends = [(o.low and int(o.low.value), o.high and int(o.high.value), o.measured) for o in found]
    assert (200, 300, False) in ends and (455, 455, True) in ends and (500, 500, False) in ends
    assert ends[-1] == (None, None, True)
    assert next(str(o.low_l_min) for o in found if o.measured) == "1.41 L/min"
    said = breathing.why_apart(breathing_tables(), "T-piece", "cat")
    assert said.startswith("300 mL/kg/min and less is taught, 455 was needed")
    for circuit, species in (("T-piece", "dog"), ("mini-Lack", "cat"), ("circle", "dog")):
        assert breathing.why_apart(breathing_tables(), circuit, species) == ""
    with pytest.raises(Unknown, match="not a system"):
        breathing.opinions(breathing_tables(), "garden hose", "cat")


@given(st.floats(0.1, 30), st.floats(0, 0.99), st.floats(0, 0.99))
def test_wash_in_is_the_other_way_round_of_the_part_changed(tau: float, one: float, other: float) -> None:
    assert part_changed(wash_in_minutes(tau, one) / tau) == pytest.approx(one, abs=1e-9)
    low, high = sorted((one, other))
    assert wash_in_minutes(tau, low) <= wash_in_minutes(tau, high)


def test_minutes_to_a_concentration() -> None:
    """6 L at 1 L/min: half of a change in 4.16 min at most, 3.1 as measured on one circle (74 %, Solano 2005)."""
    circle = breathing_tables().circuit("circle")
    half, most = breathing.reach(breathing_tables(), circle, Q(1, "L/min"))
    assert (str(half.at_most.value), str(half.measured.value)) == ("4.2 min", "3.1 min")
    assert (str(most.share), str(most.at_most.value)) == ("90 %", "14 min")
    assert half.at_most.working.estimated
    (one,) = breathing.minutes_to_set(
        breathing_tables(), circle, Q(1, "L/min"), now=Q(0, "%"), wanted=Q("1.5", "%"), dial=Q(3, "%")
    )
    assert one.at_most.value.equals(half.at_most.value)
    (down,) = breathing.minutes_to_set(
        breathing_tables(), circle, Q(1, "L/min"), now=Q(3, "%"), wanted=Q("1.5", "%"), dial=Q(0, "%")
    )
    assert down.at_most.value.equals(half.at_most.value)
    with pytest.raises(Contradiction, match="never brings"):
        breathing.minutes_to_set(
            breathing_tables(), circle, Q(1, "L/min"), now=Q(0, "%"), wanted=Q(2, "%"), dial=Q(2, "%")
        )
    assert breathing.reach(breathing_tables(), breathing_tables().circuit("Bain"), Q(1, "L/min")) == ()
    own = breathing.reach(breathing_tables(), circle, Q(1, "L/min"), volume=Q(3, "L"))
    assert str(own[0].at_most.value) == "2.1 min"


@given(st.decimals("0", "5", places=1), st.decimals("0", "5", places=1), st.integers(1, 100))
def test_more_dial_never_uses_less_liquid(one: Decimal, other: Decimal, tenths: int) -> None:
    low, high = sorted((one, other))
    flow = Q(Decimal(tenths) / 10, "L/min")
    used = [breathing.agent_use(breathing_tables(), "isoflurane", Q(p, "%"), flow, price=PRICE) for p in (low, high)]
    assert used[0].liquid.value <= used[1].liquid.value
    assert used[0].cost_per_hour is not None and used[1].cost_per_hour is not None
    assert used[0].cost_per_hour <= used[1].cost_per_hour


def test_a_mole_of_gas_beside_an_open_library() -> None:
    """R T / p from the constants of `fluids` (PyPI): 24.055 L at 20 degrees; 24.45 at 25, as limits of room air are printed."""
    rows = breathing_tables()
    assert rows.setting("molar-volume").number == pytest.approx(R * 293.15 / atm * 1000, rel=1e-4)
    assert rows.setting("molar-volume-room").number == pytest.approx(R * 298.15 / atm * 1000, rel=1e-3)
    assert float(rows.setting("atmosphere").quantity.number("Pa")) == atm


def test_liquid_beside_the_taught_rule() -> None:
    """2 % at 1 L/min: 6 mL/h by the rule of 3 (Dhulkhed 2013), 6.2 from density; sevoflurane 6.6 and 6.6."""
    iso = breathing.agent_use(breathing_tables(), "isoflurane", Q(2, "%"), Q(1, "L/min"))
    sevo = breathing.agent_use(breathing_tables(), "Sevoflurane", Q(2, "%"), Q(1, "L/min"))
    assert (str(iso.vapour.value), str(iso.liquid.value), str(iso.by_rule)) == ("195 mL", "6.2 mL/h", "6 mL/h")
    assert (str(sevo.vapour.value), str(sevo.liquid.value), str(sevo.by_rule)) == ("183 mL", "6.6 mL/h", "6.6 mL/h")
    assert iso.cost_per_hour is None and "No price" in iso.note
    assert breathing.agent_use(
        breathing_tables(), "isoflurane", Q(2, "%"), Q(1, "L/min"), price=PRICE
    ).cost_per_hour == Decimal("0.98")


@pytest.mark.parametrize(
    ("agent", "percent", "flow", "kind", "says"),
    [("ether", "2", "1", Unknown, "not a liquid"), ("isoflurane", "20", "1", OutOfRange, "not on a dial"),
     ("isoflurane", "2", "0", OutOfRange, "no flow"), ("desflurane", "6", "1", Unknown, "not a liquid")],
)  # fmt: skip
def test_no_liquid_is_guessed(agent: str, percent: str, flow: str, kind: type[Refusal], says: str) -> None:
    with pytest.raises(kind, match=says):
        breathing.agent_use(breathing_tables(), agent, Q(percent, "%"), Q(flow, "L/min"))


def test_a_price_is_the_hospitals_own() -> None:
    with pytest.raises(Missing, match="currency"):
        Price(amount=Decimal(40), currency=" ", bottle_ml=Decimal(250))
    with pytest.raises(OutOfRange, match="not a positive figure"):
        Price(amount=Decimal(40), currency="EUR", bottle_ml=Decimal(0))


def test_waste_gas_limits_in_both_units() -> None:
    """NIOSH 77-140: 2 ppm, 0.5 with nitrous oxide; 15.1 mg/m3 is what NIOSHTIC prints for enflurane, of the same mass."""
    plain = breathing.waste(breathing_tables(), "isoflurane", percent=Q(2, "%"), flow=Q(1, "L/min"))
    assert [(x.ppm, x.mg_m3) for x in plain.limits] == [(2, Decimal("15.1"))]
    assert str(plain.vapour_ml_min) == "20 mL/min" and "no limit of their own" in plain.words
    mixed = breathing.waste(breathing_tables(), "sevoflurane", nitrous=True)
    assert [x.ppm for x in mixed.limits] == [Decimal("0.5"), 2]


@given(ANIMALS, st.lists(st.sampled_from([500, 1000, 2000, 3000, 5000]), max_size=4, unique=True))
def test_a_bag_comes_from_stock_or_is_refused_by_name(animal: tuple[str, Decimal], stock: list[int]) -> None:
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"), bags_ml=stock)
    refused = [r for r in choice.refusals if r.field == "bag"]
    fitting = [ml for ml in stock if ml >= kg * 60]
    assert bool(refused) == (not fitting)
    if fitting:
        assert choice.bag.value.number("mL") == min(fitting)
    else:
        assert "not in stock" in choice.bag.working.says and "Fetch" in refused[0].accepts


def test_a_bag_too_large_for_a_cat_is_said() -> None:
    choice = breathing.plan(breathing_tables(), "cat", Q("2.6", "kg"), bags_ml=[2000])
    assert choice.bag.value.number("mL") == 2000
    assert any("hardly move it" in c for c in choice.cautions)


@given(
    ANIMALS,
    SYSTEMS,
    st.booleans(),
)
def test_every_system_in_stock_stands_there_with_a_reason(
    animal: tuple[str, Decimal], stock: list[str], ventilated: bool
) -> None:
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"), circuits=stock, ventilated=ventilated)
    assert {s.name for s in choice.systems} == set(stock)
    assert all(s.says for s in choice.systems)
    serving = [s.name for s in choice.systems if s.serves]
    assert serving == ([choice.circuit, *choice.alternatives] if choice.circuit else [])
    assert [s.name for s in choice.systems if s.first] == ([choice.circuit] if choice.circuit else [])
    assert not (ventilated and "mini-Lack" in serving)


@given(ANIMALS)
def test_a_circle_has_a_floor_and_minutes(animal: tuple[str, Decimal]) -> None:
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"))
    circle = breathing_tables().circuit(choice.circuit).rebreathing
    assert (choice.least_flow is not None) == circle == bool(choice.wash_in)
    if choice.least_flow is not None:
        assert choice.least_flow.value >= choice.oxygen_need.value
        assert all(g.set.value >= choice.least_flow.value for g in choice.fresh_gas)
        assert all(r.measured.value < r.at_most.value for r in choice.wash_in)


def test_the_plan_with_agent_price_and_another_supply() -> None:
    """A10: a concentrator takes the place of a cylinder, and what it cannot do is said; cost only with a price."""
    supply = Supply.read(breathing_tables(), "concentrator", max_flow=Q(1, "L/min"), percent=Q(93, "%"))
    choice = breathing.plan(
        breathing_tables(), "cat", Q(4, "kg"), supply=supply, agent="isoflurane", percent=Q(2, "%"), price=PRICE
    )
    assert not choice.refusals and choice.oxygen is None
    assert any("2 L/min is wanted" in c for c in choice.cautions)
    assert [phase for phase, _ in choice.agent_use] == ["induction", "maintenance", "recovery"]
    assert all(use.cost_per_hour for _, use in choice.agent_use)
    assert choice.waste is not None
    plain = breathing.plan(breathing_tables(), "cat", Q(4, "kg"))
    assert plain.agent_use == () and plain.waste is None


def test_drive_gas_is_counted_or_asked_for() -> None:
    """A10: a ventilator whose drive gas nobody named is not taken for one that uses none."""
    cylinder = Cylinder.read("680 L", "137 bar", "85 bar")
    silent = breathing.plan(breathing_tables(), "dog", Q(20, "kg"), cylinder=cylinder, ventilated=True)
    told = breathing.plan(
        breathing_tables(), "dog", Q(20, "kg"), cylinder=cylinder, ventilated=True, drive_gas=Q(3, "L/min")
    )
    assert any("Drive gas" in c for c in silent.cautions) and not any("Drive gas" in c for c in told.cautions)
    assert silent.oxygen is not None and told.oxygen is not None
    assert told.oxygen.minutes.value < silent.oxygen.minutes.value
    assert told.drive_gas is not None
