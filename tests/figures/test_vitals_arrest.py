"""Published figures of the arrest sheet: volumes, shocks, rhythm, reversals, first responses, each source beside its value."""

from __future__ import annotations

from decimal import Decimal

import pytest

from room_tables import sources
from spiracle.doors.tables import room_texts, table_texts
from spiracle.drugs import Formulary
from spiracle.quantity import Quantity
from vital_rooms import emergency

D = Decimal

ARREST = {  # volumes per kg as the Merck table prints them, times the weight
    ("cat", 4): {"vasopressin": "0.16", "atropine": "0.40", "amiodarone": "0.40"},
    ("dog", 5): {"epinephrine": "0.05", "vasopressin": "0.20", "atropine": "0.50", "lidocaine": "0.50"},
    ("dog", 20): {"epinephrine": "0.20", "vasopressin": "0.80", "atropine": "2.00", "lidocaine": "2.00"},
    ("dog", 40): {"epinephrine": "0.40", "vasopressin": "1.60", "atropine": "4.00", "lidocaine": "4.00"},
}


@pytest.mark.parametrize(("animal", "volumes"), ARREST.items(), ids=str)
def test_arrest_volumes_are_the_printed_ones(animal: tuple[str, int], volumes: dict[str, str]) -> None:
    plan = emergency().plan(animal[0], D(animal[1]))
    found = {i.drug: i for i in plan.group("arrest") if i.route != "intratracheal"}
    for drug, ml in volumes.items():
        volume = found[drug].volume
        assert volume is not None and volume.value.number("mL") == D(ml), drug


def test_a_tiny_volume_is_diluted_and_only_the_diluted_one_is_shown() -> None:
    """U10: 4 kg cat, 0.04 mL of 1 mg/mL epinephrine lies under 0.05 mL; 1 in 10 gives 0.4 mL by hand."""
    item = next(i for i in emergency().plan("cat", D(4)).items if i.id == "epinephrine-cat")
    assert item.volume_exact is not None and item.volume_exact.number("mL") == D("0.04")
    assert item.dilution is not None and item.strength == "0.1 mg/mL"
    assert item.volume is not None and item.volume.value.number("mL") == D("0.4")
    assert "1 mL of 1 mg/mL made up to 10 mL" in item.dilution.says


def test_lidocaine_stays_off_a_cat_and_amiodarone_off_a_dog() -> None:
    """U13: Merck table after the 2024 recommendations: lidocaine dogs only, amiodarone cats only."""
    cat, dog = emergency().plan("cat", D(4)), emergency().plan("dog", D(20))
    assert "lidocaine" not in {i.drug for i in cat.items} and "amiodarone" not in {i.drug for i in dog.items}
    assert any("No lidocaine" in c.says for c in cat.cautions) and any("No amiodarone" in c.says for c in dog.cautions)


@pytest.mark.parametrize(
    ("kg", "first", "then"), [(4, "8", "16"), (5, "10", "20"), (20, "40", "80"), (40, "80", "160")]
)
def test_shocks_start_at_two_and_double_once(kg: int, first: str, then: str) -> None:
    """External biphasic 2 to 4 J/kg (Merck); that the second is the double is from memory, and marked."""
    shock = next(s for s in emergency().plan("dog", D(kg)).shocks if s.mode == "external, biphasic")
    assert (shock.first.value.number("J"), shock.then.value.number("J")) == (D(first), D(then))
    assert shock.memory


def test_rhythm_of_the_arrest() -> None:
    """C14: RECOVER 2012 and its summaries: 100 to 120 a minute, 2 min cycles, 10 breaths of 10 mL/kg; 2024: CO2 of 18."""
    plan = emergency().plan("dog", D(20))
    assert (plan.rate_low, plan.rate_high, plan.cycle_s, plan.breaths_per_min, plan.breath_every_s) == (
        100,
        120,
        120,
        10,
        6,
    )
    assert plan.rate_low <= plan.beat_per_min <= plan.rate_high
    assert plan.breath.value.number("mL") == 200 and plan.etco2_aim.value.number("mmHg") == 18


def test_the_reversal_of_what_the_animal_had_comes_first() -> None:
    """U26: what undoes a drug stands ready, with its volume."""
    plan = emergency().plan("dog", D(20), on_board={"midazolam"})
    assert plan.reversals[0].drug == "flumazenil" and plan.reversals[0].on_board


def test_each_strength_on_the_shelf_has_its_own_line() -> None:
    """U9: 0.04 mg/kg x 20 kg = 0.8 mg; of 0.5 mg/mL 1.6 mL by hand. Several are never chosen between."""
    one = emergency().plan("dog", D(20), strengths={"atropine": ("0.5 mg/mL",)})
    item = next(i for i in one.items if i.drug == "atropine")
    assert item.volume is not None and item.volume.value.number("mL") == D("1.6")
    two = emergency().plan("dog", D(30), strengths={"atropine": ("0.5 mg/mL", "15 mg/mL")})
    lines = [i for i in two.items if i.drug == "atropine"]
    assert [(i.strength, i.volume and str(i.volume.value)) for i in lines] == [
        ("0.5 mg/mL", "2.4 mL"),  # 1.2 mg / 0.5
        ("15 mg/mL", "0.08 mL"),  # 1.2 mg / 15, by hand
    ]
    spelled = emergency().plan("dog", D(20), strengths={"vasopressin": ("20 U/mL", "100 U/mL")})
    assert [i.strength for i in spelled.items if i.drug == "vasopressin"] == ["20 IU/mL"]
    strange = emergency().plan("dog", D(20), strengths={"atropine": ("one vial",)})
    item = next(i for i in strange.items if i.drug == "atropine")
    assert item.volume is None and item.refusal is not None and item.refusal.name == "NotAQuantity"


def test_a_solution_dosed_by_volume_keeps_its_own_strength() -> None:
    """0.5 mL/kg holds for calcium gluconate of 10 %: a stronger vial on the shelf must not be printed beside it."""
    plan = emergency().plan("dog", D(10), strengths={"calcium_gluconate": ("230 mg/mL",)})
    assert next(i for i in plan.items if i.drug == "calcium_gluconate").strength == "100 mg/mL"


def test_every_dose_on_the_sheet_lies_in_its_dose_row() -> None:
    """The sheet keeps figures of its own; they may not drift from the formulary's rows they name."""
    formulary = Formulary.read(room_texts(table_texts(), "drugs"), sources())
    known = {row.id: row for row in formulary.all_rows()}
    for item in emergency().table.item:
        row, dose = known[item.row], Quantity.of(item.dose, item.unit)
        assert row.drug == item.drug, item.id
        assert row.low <= dose <= row.high, item.id
    energies = {f.id: f for f in formulary.figures("shock")}
    for shock in emergency().table.shock:
        assert (energies[shock.row].low, energies[shock.row].high) == (shock.first, shock.then), shock.id
    named: set[str] = set()
    for trouble in emergency().table.trouble:
        for step in trouble.step:
            both = ("dog", "cat") if trouble.species == "any" else (trouble.species,)
            kinds = both if step.species == "any" else (step.species,)
            named |= {row.replace("{species}", kind) for row in step.rows for kind in kinds}
    assert named <= set(known) | {f.id for f in formulary.figures("multiple")}


def test_a_first_response_against_a_condition_is_withheld_by_name() -> None:
    """C4, U14: after an alpha-2 agonist no anticholinergic (Short 1991); no bolus into a sick heart."""
    found = emergency().first_responses("hypotension", "cat", {"alpha2-on-board", "heart-disease"})
    assert {c for _, against in found.withheld for c in against} == {"alpha2-on-board", "heart-disease"}
    assert any("ask before any fluid" in step.says for step in found.steps)
    assert not any("anticholinergic" in step.says for step in found.steps)
