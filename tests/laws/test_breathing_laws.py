"""Laws of the breathing system and the oxygen cylinder."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from room_tables import airway_tables, breathing_tables, sources
from spiracle import breathing
from spiracle.airway import AirwayTables
from spiracle.breathing import BreathingTables, Cylinder
from spiracle.doors.tables import room_texts, table_texts
from spiracle.quantity import Quantity
from spiracle.refusals import BadTable, Contradiction, Missing, NotAQuantity, OutOfRange, Unknown
from spiracle.source.stated import Facts

Q = Quantity.of
ANIMALS = st.one_of(
    st.tuples(st.just("dog"), st.decimals("0.2", "100", places=2)),
    st.tuples(st.just("cat"), st.decimals("0.2", "15", places=2)),
)
GAUGES = st.integers(0, 150)


@given(ANIMALS)
def test_fresh_gas_covers_the_body_and_lies_on_a_mark(animal: tuple[str, Decimal]) -> None:
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"))
    assert [g.phase for g in choice.fresh_gas] == ["induction", "maintenance", "recovery"]
    for gas in choice.fresh_gas:
        flow = gas.set.value.number("L/min")
        assert flow % Decimal("0.1") == 0
        assert flow >= Decimal("0.5")
        assert gas.set.value >= choice.oxygen_need.value
        assert gas.low.value <= flow < gas.high.number("L/min") + Decimal("0.1")


@given(ANIMALS)
def test_system_follows_weight(animal: tuple[str, Decimal]) -> None:
    """Under 3 kg every source takes a non-rebreathing system, from 7 kg on a circle; between them the band is said."""
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"))
    circle = breathing_tables().circuit(choice.circuit).rebreathing
    if kg < 3:
        assert not circle
    elif kg >= 7:
        assert circle
    else:
        assert "3, 5 and 7 kg" in choice.why.says
        assert choice.alternatives
    assert (choice.time_constant is not None) == circle


@given(ANIMALS)
def test_bag_holds_six_breaths_or_says_so(animal: tuple[str, Decimal]) -> None:
    species, kg = animal
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"))
    assert choice.bag.value.number("mL") >= kg * 60 or any("largest bag" in c for c in choice.cautions)


@given(GAUGES, GAUGES, st.integers(1, 100))
def test_a_higher_gauge_never_lasts_less(one: int, other: int, tenths: int) -> None:
    low, high = sorted((one, other))
    flow = Q(Decimal(tenths) / 10, "L/min")
    left = [
        breathing.oxygen_minutes(breathing_tables(), Cylinder.read("680 L", "137 bar", f"{g} bar"), flow)
        for g in (low, high)
    ]
    assert left[0].minutes.value <= left[1].minutes.value
    assert left[0].minutes_above_reserve.value <= left[1].minutes_above_reserve.value
    assert all(x.minutes_above_reserve.value <= x.minutes.value for x in left)


@given(st.integers(10, 137), st.integers(1, 100), st.integers(1, 100))
def test_a_higher_flow_never_lasts_longer(gauge: int, one: int, other: int) -> None:
    cylinder = Cylinder.read("680 L", "137 bar", f"{gauge} bar")
    slow, fast = sorted((one, other))
    left = [breathing.oxygen_minutes(breathing_tables(), cylinder, Q(Decimal(f) / 10, "L/min")) for f in (slow, fast)]
    assert left[0].minutes.value >= left[1].minutes.value


@given(st.integers(10, 137))
def test_the_gauges_unit_does_not_matter(bar: int) -> None:
    flow = Q(2, "L/min")
    litres = [
        breathing.oxygen_minutes(breathing_tables(), Cylinder.read("680 L", "137 bar", gauge), flow).litres.value.value
        for gauge in (f"{bar} bar", f"{bar * 100} kPa", f"{Decimal(bar) / 10} MPa")
    ]
    assert len(set(litres)) == 1


def test_drive_gas_and_planned_minutes() -> None:
    cylinder = Cylinder.read("680 L", "137 bar", "85 bar")
    alone = breathing.oxygen_minutes(breathing_tables(), cylinder, Q(2, "L/min"), planned_minutes=120)
    driven = breathing.oxygen_minutes(
        breathing_tables(), cylinder, Q(2, "L/min"), planned_minutes=120, drive_gas=Q(2, "L/min")
    )
    assert alone.enough is True and driven.enough is False
    assert any("planned for 120" in c for c in driven.cautions)
    assert breathing.oxygen_minutes(breathing_tables(), cylinder, Q(2, "L/min")).enough is None


@pytest.mark.parametrize(
    ("contents", "full", "gauge", "kind", "says"),
    [(None, "137 bar", "85 bar", Missing, "printed contents"), ("680 L", None, "85 bar", Missing, "full pressure"),
     ("680 L", "137 bar", "", Missing, "gauge"), ("680 L", "137 bar", "85", NotAQuantity, "no unit"),
     ("680 L", "137 bar", "85 cmH2O", NotAQuantity, "not on a cylinder's gauge"), ("680", "137 bar", "85 bar", NotAQuantity, "no unit")],
)  # fmt: skip
def test_no_cylinder_is_assumed(
    contents: object, full: object, gauge: object, kind: type[Exception], says: str
) -> None:
    with pytest.raises(kind, match=says):
        Cylinder.read(contents, full, gauge)


def test_impossible_cylinders_are_refused() -> None:
    flow = Q(2, "L/min")
    with pytest.raises(OutOfRange, match="was another unit meant"):
        breathing.oxygen_minutes(breathing_tables(), Cylinder.read("680 L", "137 psi", "85 psi"), flow)
    with pytest.raises(Contradiction, match="over the full pressure"):
        breathing.oxygen_minutes(breathing_tables(), Cylinder.read("680 L", "137 bar", "180 bar"), flow)
    with pytest.raises(OutOfRange, match="uses none"):
        breathing.oxygen_minutes(breathing_tables(), Cylinder.read("680 L", "137 bar", "85 bar"), Q(0, "L/min"))


def test_what_is_not_in_stock_is_said() -> None:
    choice = breathing.plan(breathing_tables(), "cat", Q("1.4", "kg"), circuits=["adult circle"])
    assert choice.circuit == "" and choice.fresh_gas == ()
    assert [r.field for r in choice.refusals] == ["breathing system", "oxygen"]
    with pytest.raises(Unknown, match="'garden hose' is not a system"):
        breathing.plan(breathing_tables(), "cat", Q(4, "kg"), circuits=["garden hose"])
    with pytest.raises(Unknown, match="not a species"):
        breathing.plan(breathing_tables(), "", Q(4, "kg"))
    with pytest.raises(OutOfRange, match="not the weight of a dog"):
        breathing.plan(breathing_tables(), "dog", Q(160, "kg"))
    with pytest.raises(OutOfRange, match="not a pressure the limits speak of"):
        breathing.leak_verdict(breathing_tables(), Q(100, "mL/min"), Q(10, "cmH2O"))


def test_a_cat_on_a_t_piece_is_watched_for_rebreathing() -> None:
    choice = breathing.plan(breathing_tables(), "cat", Q("3.6", "kg"), circuits=["T-piece"])
    assert any("400 mL/kg/min" in c for c in choice.cautions)


def test_machine_and_patient_lists_end_at_the_open_relief_valve() -> None:
    """A9: a relief valve left shut was among 20 of 2,028 cases (Hofmeister 2014): the line is the last of both lists."""
    for name in ("machine", "patient"):
        assert breathing.lists(breathing_tables(), name)[-1].says == "Relief valve OPEN"
    for name in breathing.LISTS:
        rows = breathing.lists(breathing_tables(), name)
        assert len({r.id for r in rows}) == len(rows) >= 6


def _moved(text: str) -> str:
    """The machine list with the relief valve's line put first."""
    return text.replace(
        'id = "machine.valve-open"\nlist = "machine"\nplace = 15',
        'id = "machine.valve-open"\nlist = "machine"\nplace = 0',
    )


def test_tables_that_lost_something_do_not_load() -> None:
    texts = room_texts(table_texts(), "breathing")
    with pytest.raises(BadTable, match="relief valve"):
        BreathingTables.read({**texts, "breathing-checklists": _moved(texts["breathing-checklists"])}, sources())
    with pytest.raises(BadTable, match="has no source"):
        changed = texts["breathing-circuits"].replace('source = ["b_massey", "b_weightpages"]', "source = []", 1)
        BreathingTables.read({**texts, "breathing-circuits": changed}, sources())
    airway_texts = room_texts(table_texts(), "airway")
    with pytest.raises(BadTable, match="not listed"):
        AirwayTables.read({**airway_texts, "airway": airway_texts["airway"].replace('["T5"]', '["T99"]', 1)}, sources())
    with pytest.raises(BadTable, match="not the ones expected"):
        AirwayTables.read(
            {**airway_texts, "airway": airway_texts["airway"].replace('"stylet-setback"', '"stylet"', 1)}, sources()
        )


@pytest.mark.parametrize("facts", [airway_tables().stated, breathing_tables().stated], ids=["airway", "breathing"])
def test_rows_that_disagree_name_each_other(facts: Facts) -> None:
    pairs = [(row, facts[other]) for row in facts.rows for other in row.disagrees]
    assert len(pairs) >= 20
    verdicts = {"K12", "B5", "O6", "CA4"}  # rows that state the disagreement itself
    assert all(row.id in other.disagrees for row, other in pairs if row.id not in verdicts)


def test_every_row_of_the_fact_base_is_there() -> None:
    counts = {"T": 34, "C": 10, "E": 20, "D": 10, "I": 12, "K": 21, "V": 20, "R": 9, "B": 25, "O": 12, "M": 15, "P": 11}
    ids = {row.id for row in (*airway_tables().stated.rows, *breathing_tables().stated.rows)}
    assert {f"{letter}{n}" for letter, last in counts.items() for n in range(1, last + 1)} <= ids
