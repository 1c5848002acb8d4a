"""Laws of the ventilator's first settings, of typed settings, and of what dead space and changes do to CO2."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from room_tables import breathing_tables
from spiracle import breathing
from spiracle.breathing.ventilation import paco2_after
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, OverLimit, Refusal, Unknown
from spiracle.source import Mark, Zone

Q = Quantity.of
ANIMALS = st.one_of(
    st.tuples(st.just("dog"), st.decimals("0.2", "100", places=2)),
    st.tuples(st.just("cat"), st.decimals("0.2", "15", places=2)),
)
HARD = {"dog": 30, "cat": 20}


@given(ANIMALS, st.sampled_from(["volume", "pressure"]), st.decimals("0", "5", places=1))
def test_first_settings_stay_within_the_species_limits(animal: tuple[str, Decimal], mode: str, peep: Decimal) -> None:
    """A16: breath, rate and pressure within the usual band of the species, alarms around them, never over the hard stop."""
    species, kg = animal
    found = breathing.settings(breathing_tables(), species, Q(kg, "kg"), mode, peep=Q(peep, "cmH2O"))
    judged = breathing.judge(breathing_tables(), species, Q(kg, "kg"), tidal=found.tidal.value, peak=found.peak.value,
                             rate=found.rate.value, peep=found.peep)  # fmt: skip
    assert [j.name for j in judged] == ["tidal volume", "peak pressure", "ventilator rate", "PEEP"]
    assert all(j.zone is Zone.USUAL for j in judged)
    alarms = {a.name: a.value.value for a in found.alarms}
    assert peep < alarms["pressure low"] < found.peak.value.value < alarms["pressure high"] <= HARD[species]
    assert alarms["volume low"] < found.tidal.value.number("mL") < alarms["volume high"]
    assert all(a.memory for a in found.alarms)
    assert (found.set_pressure is None) == (mode == "volume")
    if found.set_pressure is not None:
        assert found.set_pressure <= found.peak.value


@given(ANIMALS, st.integers(4, 60))
def test_there_is_always_time_to_breathe_out(animal: tuple[str, Decimal], rate: int) -> None:
    found = breathing.settings(breathing_tables(), animal[0], Q(animal[1], "kg"), "volume", rate=Q(rate, "/min"))
    seconds = found.inspiration.value.number("s")
    assert 0 < seconds <= 1 and 60 / Decimal(rate) - seconds >= 2 * seconds
    assert ("shorter than" in found.inspiration.working.says) == (rate > 20)


@given(st.decimals("0.5", "15", places=1), st.decimals("0.1", "40", places=1))
def test_a_stiff_chest_is_refused_with_the_breath_that_would_do(kg: Decimal, compliance: Decimal) -> None:
    """A16: a breath that needs more than a cat's hard 20 cmH2O is refused, and what is offered instead does not."""
    own = Q(compliance, "mL/cmH2O")
    try:
        found = breathing.settings(breathing_tables(), "cat", Q(kg, "kg"), "volume", compliance=own)
    except OutOfRange as refusal:
        assert refusal.field == "compliance" and not kg * Decimal("0.05") <= compliance <= kg * 6
    except OverLimit as refusal:
        most = Decimal(refusal.accepts.split()[2])
        again = breathing.settings(
            breathing_tables(), "cat", Q(kg, "kg"), "volume", compliance=own, tidal=Q(most, "mL")
        )
        assert again.peak.value.number("cmH2O") <= 20
    else:
        assert found.peak.value.number("cmH2O") <= 20


def test_a_cat_of_2_6_kg_by_hand() -> None:
    """10 mL/kg x 2.6; middle of 12 to 24 a minute; 26 / (1.78 x 2.6) = 5.6 cmH2O; the compliance is a dog's and marked."""
    found = breathing.settings(breathing_tables(), "cat", Q("2.6", "kg"), "pressure")
    assert (str(found.tidal.value), str(found.rate.value), str(found.peak.value)) == ("26 mL", "18 /min", "5.6 cmH2O")
    assert (str(found.minute_volume.value), str(found.set_pressure)) == ("0.468 L/min", "5 cmH2O")
    assert found.compliance.working.memory and found.peak.working.memory and found.peak.working.estimated
    assert any("Compliance is a dog's" in c for c in found.cautions)
    dog = breathing.settings(breathing_tables(), "dog", Q(20, "kg"), "volume")
    assert not dog.compliance.working.memory and dog.ratio == "1:4"


def test_pressure_alarms_keep_to_the_breath_and_the_hard_stop() -> None:
    """A16: 5 over and under the expected peak, never over a cat's 20, never under half of the breath's own pressure."""
    stiff = breathing.settings(breathing_tables(), "cat", Q("2.6", "kg"), "volume", compliance=Q("1.5", "mL/cmH2O"))
    soft = breathing.settings(breathing_tables(), "cat", Q("2.6", "kg"), "volume")
    alarms = [{a.name: str(a.value) for a in found.alarms} for found in (stiff, soft)]
    assert str(stiff.peak.value) == "17 cmH2O"
    assert (alarms[0]["pressure high"], alarms[0]["pressure low"]) == ("20 cmH2O", "12 cmH2O")
    assert alarms[1]["pressure low"] == "2.8 cmH2O"
    assert any("outside the usual" in c for c in stiff.cautions)
    with pytest.raises(OverLimit, match="At most 15 mL"):  # (20 - 5) cmH2O x 1 mL/cmH2O
        breathing.settings(
            breathing_tables(), "cat", Q("2.6", "kg"), "volume", compliance=Q(1, "mL/cmH2O"), peep=Q(5, "cmH2O")
        )


@pytest.mark.parametrize(
    ("species", "tidal", "peak", "zones"),
    [("cat", 26, 12, [Zone.USUAL, Zone.USUAL]), ("cat", 42, 16, [Zone.UNUSUAL, Zone.UNUSUAL]),
     ("cat", 60, 21, [Zone.FORBIDDEN, Zone.FORBIDDEN]), ("dog", 26, 21, [Zone.USUAL, Zone.UNUSUAL]),
     ("dog", 12, 31, [Zone.UNUSUAL, Zone.FORBIDDEN])],
)  # fmt: skip
def test_what_is_set_for_another_animal_is_seen(species: str, tidal: int, peak: int, zones: list[Zone]) -> None:
    """A16: over 20 mL/kg over-distends (J Vet Sci 2019, introduction); pressures from memory; 2.6 kg of lean weight."""
    found = breathing.judge(breathing_tables(), species, Q("2.6", "kg"), tidal=Q(tidal, "mL"), peak=Q(peak, "cmH2O"))
    assert [j.zone for j in found] == zones
    assert "lean weight" in found[0].words


def test_a_breath_is_never_judged_without_a_lean_weight() -> None:
    with pytest.raises(Missing, match="lean weight"):
        breathing.judge(breathing_tables(), "cat", None, tidal=Q(26, "mL"))
    assert breathing.judge(breathing_tables(), "cat", None, peak=Q(12, "cmH2O"))[0].zone is Zone.USUAL


@pytest.mark.parametrize(
    ("changed", "kind", "says"),
    [({"lean": None}, Missing, "not worked from any other weight"), ({"species": "horse"}, Unknown, "not a species"),
     ({"mode": "jet"}, NotOneOf, "not a mode"), ({"lean": Q(26, "kg")}, OutOfRange, "not the weight of a cat"),
     ({"peep": Q(12, "cmH2O")}, OutOfRange, "not a usual one"), ({"tidal": Q(0, "mL")}, OutOfRange, "no breath"),
     ({"rate": Q(0, "/min")}, OutOfRange, "no rate"), ({"compliance": Q(90, "mL/cmH2O")}, OutOfRange, "of the whole animal")],
)  # fmt: skip
def test_settings_are_refused_by_name(changed: dict[str, object], kind: type[Refusal], says: str) -> None:
    asked: dict[str, object] = {"species": "cat", "lean": Q("2.6", "kg"), "mode": "volume", **changed}
    with pytest.raises(kind, match=says):
        breathing.settings(breathing_tables(), **asked)  # type: ignore[arg-type]


RATES, BREATHS = st.integers(4, 60), st.integers(20, 600)


@given(st.integers(15, 120), RATES, BREATHS, RATES, BREATHS, st.integers(1, 19))
def test_a_change_and_back_again_changes_nothing(now: int, f0: int, v0: int, f1: int, v1: int, dead: int) -> None:
    there = paco2_after(now, f0, v0, f1, v1, dead)
    assert paco2_after(there, f1, v1, f0, v0, dead) == pytest.approx(now)
    if f1 >= f0 and v1 >= v0:
        assert there <= now * (1 + 1e-12)


@given(BREATHS, st.integers(0, 200), st.integers(0, 200))
def test_predicted_paco2_rises_with_dead_space(tidal: int, one: int, other: int) -> None:
    """A13: more apparatus on the same breath never predicts a lower CO2, and faster breathing always costs more than deeper."""
    less, more = sorted((one, other))
    assume(more < tidal * Decimal("0.6"))
    low, high = (
        breathing.burden(breathing_tables(), Q(tidal, "mL"), Q(x, "mL"), paco2=Q(40, "mmHg")) for x in (less, more)
    )
    assert low.paco2_times <= high.paco2_times and low.paco2.value <= high.paco2.value
    assert low.deeper.value <= high.deeper.value <= high.faster.value


def test_five_millilitres_on_a_cat_of_2_6_kg() -> None:
    """A13: 16.9 of 26 mL reach the alveoli, 11.9 with 5 mL of parts: times 1.42, so 40 mmHg would become 57. By hand."""
    found = breathing.burden(breathing_tables(), Q(26, "mL"), Q(5, "mL"))
    assert (str(found.deeper.value), str(found.faster.value), str(found.paco2.value)) == ("19 %", "42 %", "57 mmHg")
    assert "say 40 mmHg" in found.words and "No answer by the animal assumed" in found.words
    assert found.paco2.working.estimated and found.paco2.working.memory
    measured = breathing.burden(breathing_tables(), Q(26, "mL"), Q(5, "mL"), paco2=Q(50, "mmHg"))
    assert not measured.paco2.working.memory and "say" not in measured.words
    assert str(breathing.burden(breathing_tables(), Q(26, "mL"), Q(0, "mL")).faster.value) == "0 %"


@pytest.mark.parametrize(
    ("tidal", "added", "more", "kind", "says"),
    [(26, 17, {}, OutOfRange, "leaves nothing"), (0, 1, {}, OutOfRange, "no breath"), (26, -1, {}, OutOfRange, "less than nothing"),
     (26, 1, {"own_dead": Q(30, "mL")}, Contradiction, "within a breath"),
     (26, 1, {"paco2": Q(4, "mmHg")}, OutOfRange, "another unit")],
)  # fmt: skip
def test_a_burden_that_cannot_be_is_refused(
    tidal: int, added: int, more: dict[str, Quantity], kind: type[Refusal], says: str
) -> None:
    with pytest.raises(kind, match=says):
        breathing.burden(breathing_tables(), Q(tidal, "mL"), Q(added, "mL"), **more)


def test_a_predicted_co2_says_so() -> None:
    asked = {"rate_from": Q(10, "/min"), "tidal_from": Q(200, "mL"), "rate_to": Q(15, "/min"), "tidal_to": Q(200, "mL")}
    found = breathing.predicted_paco2(breathing_tables(), Q(60, "mmHg"), **asked)
    assert str(found.value) == "40 mmHg" and found.working.estimated and "predicted" in found.working.says
    assert found.working.inputs[1].mark is Mark.TABLE
    kpa = breathing.predicted_paco2(breathing_tables(), Q(8, "kPa"), **asked, dead=Q(70, "mL"))
    assert str(kpa.value) == "40 mmHg"
    with pytest.raises(OutOfRange, match="does not pass"):
        breathing.predicted_paco2(breathing_tables(), Q(60, "mmHg"), **{**asked, "tidal_to": Q(70, "mL")})
    with pytest.raises(OutOfRange, match="not over a PEEP"):
        breathing.measured_compliance(Q(26, "mL"), Q(5, "cmH2O"), Q(5, "cmH2O"))
