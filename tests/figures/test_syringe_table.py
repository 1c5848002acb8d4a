"""The table of syringes against pages that were read: marks, what a barrel may be off, what hub and nozzle hold.

Marks: a nursing course's page on reading syringes (Polk State College) and a compounding unit's study (GERPAC). Scales in units: a
teaching page on insulin syringes. What a barrel may be off: worked examples of a materials testing laboratory (SMTL, 2016) on
ISO 7886-1. Dead space: a weighing study held against ISO 7886-1:2018, and one of UC Davis. All as the sources table cites them.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from shelf import formulary, ready
from spiracle.drugs.hub import dead_share, hub_words, scale_words
from spiracle.drugs.stock import Stock
from spiracle.drugs.syringe import tolerance, usable
from spiracle.quantity import Quantity
from spiracle.refusals import BadTable, NotMeasurable

q = Quantity.of

# Polk State College: "5 or 6 mL ... 10 or 12 mL: a mark for each two tenths", "20, 30, 50 and 60 mL: 1 mL".
POLK = {"1 mL": "0.01", "3 mL": "0.1", "5 mL": "0.2", "6 mL": "0.2", "10 mL": "0.2", "12 mL": "0.2", "20 mL": "1",
        "50 mL": "1", "60 mL": "1"}  # fmt: skip
# Half a unit or a unit on 0.3 mL, a unit on 0.5 mL, two units on 1 mL of U-100; a unit of U-40 is 1/40 mL.
IN_UNITS = {
    "0.3 mL insulin": (Decimal(1), 100), "0.3 mL insulin, half units": (Decimal("0.5"), 100), "0.5 mL insulin": (Decimal(1), 100),
    "1 mL insulin": (Decimal(2), 100), "0.5 mL insulin, U-40": (Decimal(1), 40), "1 mL insulin, U-40": (Decimal(1), 40),
}  # fmt: skip
# The weighing study's limits of ISO 7886-1:2018, and "20, 30, 60 mL: less than 0.2 mL".
DEAD = {"1 mL": "0.07", "2.5 mL": "0.07", "5 mL": "0.075", "10 mL": "0.1", "20 mL": "0.2", "60 mL": "0.2"}
LARGEST_STOCKED = "60 mL"


@pytest.mark.parametrize(("barrel", "mark"), POLK.items())
def test_a_mark_is_what_the_course_teaches(barrel: str, mark: str) -> None:
    found = formulary().barrel(barrel)
    assert found.mark.equals(q(mark, "mL")) and found.scale == "mL" and not found.memory


@pytest.mark.parametrize(("barrel", "said"), IN_UNITS.items())
def test_a_scale_in_units_is_units_over_its_strength(barrel: str, said: tuple[Decimal, int]) -> None:
    """U9: a mark in units is that many hundredths, or fortieths, of a mL; it is never numbered in mL."""
    units, per_ml = said
    found = formulary().barrel(barrel)
    assert found.units_per_ml == per_ml and found.mark.value == units / per_ml
    assert found.scale == f"units of U-{per_ml}" and not found.common
    told = scale_words(found.mark, found)
    assert "not in mL" in told and f"{units.normalize():f} units" in told


@pytest.mark.parametrize(("barrel", "ml"), DEAD.items())
def test_dead_space_is_the_limit_that_was_measured_against(barrel: str, ml: str) -> None:
    found = formulary().barrel(barrel)
    assert found.dead.equals(q(ml, "mL")) and not found.dead_memory


def test_two_syringes_weighed_elsewhere_lie_within_the_limit_used() -> None:
    """UC Davis: two makes of 1 mL kept 0.068 and 0.066 mL."""
    assert formulary().barrel("1 mL").dead.value >= Decimal("0.068")


def test_every_syringe_has_a_source_or_says_memory() -> None:
    for barrel in formulary().barrels:
        from_memory = {s.id for s in map(formulary().sources.__getitem__, barrel.sources) if not s.seen.published}
        assert barrel.memory or not from_memory, barrel.id
        dead = {s.id for s in map(formulary().sources.__getitem__, barrel.dead_sources) if not s.seen.published}
        assert barrel.dead_memory or not dead, barrel.id


@pytest.mark.parametrize(
    ("barrel", "ml", "off"),
    [
        ("10 mL", "4", "0.19"),  # the laboratory's worked example: 1.5 % of 10 + 1 % of 4
        ("1 mL", "0.1", "0.017"),  # 1.5 % of 1 + 2 % of 0.1
        ("1 mL", "0.5", "0.025"),  # from half on: 5 % of the volume
        ("1 mL", "1", "0.05"),
    ],
)
def test_what_a_barrel_may_be_off(barrel: str, ml: str, off: str) -> None:
    found = tolerance(q(ml, "mL"), formulary().barrel(barrel), formulary().tolerances)
    assert found is not None and found.equals(q(off, "mL"))


def test_an_insulin_syringe_is_another_standards() -> None:
    assert tolerance(q("0.1", "mL"), formulary().barrel("0.3 mL insulin"), formulary().tolerances) is None


def test_a_hub_that_doubles_a_dose_is_told() -> None:
    """U10: the case told for children: 0.05 mL drawn into a syringe whose hub holds 0.07 mL gives 0.12 mL when flushed through it."""
    one, fine = formulary().barrel("1 mL"), formulary().fineness
    drawn = q("0.05", "mL")
    assert (drawn + one.dead).equals(q("0.12", "mL")) and dead_share(drawn, one) == 140
    told = hub_words(drawn, one, fine)
    assert "0.07 mL" in told and "140 %" in told and "another syringe" in told
    assert hub_words(q("0.7", "mL"), one, fine) == ""  # a tenth, which is the error limit
    assert hub_words(q("2.5", "mL"), formulary().barrel("3 mL"), fine) == ""


def test_a_hub_from_memory_says_so() -> None:
    assert "[from memory]" in hub_words(q("0.3", "mL"), formulary().barrel("3 mL"), formulary().fineness)


def test_units_of_a_scale_are_never_taken_for_those_of_another_vial() -> None:
    """U9: a scale in units goes with insulin of its own strength; other drugs in IU get mL, U-40 serves nothing else."""
    barrels = formulary().barrels

    def scales(strength: Quantity | None) -> set[str]:
        return {b.scale for b in usable(barrels, strength)}

    assert scales(q(100, "IU/mL")) == {"mL", "units of U-100"}
    assert scales(q(40, "IU/mL")) == {"mL", "units of U-40"}
    assert scales(q(20, "IU/mL")) == scales(q(1, "IU/mL")) == {"mL"}
    assert scales(q(10, "mg/mL")) == scales(None) == {"mL", "units of U-100"}


def test_a_hospitals_own_error_limit_is_kept_and_bounded() -> None:
    own = formulary().with_error_limit(Decimal(5))
    assert own.fineness.largest_error == 5 and own.fineness.error_limit == 5
    assert own.with_names("USAN").fineness.largest_error == 5
    assert formulary().fineness.largest_error == 10  # the desired range of the children's syringe study, either way
    for wrong in ("0", "40", "-5"):
        with pytest.raises(BadTable):
            formulary().with_error_limit(Decimal(wrong))


def test_the_least_volume_keeps_clear_of_what_the_study_found_inaccurate() -> None:
    """Children's 1 mL syringes were inaccurate at 0.1 mL and below: nothing under 0.05 mL is drawn, and the hub is told above that."""
    made = ready("atropine", "cat", "anticholinergic", "IM", "0.02 mg/kg", "0.6", strength="0.54 mg/mL")
    assert made.dilution is not None
    one = formulary().barrel("1 mL")
    assert hub_words(q("0.1", "mL"), one, formulary().fineness)


def test_only_units_in_the_drawer_is_a_named_refusal() -> None:
    """A drawer without a scale in mL cannot draw a drug in IU of another strength: refused, never misread."""
    drawer = Stock({"vasopressin": ("20 IU/mL",)}, ("1 mL insulin",))
    made = ready("vasopressin", "dog", "arrest", "IV", "0.8 IU/kg", "10", stock=drawer)
    assert isinstance(made.refusal, NotMeasurable) and made.drawn is None and "mL" in made.refusal.sentence
