"""Which set may stand for an animal, and by name why none may: never a curve from a guess."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import Any

import pytest

from room_tables import sources
from spiracle.doors.tables import room_texts, table_texts
from spiracle.kinetics.choosing import by_id, choose, within_total
from spiracle.kinetics.effects import levels, slow_advice
from spiracle.kinetics.tables import KineticsTables
from spiracle.refusals import Missing, NotOneOf, OutOfRange, Refusal, Unknown

DOG: dict[str, Any] = {
    "age_months": 48, "weight_kg": Decimal("12.4"), "asa": 1, "sighthound": False, "background": "any",
    "premedicated": True, "use": "induction",
}  # fmt: skip
CAT = DOG | {"weight_kg": Decimal("4.2")}


@lru_cache
def tables() -> KineticsTables:
    return KineticsTables.read(room_texts(table_texts(), "kinetics"), sources())


@pytest.mark.parametrize(
    ("drug", "species", "change", "set_", "quality"),
    [
        ("propofol", "dog", {}, "propofol-dog-approx", "approximate"),
        ("propofol", "dog", {"use": "infusion"}, "propofol-dog-approx", "approximate"),
        ("propofol", "cat", {}, "propofol-cat-approx-A", "approximate"),
        ("alfaxalone", "dog", {}, "alfaxalone-dog-90-min", "derived"),
        ("alfaxalone", "cat", {}, "alfaxalone-cat-approx", "weak"),
        ("ketamine", "dog", {"background": "awake"}, "ketamine-dog", "full"),
        ("fentanyl", "dog", {"background": "isoflurane", "use": "infusion"}, "fentanyl-dog-iso-approx", "approximate"),
        ("fentanyl", "dog", {"background": "awake", "use": "infusion"}, "fentanyl-dog-awake-approx", "approximate"),
        ("fentanyl", "cat", {"background": "awake", "use": "infusion"}, "fentanyl-cat-weak", "weak"),
        ("dexmedetomidine", "cat", {"background": "isoflurane", "use": "infusion"}, "dexmedetomidine-cat", "derived"),
        ("midazolam", "cat", {"background": "sevoflurane", "use": "infusion"}, "midazolam-cat", "full"),
        ("butorphanol", "cat", {"background": "isoflurane", "use": "infusion"}, "butorphanol-cat", "full"),
        ("lidocaine", "dog", {"background": "awake", "use": "infusion"}, "lidocaine-dog-weak", "weak"),
    ],
)
def test_the_set_that_may_stand(drug: str, species: str, change: dict[str, Any], set_: str, quality: str) -> None:
    model = choose(tables(), drug, species, **((DOG if species == "dog" else CAT) | change))
    assert (model.id, model.quality) == (set_, quality)
    assert model.row.species == species and model.row.drug == drug
    assert "not a measurement" in model.cautions[0] and quality in model.words
    assert model.spread.cv_v1 > 0 and model.spread.cv_clearance > 0 and model.spread.sd_log_residual > 0
    assert all(s in sources() for s in model.sources)


@pytest.mark.parametrize(
    ("drug", "species", "change", "kind", "field", "words"),
    [
        ("etomidate", "dog", {}, Unknown, "drug", "No set of constants is known for etomidate"),
        ("ketamine", "cat", {}, Missing, "model", "known only in part"),
        ("midazolam", "dog", {}, Missing, "model", "only clearance, half-life and an area volume"),
        ("remifentanil", "dog", {}, Missing, "model", "from memory"),
        ("butorphanol", "dog", {}, Unknown, "species", "for the cat, not for the dog"),
        ("lidocaine", "cat", {}, Missing, "model", "directions of change only"),
        ("propofol", "dog", {"weight_kg": None}, Missing, "weight", "not entered"),
        ("propofol", "dog", {"age_months": None}, Missing, "age", "not entered"),
        ("propofol", "dog", {"asa": None}, Missing, "ASA status", "not entered"),
        ("propofol", "dog", {"sighthound": True}, Unknown, "model", "sighthounds"),
        ("propofol", "dog", {"conditions": ("sighthound",)}, Unknown, "model", "sighthounds"),
        ("propofol", "cat", {"conditions": ("liver-disease",)}, Unknown, "model", "liver-disease"),
        ("propofol", "dog", {"age_months": 5}, OutOfRange, "age", "from 12 months"),
        ("propofol", "cat", {"weight_kg": Decimal("2.9")}, OutOfRange, "weight", "from 3 kg"),
        ("propofol", "dog", {"asa": 3}, OutOfRange, "ASA status", "up to 2"),
        ("midazolam", "cat", {"background": "awake", "use": "infusion"}, NotOneOf, "background", "under sevoflurane"),
        ("ketamine", "dog", {"background": "isoflurane"}, NotOneOf, "background", "awake"),
        ("dexmedetomidine", "dog", {"background": "awake"}, Missing, "model", "only clearances were printed"),
        ("lidocaine", "dog", {"background": "awake"}, NotOneOf, "use", "serves for induction"),
    ],
)
def test_every_other_animal_is_refused_by_name(
    drug: str, species: str, change: dict[str, Any], kind: type[Refusal], field: str, words: str
) -> None:
    with pytest.raises(kind) as refused:
        choose(tables(), drug, species, **((DOG if species == "dog" else CAT) | change))
    assert refused.value.field == field
    assert words in refused.value.sentence and refused.value.accepts


def test_whichever_is_missing_nothing_is_assumed() -> None:
    """Each of weight, age and physical status alone is asked for, whatever the rest says."""
    for gone in ("weight_kg", "age_months", "asa"):
        for drug in ("propofol", "alfaxalone"):
            for species in ("dog", "cat"):
                with pytest.raises(Missing):
                    choose(tables(), drug, species, **(DOG | {gone: None}))


def test_a_total_past_the_range_of_a_set_is_refused() -> None:
    """Whittem 2008: clearance of alfaxalone in cats falls from 25.1 to 14.8 mL/kg/min between 5 and 25 mg/kg."""
    model = choose(tables(), "alfaxalone", "cat", **CAT)
    within_total(model, 8.0)
    with pytest.raises(OutOfRange, match="past this set"):
        within_total(model, 8.1)
    within_total(choose(tables(), "propofol", "cat", **CAT), 40.0)


def test_a_lent_effect_site_and_the_other_end_of_the_band_are_said() -> None:
    cat = choose(tables(), "propofol", "cat", **CAT)
    assert any("none is known for cats" in line for line in cat.cautions)
    assert [w.v1 for w in cat.widen] == [1.4]  # the second set of constants, V1 1.4 L/kg
    dog = choose(tables(), "alfaxalone", "dog", **DOG)
    assert not dog.has_effect_site and any("that of the plasma" in line for line in dog.cautions)
    assert len(dog.widen) == 2


def test_premedication_that_a_set_did_not_have_is_said() -> None:
    with_, without = (choose(tables(), "propofol", "dog", **(DOG | {"premedicated": p})) for p in (True, False))
    assert any("unlike this one" in line for line in with_.cautions)
    assert not any("unlike this one" in line for line in without.cautions)


def test_an_unknown_set_is_refused_with_those_that_run() -> None:
    with pytest.raises(Unknown, match="propofol-dog-approx"):
        by_id(tables(), "propofol-human")


def test_levels_are_those_of_the_set_and_the_premedication() -> None:
    """Walters 2022 after alpha-2 agonist and opioid; Maney 2013 without. What is not known is said in words."""
    after = {x.event: x for x in levels(tables(), "propofol-dog-approx", "alpha-2+opioid")}
    before = {x.event: x for x in levels(tables(), "propofol-dog-approx", "none")}
    assert after["intubation"].high == pytest.approx(1.34) and before["intubation"].high == pytest.approx(4.86)
    assert after["apnoea"].low is None and "walters" not in after["apnoea"].words and "196 s" in after["apnoea"].words
    assert after["no-jaw-tone"].low == pytest.approx(1.37)  # Boveri 2013; without an alpha-2 agonist nothing is known
    assert before["no-jaw-tone"].low is None and before["no-jaw-tone"].memory
    second = levels(tables(), "propofol-cat-approx-B", "none")
    assert {x.row.model for x in second} == {"propofol-cat-approx-B", ""}


def test_slow_injection_advice_nearest_premedication_first() -> None:
    rows = slow_advice(tables(), "propofol", "dog", "alpha-2+opioid")
    assert [r.id for r in rows] == ["slow-propofol-dog-alpha-2-opioid", "slow-propofol-dog-any"]
    assert rows[0].low == rows[0].high == 1  # mg/kg/min, Walters 2022
    assert [r.low for r in slow_advice(tables(), "propofol", "dog", "none")] == [None]
    assert slow_advice(tables(), "etomidate", "dog", "none") == ()
