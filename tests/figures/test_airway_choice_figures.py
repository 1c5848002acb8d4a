"""Ways of choosing a tube, beside what was published about each; the source stands with each figure."""

from __future__ import annotations

from decimal import Decimal

import pytest

from room_tables import airway_tables
from spiracle import airway
from spiracle.airway.estimating import Estimate, evidence, sd_of_hits_mm
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, Unknown

Q = Quantity.of
Measured = airway.Measured


def estimate(name: str, species: str, kg: str, *, brachycephalic: bool = False, **measured: object) -> Estimate:
    read = Measured.read(**measured)  # type: ignore[arg-type]
    found = evidence(airway_tables(), species, Q(kg, "kg"), brachycephalic, read).named(name)
    assert found is not None
    return found


@pytest.mark.parametrize(("brachycephalic", "id_mm", "sd_mm"), [(False, 8.0, 0.84), (True, 6.7, 0.98)])
def test_spread_about_weight_in_dogs(brachycephalic: bool, id_mm: float, sd_mm: float) -> None:
    """544 dogs: SD 0.84 mm, in short noses 1.3 mm too large with SD 0.98: Vet Rec 2020;186:157, doi 10.1136/vr.105065.
    8.0 mm at 10 kg is from memory."""
    found = estimate("weight", "dog", "10", brachycephalic=brachycephalic)
    assert (found.id_mm, found.sd_mm) == (pytest.approx(id_mm), sd_mm)
    assert found.memory and "a_vetrec2020" in found.sources


@pytest.mark.parametrize("way", ["tracheal_diameter", "ultrasound_diameter"])
def test_share_of_a_measured_trachea(way: str) -> None:
    """60, 70 and 80 % tried, 70 % is used (Shin 2018, doi 10.1016/j.vaa.2017.10.002); outside is 1.36 of inside, from memory.

    By hand: 12 mm x 0.70 / 1.36 = 6.18 mm; the ten per cent either side, as two SD, is 12 x 0.05 / 1.36 = 0.44 mm.
    """
    name = "tracheal diameter" if way.startswith("trach") else "ultrasound diameter"
    found = estimate(name, "dog", "10", **{way: "12 mm"})
    assert found.id_mm == pytest.approx(6.176, abs=0.001) and found.sd_mm == pytest.approx(0.441, abs=0.001)
    assert ("reads slightly small" in found.says) is way.startswith("ultra")


def test_weight_and_radiograph_that_lie_apart() -> None:
    """Worked by hand from the two lines above: weights 1/0.84² = 1.417 and 1/0.441² = 5.14 give 6.57 mm; SD 0.39 mm, widened by
    1.824 / 0.949 = 1.92 (the Birge ratio of two) to 0.75 mm."""
    choice = airway.lay_out(airway_tables(), "dog", Q(10, "kg"), measured=Measured.read(tracheal_diameter="12 mm"))
    together = choice.combined
    assert (round(together.id_mm, 2), round(together.sd_mm, 2), round(together.widened, 2)) == (6.57, 0.75, 1.92)
    assert choice.disagreements == ()
    # 70 % of 12 mm is 8.4 mm outside: 6.0 (8.2 mm) goes in, 6.5 (8.8 mm) does not come first.
    assert choice.first.id_mm == 6


def test_felt_trachea_and_septum_are_trusted_as_often_as_they_hit() -> None:
    """46 % and 21 % of picks were the best tube, long-nosed cadavers: Lish 2008, J Am Anim Hosp Assoc 44:236-242 (abstract).
    z of 0.73 is 0.613 and of 0.605 is 0.266 in printed tables of the normal law; half a millimetre counted as a hit, from memory."""
    assert sd_of_hits_mm(0.46, 0.5) == pytest.approx(0.5 / 0.613, rel=0.002)
    assert sd_of_hits_mm(0.21, 0.5) == pytest.approx(0.5 / 0.266, rel=0.005)
    felt = estimate("felt trachea", "dog", "20", palpated_outer="17 mm")
    assert felt.id_mm == pytest.approx(15 * 0.7 / 1.36)  # a wall of 1 mm each side, from memory
    # The paper's abstract: the septum's width is paired with the tube's outside diameter.
    assert estimate("nasal septum", "dog", "20", septum_width="13.6 mm").id_mm == pytest.approx(10)


def test_back_length_is_raised_by_what_it_reads_low() -> None:
    """0.203 x 60 - 3.724 = 8.456 mm, 2.76 +/- 1.85 mm low in live dogs: Khiao-in 2024, doi 10.5455/javar.2024.k780."""
    found = estimate("occipital bump to tail base", "dog", "20", occiput_to_tail_base="60 cm")
    assert found.id_mm == pytest.approx((8.456 + 2.76) * 0.7 / 1.36, abs=1e-6)
    assert found.sd_mm == pytest.approx(1.85 * 0.7 / 1.36)


@pytest.mark.parametrize(
    ("outcome", "id_mm", "sd_mm"), [("served", 4, 0.5), ("leaked", 4.5, 0.5), ("tight", 3.5, 0.5), (None, 4, 1)]
)
def test_the_tube_of_last_time(outcome: str | None, id_mm: float, sd_mm: float) -> None:
    """Common practice: a leak goes one half size up, a tight fit one down. The spreads are from memory."""
    found = estimate("previous tube", "cat", "4.5", previous_tube="4.0 mm", previous_outcome=outcome)
    assert (found.id_mm, found.sd_mm) == (id_mm, sd_mm)


def test_a_pups_tube_tells_nothing_of_the_grown_dog() -> None:
    """The lumen grew up to thirteen times from 1 to 12 months: Soriano 2018 (abstract)."""
    measured = Measured.read(previous_tube="4.0 mm", previous_outcome="served", previous_full_grown=False)
    choice = airway.lay_out(airway_tables(), "dog", Q(20, "kg"), measured=measured)
    assert [e.name for e in choice.estimates] == ["weight"]
    assert any("not used" in line and "12 months" in line for line in choice.unused)


def test_a_tube_that_was_tight_is_not_the_first_again() -> None:
    measured = Measured.read(previous_tube="4.0 mm", previous_outcome="tight", previous_full_grown=True)
    assert airway.lay_out(airway_tables(), "cat", Q(4, "kg"), measured=measured).first.id_mm == Decimal("3.5")


def test_the_tube_that_served_is_not_passed_over_for_a_larger_one() -> None:
    """It sealed in this very animal: common practice. 6.0 mm in a dog whose weight asks for 8.0 mm."""
    measured = Measured.read(previous_tube="6.0 mm", previous_outcome="served", previous_full_grown=True)
    choice = airway.lay_out(airway_tables(), "dog", Q(10, "kg"), measured=measured)
    assert choice.first.id_mm == 6
    assert "the tube that served before" in choice.why.held[0]
    assert any("disagree" in line for line in choice.disagreements)


def test_a_small_tube_of_unknown_age_does_not_bind_a_large_dog() -> None:
    """Nobody noted whether the dog was grown then: 4.0 mm in one of 20 kg is weighed, named as apart, and no ceiling."""
    measured = Measured.read(previous_tube="4.0 mm", previous_outcome="served")
    choice = airway.lay_out(airway_tables(), "dog", Q(20, "kg"), measured=measured)
    assert choice.first.id_mm > 4 and choice.disagreements


def test_a_cats_tube_that_leaked_is_named_beside_its_larger_neighbour() -> None:
    measured = Measured.read(previous_tube="4.0 mm", previous_outcome="leaked")
    choice = airway.lay_out(airway_tables(), "cat", Q(4, "kg"), measured=measured)
    assert choice.first.id_mm == 4 and choice.tubes[-1].id_mm == Decimal("4.5")
    assert any("ID 4.0 mm leaked before" in line for line in choice.cautions)


@pytest.mark.parametrize(("species", "brachycephalic"), [("cat", False), ("dog", True)])
def test_long_nosed_findings_stay_with_long_noses(species: str, brachycephalic: bool) -> None:
    measured = Measured.read(palpated_outer="11 mm", septum_width="8 mm", occiput_to_tail_base="40 cm")
    choice = airway.lay_out(airway_tables(), species, Q(5, "kg"), measured=measured, brachycephalic=brachycephalic)
    assert [e.name for e in choice.estimates] == ["weight"]
    assert len(choice.unused) == 3 and all("not used" in line for line in choice.unused)


def test_two_that_disagree_are_both_named() -> None:
    measured = Measured.read(tracheal_diameter="22 mm")
    choice = airway.lay_out(airway_tables(), "dog", Q(10, "kg"), measured=measured)
    (line,) = choice.disagreements
    assert "Weight says ID 8.0 ± 0.8 mm" in line and "tracheal diameter ID 11.3 ± 0.8 mm" in line
    assert line in choice.cautions


def test_two_tubes_of_one_bore_are_both_kept_and_the_thinner_wall_leads() -> None:
    """5.0 mm tubes of two makers differed by 2 mm outside: Ezri 2004."""
    stock = [airway.TubeInStock(id_mm=Decimal(i), od_mm=Decimal(o))
             for i, o in (("4.0", "5.4"), ("4.0", "6.2"), ("3.5", "4.8"), ("4.5", "6.1"))]  # fmt: skip
    choice = airway.lay_out(airway_tables(), "cat", Q(4, "kg"), stock=stock)
    assert [(r.tube.id_mm, r.tube.od_mm) for r in choice.ranked].count((Decimal("4.0"), Decimal("6.2"))) == 1
    assert len(choice.ranked) == 4
    assert (choice.first.id_mm, choice.first.od_mm) == (Decimal("4.0"), Decimal("5.4"))
    thick = next(r for r in choice.ranked if r.tube.od_mm == Decimal("6.2"))
    assert thick.place == "too large to be first" and "larger than what a cat's weight asks for" in thick.why
    assert [t.id_mm for t in choice.tubes] == [Decimal("3.5"), Decimal("4.0"), Decimal("4.5")]


@pytest.mark.parametrize(("kg", "first"), [("3.5", "6.0"), ("7", "7.0"), ("10", "8.0"), ("15", "9.0"), ("20", "10.0")])
def test_by_weight_alone_a_dog_gets_the_nearest_size(kg: str, first: str) -> None:
    """General teaching tables of starting sizes, from memory."""
    assert airway.lay_out(airway_tables(), "dog", Q(kg, "kg")).first.id_mm == Decimal(first)


def test_the_line_of_why_carries_all_three_chances() -> None:
    best = airway.lay_out(airway_tables(), "dog", Q(10, "kg")).ranked[0]
    # By hand: 8.0 fits when the best size lies from 7.5 to 8.75; z = -0.595 and 0.893 about 8.0 with SD 0.84: 54, 19 and 28 %.
    assert best.why == "ID 8.0 mm, 10.8 mm outside: fits and seals 54 %, too small 19 %, too large 28 %."
    assert best.working.memory and best.working.estimated


def test_a_cats_small_tube_is_said_to_leak_by_the_cats_own_spread() -> None:
    """One millimetre under what weight asks is four SD in a cat (0.25 mm, from memory) and little over one in a dog."""
    for species, kg, bore, said in (
        ("cat", "4", "3.0", True),
        ("dog", "3.5", "5.0", False),
        ("dog", "3.5", "4.0", True),
    ):
        stock = [airway.TubeInStock(id_mm=Decimal(bore))]
        cautions = airway.lay_out(airway_tables(), species, Q(kg, "kg"), stock=stock).cautions
        assert any("it will leak" in c for c in cautions) is said


def tubes_of(*sizes: tuple[str, str]) -> list[airway.TubeInStock]:
    return [airway.TubeInStock(id_mm=Decimal(i), od_mm=Decimal(o)) for i, o in sizes]


NONE_FITS = [
    ("cat", "3", None, tubes_of(("3.5", "8")), "Fetch ID 3.5 mm, about 4.9 mm outside"),
    ("cat", "1", None, tubes_of(("3.5", "4.9"), ("5.0", "6.8")), "Fetch ID 3.0 mm, about 4.2 mm outside"),
    ("cat", "3", "3 mm", tubes_of(("2.0", "3.2")), "No tube is made for a cat under ID 2.0 mm: measure again"),
    ("dog", "5", "6 mm", tubes_of(("4.5", "6.2")), "Fetch ID 3.0 mm, about 4.2 mm outside"),
]


@pytest.mark.parametrize(("species", "kg", "trachea", "stock", "fetch"), NONE_FITS, ids=[n[4] for n in NONE_FITS])
def test_a_tube_that_is_likelier_too_large_than_not_is_no_first_choice(
    species: str, kg: str, trachea: str | None, stock: list[airway.TubeInStock], fetch: str
) -> None:
    """A usual 4.0 mm tube is 5.5 mm outside, 3.5 is 4.9 (from memory): an outside of 8 mm is that of one near ID 6."""
    measured = Measured.read(tracheal_diameter=trachea)
    with pytest.raises(Missing, match="none fits") as caught:
        airway.lay_out(airway_tables(), species, Q(kg, "kg"), measured=measured, stock=stock)
    assert fetch in caught.value.accepts


def test_nothing_as_wide_as_the_trachea_is_laid_out() -> None:
    """70 % of 5 mm is 3.5 mm outside: 2.0 (2.9) leads, 2.5 (3.6) is the step up; 3.5 (4.9) would be the last that goes in at all."""
    choice = airway.lay_out(airway_tables(), "cat", Q(4, "kg"), measured=Measured.read(tracheal_diameter="5 mm"))
    assert [t.id_mm for t in choice.tubes] == [Decimal("2.0"), Decimal("2.5")]
    wide = tubes_of(("2.0", "2.9"), ("4.5", "6.2"), ("5.0", "6.8"))
    choice = airway.lay_out(
        airway_tables(), "cat", Q(4, "kg"), measured=Measured.read(tracheal_diameter="5 mm"), stock=wide
    )
    assert [t.id_mm for t in choice.tubes] == [Decimal("2.0")]
    assert any("no other tube goes into a trachea of 5 mm" in c for c in choice.cautions)
    assert all("does not go into a trachea of 5 mm" in r.why for r in choice.ranked[1:])


def test_neighbours_are_judged_by_their_outside() -> None:
    """A 4.0 of 5.9 mm comes before a 4.5 of 6.1, and a 3.5 as wide outside as the first is no step down."""
    stock = tubes_of(("4.0", "5.4"), ("4.0", "5.9"), ("4.5", "6.1"), ("3.5", "5.4"), ("3.0", "4.2"))
    choice = airway.lay_out(airway_tables(), "cat", Q(4, "kg"), stock=stock)
    assert [(str(t.id_mm), str(t.od_mm)) for t in choice.tubes] == [("3.0", "4.2"), ("4.0", "5.4"), ("4.0", "5.9")]


SLIPS = [
    ({"previous_tube": "16 mm", "previous_outcome": "served"}, "Look up the previous tube again"),
    ({"palpated_outer": "40 mm"}, "Measure the felt trachea again"),
    ({"septum_width": "40 mm"}, "Measure the nasal septum again"),
    ({"tracheal_diameter": "40 mm"}, "Measure the tracheal diameter again"),
    ({"tracheal_diameter": "20 mm"}, "Measure the tracheal diameter again"),
    ({"occiput_to_tail_base": "110 cm"}, "Measure the occipital bump to tail base again"),
]


@pytest.mark.parametrize(("told", "again"), SLIPS, ids=[str(s[0]) for s in SLIPS])
def test_one_slip_of_the_hand_does_not_pick_the_tube_of_a_small_dog(told: dict[str, str], again: str) -> None:
    """3 kg take about 5.7 mm (ladder from memory)."""
    choice = airway.lay_out(airway_tables(), "dog", Q(3, "kg"), measured=Measured.read(**told))
    assert choice.first.id_mm == Decimal("5.5")
    (line,) = choice.unused
    assert "is not used" in line and again in line and line in choice.cautions
    assert again in choice.disagreements[0] and "weigh again" in choice.disagreements[0]


def test_a_narrow_trachea_bounds_the_tube_even_where_weight_does_not_believe_it() -> None:
    """A dog of 30 kg with 14 mm: 70 % is 9.8 mm outside, which ID 7.0 (9.5 mm) keeps; weight says 11.5."""
    choice = airway.lay_out(airway_tables(), "dog", Q(30, "kg"), measured=Measured.read(tracheal_diameter="14 mm"))
    assert choice.first.id_mm == 7
    assert "not used, save as the most that may come first" in choice.unused[0]


def test_outlying_but_not_absurd_the_smaller_leads() -> None:
    """By hand: a back of 90 cm says 8.9 ± 1.0 mm, weight of 3.5 kg 6.0 ± 0.84: 2.3 joint SD apart."""
    choice = airway.lay_out(
        airway_tables(), "dog", Q("3.5", "kg"), measured=Measured.read(occiput_to_tail_base="90 cm")
    )
    assert choice.unused == () and len(choice.disagreements) == 1
    assert "nothing over ID 6.0 mm" in choice.disagreements[0]
    assert choice.first.id_mm == 6 and choice.combined.id_mm > 6.2


def test_figures_of_tubes_that_contradict_themselves_are_refused() -> None:
    facts, cat = airway_tables(), Q(4, "kg")
    with pytest.raises(Unknown, match="served, leaked, tight"):
        Measured.read(previous_tube="4.0 mm", previous_outcome="fine")
    for wrong in (
        {"cuffed": False, "tip_to_cuff_top_mm": Decimal(40)},
        {"tip_to_cuff_top_mm": Decimal(30), "cuff_length_mm": Decimal(30)},
        {"tip_to_cuff_top_mm": Decimal(40), "cuff_length_mm": Decimal(20), "side_hole_mm": Decimal(25)},
        {"side_hole_mm": Decimal(300), "length_mm": Decimal(200)},
    ):
        with pytest.raises(Contradiction):
            airway.lay_out(facts, "cat", cat, stock=[airway.TubeInStock(id_mm=Decimal("4.0"), **wrong)])  # type: ignore[arg-type]
