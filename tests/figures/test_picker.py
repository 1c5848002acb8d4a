"""What the list of ways to give a drug tells: nothing that changes a figure is left to a footnote."""

from __future__ import annotations

import pytest

from spiracle.doors.tables import load_facts
from spiracle.quantity import figure
from spiracle.sheets.picker import pick_rows
from spiracle.sheets.shapes import PickRow

FACTS = load_facts()
PICKED = {r.row: r for species in ("dog", "cat") for r in pick_rows(species, FACTS)}


def test_every_way_to_give_every_drug_can_be_picked() -> None:
    """All rows that are not kept as a warning, both species."""
    able = {r.id for r in FACTS.drugs.all_rows() if r.pick != "never"}
    assert set(PICKED) == able
    assert len(PICKED) > 350


@pytest.mark.parametrize("picked", PICKED.values(), ids=lambda p: p.row)
def test_whatever_changes_the_row_stands_in_it(picked: PickRow) -> None:
    """U9, U13: route, state of the animal, weight band, product, minutes, repeats, limits and questions are all told."""
    row = FACTS.drugs.row(picked.row)
    assert set(row.conditions) <= set(picked.conditions)
    assert picked.route == ", ".join(row.routes)
    if row.give_over_min:
        assert "over " in picked.give
    if row.give_how:
        assert row.give_how in picked.give
    if row.infusion:
        assert "rate" in picked.give
    assert bool(picked.onset) == bool(row.onset_min) and bool(picked.lasts) == bool(row.lasts_min)
    if row.facts.interval:
        assert row.facts.interval in picked.repeat
    if row.repeat_min:
        assert "after" in picked.repeat
    for stop in row.stops:
        assert any(figure(stop.at.value) in told and str(stop.at.unit) in told for told in picked.stops)
        assert not stop.memory or any("from memory" in told for told in picked.stops)
    if row.facts.usual_words:
        assert row.facts.usual_words in picked.usual_text
    if row.weight_band:
        assert any("kg" in c for c in picked.conditions)
    if row.strength:
        assert any(row.strength in c for c in picked.conditions)
    assert picked.ask == row.ask
    assert not row.emergency or any("nothing is blocked" in c for c in picked.conditions)


def test_an_arrest_row_says_that_there_is_no_pulse_and_a_relaxant_that_there_is_a_ventilator() -> None:
    assert "without a pulse" in PICKED["epinephrine-dog-cpr-iv-io"].conditions
    assert "ventilated" in PICKED["rocuronium-cat-neuromuscular-block-intubation-or-surgery-iv"].conditions
    assert "heart beating" in PICKED["naloxone-dog-titrated-reversal-heart-beating-iv-slow"].conditions


def test_a_row_is_found_by_every_other_name_of_its_drug() -> None:
    """WHO list of INN, USAN and BAN, from memory as the table says."""
    also = {"adrenaline": "epinephrine", "noradrenaline": "norepinephrine", "meperidine": "pethidine",
            "lignocaine": "lidocaine", "glycopyrrolate": "glycopyrrolate", "acetaminophen": "paracetamol",
            "dipyrone": "metamizole", "albuterol": "salbutamol_inhaled", "frusemide": "furosemide",
            "alphaxalone": "alfaxalone", "phenobarbitone": "phenobarbital", "dextrose 10 %": "dextrose_10"}  # fmt: skip
    for name, drug in also.items():
        rows = [p for p in PICKED.values() if name in p.also or p.name == name]
        assert rows and {p.drug for p in rows} == {drug}, name


def test_forms_of_a_vial_that_look_alike_are_told_apart() -> None:
    """U14: propofol stands on the shelf with and without a preservative, both 10 mg/mL."""
    forms = PICKED["propofol-dog-induction-iv"].forms
    assert len(forms) >= 2 and any("benzyl alcohol" in f for f in forms)


def test_a_second_page_is_told_with_the_row_it_was_held_against() -> None:
    """U30: agreement, disagreement with what was done, and that none was found."""
    naloxone = PICKED["naloxone-dog-titrated-reversal-heart-beating-iv-slow"]
    assert "A second page does not agree: 0.04 mg/kg" in naloxone.note and "Small steps stay" in naloxone.note
    assert any("522.1462" in c.citation for c in naloxone.cited)
    assert "A second page agrees" in PICKED["potassium_chloride-dog-hypokalaemia-supplement-iv"].note
    assert "No second page was found" in PICKED["hypertonic_saline-cat-emergency-hypovolaemia-iv-over-5-to-10-min"].note
