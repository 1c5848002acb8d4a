"""Published values of tubes, cuffs, dead space, circuits and oxygen, beside what the product's own formulas give.

The rows stand in source/tables/checks-airway.toml and checks-breathing.toml, each with its source and how it was seen.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import Any

import pytest

from room_tables import airway_tables, breathing_tables
from spiracle import airway, breathing
from spiracle.airway.bore import tube_dead_space_ml
from spiracle.airway.resistance import Gas, pressure_lost_pa
from spiracle.doors.tables import table_texts
from spiracle.quantity import Quantity
from spiracle.source import Zone

ROWS = [
    row
    for name in ("checks-airway", "checks-breathing")
    for row in tomllib.loads(table_texts()[name], parse_float=Decimal)["check"]
]
FORMULAS = {**airway.CHECKS, **breathing.CHECKS}
Q = Quantity.of


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["id"])
def test_sourced_row_holds(row: dict[str, Any]) -> None:
    got = FORMULAS[row["compute"]](row["inputs"])
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


def test_every_formula_offered_is_checked_by_a_row() -> None:
    assert set(FORMULAS) == {row["compute"] for row in ROWS}


@pytest.mark.parametrize("id_mm", [7.5, 8.0])
def test_dead_space_agrees_with_measured_tubes(id_mm: float) -> None:
    """13 cm of unused tube held 6.0 +/- 0.6 mL: Shah 2004, doi 10.1097/01.CCM.0000104205.96219.D6 (bore not stated)."""
    assert 5.4 <= tube_dead_space_ml(id_mm, 130) <= 6.6


BENCH_PA = {6.0: 651.6, 6.5: 453.4, 7.0: 336.5, 7.5: 225.2, 8.0: 179.0}


@pytest.mark.parametrize(("id_mm", "measured"), BENCH_PA.items())
def test_straight_tube_is_the_kindest_case(id_mm: float, measured: float) -> None:
    """Futagawa, BMC Anesthesiol 2017: nasotracheal tubes at 30 L/min in air, slip joint and bend included.

    A straight 30 cm (from memory) bore without them must lose less than was measured, but not less than a third of it.
    """
    worked = pressure_lost_pa(id_mm, 300, 30, Gas(1.81e-5, 1.2))
    assert measured / 3 < worked < measured


@pytest.mark.parametrize(
    ("species", "kg", "low", "high"),
    [("dog", "3.5", "5.5", "6.5"), ("dog", "7", "6.5", "7.5"), ("dog", "10", "7.5", "8.5"), ("dog", "20", "9.5", "11"),
     ("dog", "30", "11", "12"), ("dog", "45", "12", "14"), ("cat", "1", "2.5", "3.0"), ("cat", "2", "3.0", "3.5"),
     ("cat", "3.5", "3.5", "4.0"), ("cat", "6", "4.0", "5.0")],
)  # fmt: skip
def test_first_choice_is_within_the_taught_sizes(species: str, kg: str, low: str, high: str) -> None:
    """General teaching tables of starting sizes, from memory; books differ by about one size."""
    choice = airway.lay_out(airway_tables(), species, Q(kg, "kg"))
    assert Decimal(low) <= choice.first.id_mm <= Decimal(high)
    assert choice.memory and choice.why.memory


def test_brachycephalic_dog_gets_a_set_about_1_3_mm_smaller() -> None:
    """Weight over-sizes brachycephalic dogs by a mean of 1.3 mm: Vet Rec 2020;186:157, doi 10.1136/vr.105065."""
    plain = airway.lay_out(airway_tables(), "dog", Q(15, "kg")).first.id_mm
    shifted = airway.lay_out(airway_tables(), "dog", Q(15, "kg"), brachycephalic=True).first.id_mm
    assert plain - shifted in {Decimal("1.0"), Decimal("1.5")}


def test_measured_trachea_takes_70_percent_outside() -> None:
    """Shin 2018, doi 10.1016/j.vaa.2017.10.002: 70 % sealed; at 80 % three of eight dogs had bloody mucus."""
    measured = airway.Measured.read(tracheal_diameter="15 mm")
    first = airway.lay_out(airway_tables(), "dog", Q(15, "kg"), measured=measured).first
    assert first.od_mm <= Decimal("10.5") < first.od_mm + Decimal("0.7")


def test_cuff_bands() -> None:
    """A6: Dogs 20-30 cmH2O (Hung 2020); cats one target of 20 (Clinician's Brief)."""
    dog, cat = (airway.cuff_band(airway_tables(), s) for s in ("dog", "cat"))
    assert dog.zone(Q(31, "cmH2O")) is Zone.UNUSUAL and dog.zone(Q(30, "cmH2O")) is Zone.USUAL
    assert cat.zone(Q(25, "cmH2O")) is Zone.UNUSUAL and cat.zone(Q(20, "cmH2O")) is Zone.USUAL
    # Set at 25 mmHg in Beagles, which is 34 cmH2O as printed by Shin 2018: over the band.
    assert dog.zone(Q(25, "mmHg")) is Zone.UNUSUAL


def test_air_in_a_cats_cuff() -> None:
    """A6: 1.6 +/- 0.7 mL sealed 20 cats; more than 6 mL tore 7 of 10 tracheas: Hardie 1999, PubMed 10029852."""
    limit = airway.cuff_volume_limit(airway_tables(), "cat")
    assert limit is not None
    zones = [limit.zone(Q(ml, "mL")) for ml in ("1.6", "2.4", "6.1")]
    assert zones == [Zone.USUAL, Zone.UNUSUAL, Zone.FORBIDDEN]
    assert airway.cuff_volume_limit(airway_tables(), "dog") is None


def test_cuff_is_measured_again_when_it_had_fallen_in_beagles() -> None:
    """A7: Below 18 mmHg by 10 min after 25 mmHg: Vet Anaesth Analg 2018, S1467-2987(18)30164-8."""
    assert airway.cuff_recheck_minutes(airway_tables()).value.number("min") == 10


@pytest.mark.parametrize(("percent_ml", "zone"), [("1.1", Zone.USUAL), ("2.3", Zone.UNUSUAL), ("2.5", Zone.FORBIDDEN)])
def test_dead_space_in_a_tiny_patient(percent_ml: str, zone: Zone) -> None:
    """A13: 10 % caution, 20 % question (from memory); 1.2 and 2.4 mL of the 12 mL breath of a 1.2 kg animal."""
    choice = airway.lay_out(airway_tables(), "dog", Q("1.2", "kg"), parts=[("adapter", Q(percent_ml, "mL"))])
    assert choice.dead_space_zone is zone
    assert choice.tidal.value.number("mL") == 12


def test_stacked_parts_on_a_1_2_kg_animal() -> None:
    """A13: 8 mL of parts on a breath of 12 mL is 67 %, and is asked about."""
    parts = [("filter", Q(5, "mL")), ("sensor", Q(3, "mL"))]
    choice = airway.lay_out(airway_tables(), "cat", Q("1.2", "kg"), parts=parts)
    assert choice.percent_of_breath == pytest.approx(Decimal("66.7"), abs=Decimal("0.05"))
    assert "ask the veterinarian" in choice.dead_space_warning


@pytest.mark.parametrize(
    ("species", "kg", "phase", "l_min"),
    [("cat", "4", "induction", "2"),  # Massey: 500 mL/kg/min keeps from rebreathing; 4 kg
     ("cat", "3.1", "maintenance", "1.5"),  # measured 455 mL/kg/min in cats of 3.1 kg is 1410 mL/min; up to the next mark
     ("dog", "4", "maintenance", "1.2")],  # Massey: 200-300 mL/kg/min reasonably safe
)  # fmt: skip
def test_t_piece_flow(species: str, kg: str, phase: str, l_min: str) -> None:
    choice = breathing.plan(breathing_tables(), species, Q(kg, "kg"), circuits=["T-piece"])
    flow = {g.phase: g.set.value.number("L/min") for g in choice.fresh_gas}
    assert flow[phase] == Decimal(l_min)


@pytest.mark.parametrize(("kg", "ml"), [("15", 1000), ("30", 2000), ("80", 5000), ("6.9", 500)])
def test_bag_ladder(kg: str, ml: int) -> None:
    """Supplier's guide: 1 L to 15 kg, 2 L to 30 kg, 5 L to 80 kg; 0.5 L under 7 kg from memory."""
    assert breathing.plan(breathing_tables(), "dog", Q(kg, "kg")).bag.value.number("mL") == ml


def test_cat_pressure_and_rates() -> None:
    """A16: Cat: 15 usual, 20 hard with the chest closed (from memory). Rates dog 8-16, cat 12-24: Ko & Krimins 2012, table 2."""
    cat = breathing.plan(breathing_tables(), "cat", Q(4, "kg"))
    assert cat.peak_pressure.zone(Q(15, "cmH2O")) is Zone.USUAL
    assert cat.peak_pressure.zone(Q(16, "cmH2O")) is Zone.UNUSUAL
    assert cat.peak_pressure.zone(Q(21, "cmH2O")) is Zone.FORBIDDEN
    assert (cat.rate.usual_low.value, cat.rate.usual_high.value) == (12, 24)


@pytest.mark.parametrize(
    ("leak", "at", "verdict"),
    [(200, 20, "passes"), (240, 20, "sources differ"), (251, 20, "fault"), (200, 30, "passes"), (300, 30, "sources differ"),
     (301, 30, "fault")],
)  # fmt: skip
def test_leak_limits_side_by_side(leak: int, at: int, verdict: str) -> None:
    """250 mL/min at 20 cmH2O (Illinois VTH), 300 at 30 (Coleman 2016), 200 from memory without a pressure."""
    found = breathing.leak_verdict(breathing_tables(), Q(leak, "mL/min"), Q(at, "cmH2O"))
    assert found.verdict == verdict
    assert len(found.working.held) == 3


def test_e_cylinder_of_the_textbook() -> None:
    """A10: 660 L at 1900 psi, gauge 500 psi, 6 L/min: 28 min as printed (Nagelhout & Zaglaniczny, by way of a nursing page)."""
    left = breathing.oxygen_minutes(
        breathing_tables(), breathing.Cylinder.read("660 L", "1900 psi", "500 psi"), Q(6, "L/min")
    )
    assert left.minutes.value.number("min") == 28
    assert left.minutes_above_reserve.value.number("min") == 0
    assert left.cautions


def test_attempts_are_counted_timed_and_end_in_plan_b() -> None:
    """A3: three attempts (Martin-Flores 2022), 30 s each (taught), and words for after each of them."""
    rules = airway.attempt_rules(airway_tables())
    assert (rules.attempts, rules.limit_s) == (3, 30)
    assert 90 <= rules.spo2_floor <= 95  # between the emergency and the alarm line
    assert len(rules.next_steps) == 3
    assert "Oxygenate" in rules.next_steps[1] and "veterinarian" in rules.next_steps[1]
    assert "Plan B" in rules.next_steps[2]


def test_small_breaths_on_a_side_stream_sensor_are_named() -> None:
    """A14: under 5 kg the CO2 reading may be too low (equipment maker's article, weak; tidal volumes under 30 mL)."""
    small, large = (breathing.plan(breathing_tables(), "dog", Q(kg, "kg"), circuits=["Bain"]) for kg in ("3.5", "6"))
    assert any("may read low" in c for c in small.cautions)
    assert not any("may read low" in c for c in large.cautions)


def test_the_wait_on_a_cats_larynx_is_the_middle_of_what_is_advised() -> None:
    """45 s in a 2021 study (doi 10.1177/1098612X20967886), 60 to 90 s in advice: 60 s."""
    wait = airway.larynx_wait(airway_tables())
    assert wait.value.number("s") == 60 and wait.working.held


def test_reserve_is_kept_out_of_the_verdict() -> None:
    """A10: 1000 psi of 1900 psi and 660 L at 2 L/min is 173 min to empty; with 500 psi kept (from memory) 86 min."""
    cylinder = breathing.Cylinder.read("660 L", "1900 psi", "1000 psi")
    left = breathing.oxygen_minutes(breathing_tables(), cylinder, Q(2, "L/min"), planned_minutes=120)
    assert left.minutes.value.number("min") == 173
    assert left.minutes_above_reserve.value.number("min") == 86
    assert left.enough is False
