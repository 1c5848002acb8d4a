"""Where tubes lie, what each change saves and what each tube costs, beside published lengths and bench figures."""

from __future__ import annotations

from decimal import Decimal

import fluids
import pytest

from room_tables import airway_tables
from spiracle import airway
from spiracle.airway.burden import bench, burdens
from spiracle.airway.changes import kind_of
from spiracle.airway.seating import seat, stylet, tracheal_length_span
from spiracle.airway.sizing import shelf
from spiracle.quantity import Quantity

Q = Quantity.of
Measured = airway.Measured


def one_tube(species: str = "cat", bore: str = "4.0", **along: Decimal) -> airway.Tube:
    stock = [airway.TubeInStock(id_mm=Decimal(bore), **along)]  # type: ignore[arg-type]
    return shelf(airway_tables(), species, stock)[0][0]


def test_a_dogs_trachea_is_predicted_as_a_span() -> None:
    """0.346 x 60 - 3.773 = 16.99 cm, read 2.07 +/- 1.81 cm short: Khiao-in 2024, doi 10.5455/javar.2024.k780. Two SD either side."""
    span = tracheal_length_span(airway_tables(), "dog", Measured.read(occiput_to_tail_base="60 cm"))
    assert span is not None
    assert (span.low_mm, span.high_mm) == (pytest.approx(154.37, abs=0.1), pytest.approx(226.77, abs=0.1))
    assert span.working.estimated


def test_a_cats_trachea_is_known_in_grown_cats_with_usual_heads() -> None:
    """125.13 +/- 14.41 mm by CT, 15 normocephalic cats; kittens and short noses are not covered."""
    facts, nothing = airway_tables(), Measured()
    span = tracheal_length_span(facts, "cat", nothing, adult=True)
    assert span is not None and (span.low_mm, span.high_mm) == (pytest.approx(96.31), pytest.approx(153.95))
    assert tracheal_length_span(facts, "cat", nothing) is None
    assert tracheal_length_span(facts, "cat", nothing, adult=False) is None
    assert tracheal_length_span(facts, "cat", nothing, adult=True, brachycephalic=True) is None
    assert tracheal_length_span(facts, "dog", nothing) is None


def test_cuff_and_side_hole_between_larynx_and_inlet() -> None:
    """By hand: tip 130 mm, larynx 75 mm: 55 mm of trachea; a cuff top 45 mm from the tip leaves 10 mm, one of 60 mm does not fit."""
    measured = Measured.read(incisors_to_thoracic_inlet="13 cm", incisors_to_larynx="7.5 cm")
    fits = seat(
        one_tube(tip_to_cuff_top_mm=Decimal(45), cuff_length_mm=Decimal(22), side_hole_mm=Decimal(10)),
        Q(13, "cm"),
        measured,
    )
    assert (fits.larynx_to_tip_mm, fits.room_above_cuff_mm, fits.least_depth_mm) == (55, 10, 120)
    assert fits.cuff_fits is True and fits.side_hole_fits is True and not fits.questions and not fits.cautions
    long = seat(one_tube(tip_to_cuff_top_mm=Decimal(60)), Q(13, "cm"), measured)
    assert long.cuff_fits is False and "5 mm into the larynx" in long.cautions[0]
    assert "side hole" in long.questions[0]


def test_what_is_not_known_about_the_seat_is_asked() -> None:
    """E6: tubes all marked size 8 had 15.4 to 24.4 mm from bevel to cuff: no typical length stands in for a measured one."""
    choice = airway.lay_out(
        airway_tables(), "cat", Q(4, "kg"), measured=Measured.read(incisors_to_thoracic_inlet="13 cm")
    )
    assert len(choice.seats) == 3
    for found in choice.seats:
        assert found.cuff_fits is None and found.side_hole_fits is None and found.larynx_to_tip_mm is None
        assert len(found.questions) == 3
    assert airway.lay_out(airway_tables(), "cat", Q(4, "kg")).seats == ()


def test_a_tip_that_may_reach_the_fork_is_named() -> None:
    measured = Measured.read(incisors_to_thoracic_inlet="20 cm", incisors_to_larynx="7.5 cm")
    choice = airway.lay_out(airway_tables(), "cat", Q(5, "kg"), measured=measured, adult=True)
    assert any("fork of a trachea of 10 to 15 cm (predicted)" in line for line in choice.cautions)


@pytest.mark.parametrize(("hole", "behind"), [(None, "10 mm"), ("0", "10 mm"), ("8", "10 mm"), ("14", "16 mm")])
def test_stylet_stays_behind_the_side_hole(hole: str | None, behind: str) -> None:
    """Two of 36 tracheal ruptures in cats came from a stylet: Quandt 2017. The centimetre and the 2 mm are from memory."""
    tube = one_tube() if hole is None else one_tube(side_hole_mm=Decimal(hole))
    found = stylet(airway_tables(), tube, Q(13, "cm"))
    assert str(found.tip_behind.value) == behind
    assert found.tip_behind.working.memory
    assert found.bend_at is not None
    assert (found.bend_at.value + found.tip_behind.value).equals(Q(13, "cm"))
    assert bool(found.questions) is (hole is None)


def test_no_stylet_in_a_tube_as_short_as_its_setback() -> None:
    assert stylet(airway_tables(), one_tube(), Q(1, "cm")).usable is False


def test_a_narrow_trachea_is_named_by_the_published_cut_offs() -> None:
    """Four cut-offs (0.11, 0.127, 0.144 named) with poor agreement, English bulldogs: the 2014 study of 56."""

    def words(species: str, ratio: str) -> list[str]:
        measured = Measured(trachea_to_inlet=Decimal(ratio))
        kg = Q(20, "kg") if species == "dog" else Q(4, "kg")
        found = airway.lay_out(airway_tables(), species, kg, brachycephalic=True, measured=measured).cautions
        return [c for c in found if "thoracic inlet" in c]

    assert "3 of 3 cut-offs" in words("dog", "0.10")[0]
    assert "1 of 3 cut-offs" in words("dog", "0.13")[0] and "agreed poorly" in words("dog", "0.13")[0]
    assert words("dog", "0.20") == []
    assert "not known for a cat" in words("cat", "0.10")[0]


def test_the_change_that_helps_most_comes_first() -> None:
    """By hand: 4.0 mm tube of 200 mm at 130 mm: 70 mm stand out = pi/4 x 4² x 70 = 0.88 mL; filter 20, elbow 10 to about 2 (memory)."""
    parts = [("connector", Q(2, "mL")), ("HME filter", Q(20, "mL")), ("elbow", Q(10, "mL")), ("CO2 sensor", Q(6, "mL"))]
    choice = airway.lay_out(
        airway_tables(), "cat", Q(4, "kg"), parts=parts, measured=Measured.read(incisors_to_thoracic_inlet="13 cm")
    )
    got = [(c.what, c.part, float(c.saves.value.value)) for c in choice.changes]
    assert got == [
        ("leave out", "HME filter", 20.0), ("smaller part", "elbow", 8.0), ("smaller part", "CO2 sensor", 5.0),
        ("cut the tube", "tube", pytest.approx(0.88, abs=0.005)),
    ]  # fmt: skip
    best = choice.changes[0]
    assert (best.saves_ml_per_kg, best.saves_percent) == (Decimal("5.0"), Decimal(50))
    assert best.leaves.number("mL") == pytest.approx(Decimal("18.88"), abs=Decimal("0.01"))
    assert choice.dead_space_ml_per_kg == Decimal("9.5")  # 38 mL of parts in 4 kg


@pytest.mark.parametrize("name", ["CO2 sensor", "Filter with CO2 port", "mainstream adapter", "airway adapter, infant"])
def test_the_co2_sensor_is_never_offered_to_be_left_out(name: str) -> None:
    """A13: dead space is cut elsewhere; without the sensor no tube is proven."""
    parts = [(name, Q(12, "mL")), ("swivel", Q(3, "mL"))]
    choice = airway.lay_out(airway_tables(), "cat", Q("2.6", "kg"), parts=parts)
    assert kind_of(airway_tables(), name) == "sensor"
    assert not [c for c in choice.changes if c.what == "leave out"]
    assert [c.what for c in choice.changes if c.part == name] == ["smaller part"]


def test_a_part_of_unknown_kind_is_left_alone() -> None:
    choice = airway.lay_out(airway_tables(), "dog", Q(4, "kg"), parts=[("blue thing", Q(9, "mL"))])
    assert choice.changes == ()


def test_a_small_elbow_is_not_offered_to_a_large_dog() -> None:
    choice = airway.lay_out(airway_tables(), "dog", Q(30, "kg"), parts=[("elbow", Q(12, "mL"))])
    assert choice.changes == ()


@pytest.mark.parametrize(("bore", "joint", "percent"), [("6.0", 2.2, 34), ("8.0", 0.37, 20)])
def test_slip_joint_beside_the_whole_tube(bore: str, joint: float, percent: int) -> None:
    """Futagawa, BMC Anesthesiol 2017: 220.3 of 651.6 Pa at 6.0 mm, 36.1 of 179.0 Pa at 8.0 mm, 30 L/min of air."""
    found = bench(airway_tables(), one_tube("dog", bore))
    assert found is not None
    assert float(found.joint.value.value) == pytest.approx(joint, abs=0.05)
    assert found.joint_percent == percent


def test_no_bench_figure_is_drawn_between_the_measured_sizes() -> None:
    assert bench(airway_tables(), one_tube("dog", "5.5")) is None


@pytest.mark.parametrize(("species", "kg", "bore"), [("cat", "4", "4.0"), ("dog", "40", "13.0"), ("dog", "10", "8.0")])
def test_neighbours_and_regime_against_an_independent_library(species: str, kg: str, bore: str) -> None:
    """Reynolds number by `fluids` (Caleb Bell); smooth below 2,300 as taught."""
    choice = airway.lay_out(
        airway_tables(), species, Q(kg, "kg"), measured=Measured.read(incisors_to_thoracic_inlet="20 cm")
    )
    assert [b.tube.id_mm for b in choice.burdens] == [t.id_mm for t in choice.tubes]
    first = next(b for b in choice.burdens if b.tube.role == "first choice")
    assert first.tube.id_mm == Decimal(bore) and first.times_first == 1
    flow = 0.6 * float(kg) / 60000  # 600 mL/kg/min in m3/s
    speed = flow / (3.14159265 / 4 * (float(bore) / 1000) ** 2)
    re = fluids.Reynolds(V=speed, D=float(bore) / 1000, rho=1.33, mu=2.0e-5)
    assert first.reynolds == pytest.approx(re, abs=1)
    assert first.regime == ("laminar" if re < 2300 else "turbulent")
    lost = [b.lost.value.value for b in choice.burdens]
    assert lost == sorted(lost, reverse=True)
    assert len(burdens(airway_tables(), Q(kg, "kg"), choice.tubes, Q(15, "cm"))) == 3
