"""Laws of the airway: the set of tubes is in order and within the species, a cut never adds dead space, formulas agree
with the independent fluid-mechanics library `fluids` (Caleb Bell)."""

from __future__ import annotations

import math
from decimal import Decimal

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from room_tables import airway_tables
from spiracle import airway
from spiracle.airway.bore import cut_saves_ml, tube_dead_space_ml
from spiracle.airway.measured import check, depth_bounds_cm
from spiracle.airway.resistance import Gas, laminar_loss_pa, pressure_lost_pa, reynolds, turbulent_loss_pa
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, NotAQuantity, OutOfRange, Refusal, Unknown

Q = Quantity.of
OXYGEN = Gas(2.0e-5, 1.33)
AIR = Gas(1.81e-5, 1.2)
DOGS = st.decimals("0.2", "100", places=2)
CATS = st.decimals("0.2", "15", places=2)
ANIMALS = st.one_of(st.tuples(st.just("dog"), DOGS), st.tuples(st.just("cat"), CATS))
BORES = st.integers(2, 40).map(lambda n: Decimal(n) / 2)


@given(ANIMALS, st.booleans())
def test_three_tubes_in_order_and_within_the_species(animal: tuple[str, Decimal], brachycephalic: bool) -> None:
    species, kg = animal
    choice = airway.lay_out(airway_tables(), species, Q(kg, "kg"), brachycephalic=brachycephalic)
    reach = airway_tables().reach(species)
    bores = [t.id_mm for t in choice.tubes]
    assert bores == sorted(set(bores))
    assert [t.role for t in choice.tubes] in (
        ["one smaller", "first choice", "one larger"], ["first choice", "one larger"], ["one smaller", "first choice"],
    )  # fmt: skip
    assert all(reach.id_low_mm <= b <= reach.id_high_mm for b in bores)
    assert all(t.od_mm > t.id_mm for t in choice.tubes)


@given(ANIMALS, st.lists(BORES, max_size=8, unique=True))
def test_only_tubes_on_the_shelf_are_laid_out(animal: tuple[str, Decimal], shelf: list[Decimal]) -> None:
    species, kg = animal
    stock = [airway.TubeInStock(id_mm=b, od_mm=b * Decimal("1.36")) for b in shelf]
    try:
        choice = airway.lay_out(airway_tables(), species, Q(kg, "kg"), stock=stock)
    except Missing as refusal:
        assert refusal.field == "tubes in stock"
        return
    reach = airway_tables().reach(species)
    assert all(t.id_mm in shelf and reach.id_low_mm <= t.id_mm <= reach.id_high_mm for t in choice.tubes)
    assert not any(t.od_memory for t in choice.tubes)


@given(DOGS, DOGS)
def test_a_heavier_dog_never_gets_a_smaller_first_choice(one: Decimal, other: Decimal) -> None:
    light, heavy = sorted((one, other))
    first = [airway.lay_out(airway_tables(), "dog", Q(kg, "kg")).first.id_mm for kg in (light, heavy)]
    assert first[0] <= first[1]


@given(DOGS)
def test_a_brachycephalic_dog_never_gets_a_larger_tube(kg: Decimal) -> None:
    plain = airway.lay_out(airway_tables(), "dog", Q(kg, "kg")).first.id_mm
    assert airway.lay_out(airway_tables(), "dog", Q(kg, "kg"), brachycephalic=True).first.id_mm <= plain


@given(CATS, st.decimals("3.6", "12", places=1))
def test_a_cats_tube_leans_small(kg: Decimal, trachea: Decimal) -> None:
    """A measured trachea only ever makes a cat's tube smaller: the share was found in dogs."""
    by_weight = airway.lay_out(airway_tables(), "cat", Q(kg, "kg")).first.id_mm
    measured = airway.Measured(tracheal_diameter=Q(trachea, "mm"))
    try:
        found = airway.lay_out(airway_tables(), "cat", Q(kg, "kg"), measured=measured).first.id_mm
    except Missing:
        return
    assert found <= by_weight


@given(st.decimals("6", "30", places=1), st.decimals("2", "60", places=1))
def test_the_tube_leaves_room_in_a_measured_trachea(trachea: Decimal, kg: Decimal) -> None:
    measured = airway.Measured(tracheal_diameter=Q(trachea, "mm"))
    first = airway.lay_out(airway_tables(), "dog", Q(kg, "kg"), measured=measured).first
    assert first.od_mm <= trachea * Decimal("0.7")


@given(ANIMALS, st.floats(0, 1))
def test_a_cut_tube_adds_less_dead_space_and_never_reaches_past_the_inlet(
    animal: tuple[str, Decimal], along: float
) -> None:
    species, kg = animal
    low, high = depth_bounds_cm(airway_tables(), species, float(kg))
    depth = Q((low + (high - low) * Decimal(str(along))).quantize(Decimal("0.1")), "cm")
    choice = airway.lay_out(airway_tables(), species, Q(kg, "kg"), measured=airway.Measured(incisors_to_inlet=depth))
    assert choice.insertion is not None and choice.mark_at_incisors is not None
    known = choice.first.length_mm is not None
    assert (choice.cut is None) is (choice.uncut or not known)
    if choice.uncut:
        whole = Q(choice.first.length_mm or 0, "mm").to("cm")
        assert choice.insertion.value.equals(whole) and choice.mark_at_incisors.value.equals(whole) and whole <= depth
        assert any("do not cut" in c for c in choice.cautions)
    else:
        assert choice.insertion.value.equals(depth) and choice.mark_at_incisors.value <= depth
        assert choice.cut is None or choice.mark_at_incisors.value.equals(choice.cut.value)
    assert known or any("how long is it" in c for c in choice.cautions)
    if choice.dead_space_before is not None:
        assert choice.dead_space_after.value <= choice.dead_space_before.value
    if choice.tube_volume_before is not None and choice.tube_volume_after is not None:
        assert choice.tube_volume_after.value <= choice.tube_volume_before.value
    assert choice.stylet_setback.value > Q(0, "mm")


@given(st.floats(2, 16), st.floats(60, 400), st.floats(0, 1))
def test_what_a_cut_saves_is_what_is_no_longer_there(bore: float, length: float, part: float) -> None:
    cut = length * part
    left = tube_dead_space_ml(bore, length - cut)
    assert left + cut_saves_ml(bore, cut) == pytest.approx(tube_dead_space_ml(bore, length), rel=1e-9)


def test_without_a_measured_depth_nothing_is_invented() -> None:
    choice = airway.lay_out(airway_tables(), "dog", Q(20, "kg"))
    assert choice.insertion is None and choice.cut is None and choice.dead_space_before is None
    assert [(r.name, r.field) for r in choice.refusals] == [("Missing", "incisors to thoracic inlet")]


@given(st.floats(2, 16), st.floats(0.2, 60))
def test_flow_agrees_with_an_independent_library(bore: float, flow: float) -> None:
    """`fluids` works the same pipe from its own friction factors: Hagen-Poiseuille exactly, Blasius exactly."""
    metres, length = bore / 1000, 0.25
    speed = flow / 60000 / (math.pi / 4 * metres**2)
    re = fluids.Reynolds(V=speed, D=metres, rho=OXYGEN.density, mu=OXYGEN.viscosity)
    assert reynolds(bore, flow, OXYGEN) == pytest.approx(re, rel=1e-9)
    head = length / metres * OXYGEN.density * speed**2 / 2
    laminar = fluids.friction.friction_laminar(re) * head
    assert laminar_loss_pa(bore, 250, flow, OXYGEN.viscosity) == pytest.approx(laminar, rel=1e-6)
    if re > 100:
        assert turbulent_loss_pa(bore, 250, flow, OXYGEN) == pytest.approx(fluids.friction.Blasius(re) * head, rel=1e-3)


@given(st.floats(3, 12), st.floats(5, 60))
def test_eddies_agree_with_a_smooth_pipe_within_a_twentieth(bore: float, flow: float) -> None:
    """Against `fluids`' exact solution of the smooth-pipe equation (Clamond): Blasius is good to about 5 % from 4,000 to 100,000."""
    re = reynolds(bore, flow, AIR)
    if not 4000 <= re <= 1e5:
        return
    kg_s = AIR.density * flow / 60000
    other = fluids.one_phase_dP(kg_s, AIR.density, AIR.viscosity, bore / 1000, roughness=0.0, L=0.3, Method="Clamond")
    assert pressure_lost_pa(bore, 300, flow, AIR) == pytest.approx(other, rel=0.05)


@given(st.floats(2.5, 14), st.floats(0.1, 60), st.floats(1.01, 2))
def test_a_wider_tube_or_a_slower_flow_never_costs_more(bore: float, flow: float, times: float) -> None:
    lost = pressure_lost_pa(bore, 250, flow, AIR)
    assert pressure_lost_pa(bore * times, 250, flow, AIR) < lost < pressure_lost_pa(bore, 250, flow * times, AIR)


REFUSED = [
    ("5 Fr", NotAQuantity, "never a tracheal tube size"),
    ("7", NotAQuantity, "no unit"),
    ("7,0 mm", NotAQuantity, "comma"),
    ("0.7 cm", OutOfRange, "not how a tube is marked"),
    ("-7 mm", NotAQuantity, "sign"),
    ("NaN mm", NotAQuantity, "plain number"),
    ("7 kg", NotAQuantity, "does not measure"),
]


@pytest.mark.parametrize(("text", "kind", "says"), REFUSED)
def test_a_tube_size_is_millimetres_or_refused(text: str, kind: type[Refusal], says: str) -> None:
    """U16: French gauge is an outside measure of catheters; a tube is said in millimetres of bore."""
    with pytest.raises(kind, match=says) as caught:
        airway.read_tube(text, "tube in the hand")
    assert caught.value.field == "tube in the hand" and caught.value.accepts


def test_what_cannot_be_is_refused_by_name() -> None:
    facts, cat, dog = airway_tables(), Q(4, "kg"), Q(20, "kg")
    with pytest.raises(OutOfRange, match="beyond any cat's tube"):
        airway.fit(facts, "cat", cat, Q(8, "mm"))
    with pytest.raises(OutOfRange, match="not the weight of a cat"):
        airway.lay_out(facts, "cat", Q(40, "kg"))
    with pytest.raises(Unknown, match="'rabbit' is not a species"):
        airway.lay_out(facts, "rabbit", cat)
    with pytest.raises(Missing, match="outside diameter"):
        airway.lay_out(facts, "dog", dog, stock=[airway.TubeInStock(id_mm=Decimal("10.7"))])


CANNOT_BE = [
    ("cat", "4", {"incisors_to_inlet": Q(40, "cm")}, "longer than a cat of 4 kg"),
    ("dog", "20", {"incisors_to_inlet": Q(26, "mm")}, "too short"),
    ("cat", "4", {"tracheal_diameter": Q(11, "cm")}, "bore of a cat"),
    ("cat", "4", {"tracheal_diameter": Q(20, "mm")}, "bore of a cat"),
    ("cat", "4", {"ultrasound_diameter": Q(20, "mm")}, "bore of a cat"),
    ("cat", "4", {"palpated_outer": Q(4, "mm")}, "outer wall to outer wall"),
    ("cat", "4", {"septum_width": Q(1, "mm")}, "between the nostrils"),
    ("cat", "4", {"larynx_depth": Q(30, "cm")}, "cannot be in a cat"),
    ("cat", "4", {"larynx_depth": Q(14, "cm"), "incisors_to_inlet": Q(13, "cm")}, "not before the thoracic inlet"),
    ("cat", "4", {"trachea_to_inlet": Decimal(18)}, "share of the inlet"),
    ("cat", "4", {"previous_outcome": "leaked"}, "size was not given"),
    ("cat", "4", {"previous_tube_id": Q(7, "mm"), "previous_outcome": "served"}, "beyond any cat's tube"),
    ("dog", "20", {"previous_tube_id": Q(34, "mm")}, "beyond any dog's tube"),
    ("dog", "3", {"occiput_to_tail": Q(20, "cm")}, "outside what the line was drawn for"),
]  # fmt: skip


@pytest.mark.parametrize(("species", "kg", "told", "says"), CANNOT_BE, ids=[c[3] for c in CANNOT_BE])
def test_one_measure_that_cannot_be_takes_no_tube_away(
    species: str, kg: str, told: dict[str, Quantity], says: str
) -> None:
    """It is refused by name beside the tubes that weight asks for; what refuses alone is `check`."""
    facts, measured = airway_tables(), airway.Measured(**told)  # type: ignore[arg-type]
    with pytest.raises(Refusal, match=says) as caught:
        check(facts, species, Q(kg, "kg"), measured)
    choice = airway.lay_out(facts, species, Q(kg, "kg"), measured=measured)
    assert choice.tubes == airway.lay_out(facts, species, Q(kg, "kg")).tubes
    assert caught.value.sentence in [r.sentence for r in choice.refusals]
    assert choice.insertion is None and choice.cut is None
    if set(told) == {"incisors_to_inlet"}:
        assert [r.name for r in choice.refusals] == ["OutOfRange"] and choice.unused == ()
    else:
        assert any("is not used" in line and caught.value.says in line for line in choice.unused)
    assert caught.value.says in " ".join(airway.fit(facts, species, Q(kg, "kg"), Q("4.0", "mm"), measured=measured).cautions) or (
        set(told) == {"incisors_to_inlet"})  # fmt: skip


def test_a_tube_of_another_species_or_unknown_outside_stops_no_other() -> None:
    facts, cat = airway_tables(), Q(4, "kg")
    shelf = [airway.TubeInStock(id_mm=Decimal(i)) for i in ("10.5", "3.25", "3.5", "4.0")]
    choice = airway.lay_out(facts, "cat", cat, stock=shelf)
    assert [t.id_mm for t in choice.tubes] == [Decimal("3.5"), Decimal("4.0")]
    assert [c for c in choice.cautions if "left out" in c] == [
        "ID 3.25 mm is left out: its outside diameter is not known. Read it off the tube, like 12.1 mm."
    ]
    with pytest.raises(Missing, match="none fits"):
        airway.lay_out(facts, "cat", cat, stock=shelf[:1])
    with pytest.raises(Missing, match=r"3\.25 mm, outside diameter"):
        airway.lay_out(facts, "cat", cat, stock=shelf[:2])


def test_a_tube_outside_the_usual_list_is_judged_by_its_own_outside() -> None:
    facts, dog = airway_tables(), Q(20, "kg")
    told = airway.fit(facts, "dog", dog, Q("10.7", "mm"), tube_od=Q("14.3", "mm"))
    assert (told.tube.od_mm, told.tube.od_memory) == (Decimal("14.3"), False)
    worked = airway.fit(facts, "dog", dog, Q("10.7", "mm"))
    assert (worked.tube.od_mm, worked.tube.od_memory) == (Decimal("14.6"), True)  # 10.7 x 1.36, from memory
    assert worked.chance.too_large == pytest.approx(told.chance.too_large, abs=0.2)
    thick = airway.fit(facts, "dog", dog, Q("10.7", "mm"), tube_od=Q("18", "mm"))
    assert thick.chance.too_large > told.chance.too_large
    with pytest.raises(Contradiction, match="not larger than the inside"):
        airway.fit(facts, "dog", dog, Q("10.7", "mm"), tube_od=Q("10.7", "mm"))


@pytest.mark.parametrize(("species", "kg", "tube", "said"), [
    ("cat", "4", "3.5", True), ("cat", "4", "4.0", False), ("cat", "4", "4.5", True), ("dog", "10", "7.0", False),
    ("dog", "10", "6.0", True), ("dog", "10", "9.5", False),
])  # fmt: skip
def test_what_is_far_from_expected_is_the_species_own(species: str, kg: str, tube: str, said: bool) -> None:
    """Two SD about weight's size: 1.65 mm in dogs (SD 0.84, Vet Rec 2020;186:157), half a millimetre in cats (from memory)."""
    fit = airway.fit(airway_tables(), species, Q(kg, "kg"), Q(tube, "mm"))
    assert any("than expected" in c for c in fit.cautions) is said


def test_one_tube_held_against_the_animal() -> None:
    facts = airway_tables()
    tight = airway.Measured(tracheal_diameter=Q(8, "mm"))
    with pytest.raises(OutOfRange, match="does not go into a trachea"):
        airway.fit(facts, "dog", Q(6, "kg"), Q("6.0", "mm"), measured=tight)
    far = airway.fit(facts, "dog", Q(30, "kg"), Q("7.0", "mm"), length=Q(25, "cm"))
    assert any("smaller than expected" in c for c in far.cautions)
    assert far.volume is not None and far.volume.value.number("mL") == pytest.approx(
        Decimal("9.62"), abs=Decimal("0.01")
    )


SIGNS = [r.sign for r in airway.proofs(airway_tables())]
HINTS = [r.sign for r in airway.proofs(airway_tables()) if r.part in {"hint", "secure"}]


@given(st.sets(st.sampled_from(HINTS)), st.integers(0, 5), st.booleans())
def test_hints_and_a_few_breaths_never_prove(seen: set[str], breaths: int, second: bool) -> None:
    told: dict[str, int | None] = dict.fromkeys(seen)
    assert airway.proof_lacking(airway_tables(), {**told, "co2": breaths}, second)


@given(st.sets(st.sampled_from(SIGNS)), st.integers(6, 40))
def test_six_breaths_of_co2_prove(seen: set[str], breaths: int) -> None:
    assert airway.proof_lacking(airway_tables(), {**dict.fromkeys(seen), "co2": breaths}, False) == ()


def test_without_co2_two_signs_need_a_second_person() -> None:
    """A1: a CO2 trace over six breaths, or two strong signs and a second person; nothing less."""
    two: dict[str, int | None] = {"direct view": None, "left chest": None}
    assert airway.proof_lacking(airway_tables(), two, second_person=False)
    assert airway.proof_lacking(airway_tables(), two, second_person=True) == ()
    with pytest.raises(Unknown, match="not a sign"):
        airway.proof_lacking(airway_tables(), {"looks fine": None}, second_person=True)
