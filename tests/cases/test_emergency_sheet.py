"""The emergency sheet: its figures, its id, what it reverses, and the command that prints it alone."""

from __future__ import annotations

import argparse
import json
import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from case_log import NOW, a_case

from spiracle.case.events import DrugGiven, GivenBefore, InfusionStarted, SheetPrinted, Weighed
from spiracle.doors import cli_plan
from spiracle.doors.tables import load_facts
from spiracle.quantity import Quantity
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.emergency_sheet import emergency_sheet


def test_the_sheet_id_follows_the_content() -> None:
    """U28, D37: another weight, another id."""
    facts = load_facts()
    one = emergency_sheet("dog", Quantity.of("12.4", "kg"), "scale", facts, None, NOW)
    again = emergency_sheet("dog", Quantity.of("12.40", "kg"), "scale", facts, None, NOW + timedelta(hours=1))
    other = emergency_sheet("dog", Quantity.of("12.6", "kg"), "scale", facts, None, NOW)
    guessed = emergency_sheet("dog", Quantity.of("12.4", "kg"), "estimated", facts, None, NOW)
    assert one.sheet_id == again.sheet_id
    assert len({one.sheet_id, other.sheet_id, guessed.sheet_id}) == 3


def test_a_change_of_weight_voids_the_print() -> None:
    """U28, D37: the old print is named."""
    log, facts = a_case(), load_facts()
    first = emergency_sheet("dog", Quantity.of(12, "kg"), "scale", facts, log.case, NOW)
    log.add(SheetPrinted, sheet="emergency", print_id=first.sheet_id, weight_kg=Decimal(12))
    same = emergency_sheet("dog", Quantity.of(12, "kg"), "scale", facts, log.case, NOW)
    log.add(Weighed, weight_kg=Decimal(13), method="scale")
    later = emergency_sheet("dog", Quantity.of(13, "kg"), "scale", facts, log.case, NOW)
    assert same.void_prints == ()
    assert later.void_prints == (first.sheet_id,)


def test_epinephrine_of_the_arrest_sheet() -> None:
    """0.01 mg/kg IV or IO, 1 mg/mL: Merck Veterinary Manual, drugs used in CPR. 20 kg: 0.2 mL."""
    sheet = emergency_sheet("dog", Quantity.of(20, "kg"), "scale", load_facts(), None, NOW)
    row = next(d for d in sheet.drugs if d.drug == "epinephrine" and d.group == "arrest")
    assert row.volume is not None
    assert (row.volume.text, row.volume.unit, row.amount) == ("0.2", "mL", 0.2)


def test_what_was_given_is_there_to_be_reversed() -> None:
    """U26: what undoes it stands on the sheet."""
    log, facts = a_case(), load_facts()
    log.add(DrugGiven, drug="dexmedetomidine", amount=Decimal(60), unit="mcg", route="IM")
    sheet = emergency_sheet("dog", Quantity.of(12, "kg"), "scale", facts, log.case, NOW)
    row = next(d for d in sheet.drugs if d.drug == "atipamezole")
    assert row.group == "reversal"
    assert "60 mcg" in row.note


def emergency_command(form: str = "text", **said: Any) -> int:
    words = {"species": None, "weight": None, "estimated": False, "confirmed": False, "output": None, "working": False}
    return cli_plan.emergency(argparse.Namespace(format=form, hospital=None, paper="a4", **{**words, **said}))


def test_the_emergency_command_answers_in_both_forms(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    """20 kg: epinephrine 0.2 mL, breath 200 mL (10 mL/kg): Merck Veterinary Manual; RECOVER 2012 part 7."""
    assert emergency_command("json", species="dog", weight="20 kg") == 0
    found = json.loads(capsysbinary.readouterr().out)
    drug = next(d for d in found["emergency"]["drugs"] if d["drug"] == "epinephrine")
    assert (found["species"], drug["volume"]["value"], found["emergency"]["breath"]["value"]) == ("dog", 0.2, 200)
    assert emergency_command(species="dog", weight="20 kg") == 0
    text = capsysbinary.readouterr().out.decode()
    assert max(map(len, text.splitlines())) <= 80
    assert all(c in " ".join(text.split()) for c in STANDING)


@pytest.mark.parametrize(
    ("said", "status", "word"),
    [
        ({"species": "dog"}, 2, "--weight"),
        ({"weight": "4 kg"}, 2, "--species"),
        ({"species": "ferret", "weight": "1 kg"}, 1, "dog or cat"),
        ({"species": "cat", "weight": "45 kg"}, 1, "weight"),
        ({"species": "cat", "weight": "4"}, 1, "no unit"),
        # a surprising weight is warned about, and the sheet comes all the same: an arrest does not wait
        ({"species": "cat", "weight": "0.9 kg"}, 0, "Look at the weight again"),
        ({"species": "cat", "weight": "0.9 kg", "confirmed": True}, 0, ""),
    ],
)
def test_the_emergency_command_says_what_is_wrong(
    said: dict[str, Any], status: int, word: str, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert emergency_command(**said) == status
    out, err = (stream.decode() for stream in capsysbinary.readouterr())
    assert word in err
    assert bool(out) == (status == 0)
    assert bool(err) == bool(word)


@pytest.mark.parametrize(
    ("species", "kg"), [("cat", "0.6"), ("cat", "3.62"), ("dog", "1.37"), ("dog", "23.4"), ("dog", "71.5")]
)
def test_the_amount_beside_a_volume_is_what_that_volume_holds(species: str, kg: str) -> None:
    """U11, U28: volume times the strength printed on the line is the amount printed beside it, to the last figure."""
    sheet = emergency_sheet(species, Quantity.of(kg, "kg"), "scale", load_facts(), None, NOW)
    seen = 0
    for drug in sheet.drugs:
        strength = re.fullmatch(r"([\d.]+) (mg|IU|mEq)/mL", drug.strength)
        if drug.volume_ml is None or strength is None or drug.unit != strength.group(2):
            continue
        seen += 1
        assert Decimal(str(drug.volume_ml)) * Decimal(strength.group(1)) == Decimal(str(drug.amount)), drug.name
    assert seen >= 6


@pytest.mark.parametrize(
    ("species", "drug", "kg", "rate", "strength"),
    [
        # arithmetic by hand: mcg/kg/min x kg x 60 / (mcg/mL), down to 0.1 mL/h
        ("dog", "norepinephrine", "20", "1.5", "0.04 mg/mL"),  # 0.05 x 20 x 60 / 40
        ("dog", "dopamine", "20", "3.7", "1.6 mg/mL"),  # 5 x 20 x 60 / 1600 = 3.75
        ("dog", "dobutamine", "20", "2.4", "1 mg/mL"),  # 2 x 20 x 60 / 1000
        ("dog", "phenylephrine", "20", "6", "0.1 mg/mL"),  # 0.5 x 20 x 60 / 100
        ("dog", "vasopressin", "20", "3", "0.2 IU/mL"),  # 0.5 x 20 x 60 / 200 mIU
        ("cat", "norepinephrine", "4", "1.2", "0.01 mg/mL"),  # 0.05 x 4 x 60 / 10: the weaker syringe
        ("cat", "dopamine", "4", "3.7", "0.16 mg/mL"),  # 2.5 x 4 x 60 / 160 = 3.75
        ("cat", "vasopressin", "4", "3", "0.04 IU/mL"),  # 0.5 x 4 x 60 / 40 mIU
    ],
)
def test_pressors_start_in_ml_an_hour_of_a_syringe_that_is_named(
    species: str, drug: str, kg: str, rate: str, strength: str
) -> None:
    """U10: a rate with its making-up; no key, so no amount and no volume that could be written as given."""
    sheet = emergency_sheet(species, Quantity.of(kg, "kg"), "scale", load_facts(), None, NOW)
    row = next(p for p in sheet.pumps if p.drug == drug)
    assert row.volume is not None
    assert (row.volume.text, row.volume.unit, row.strength) == (rate, "mL/h", strength)
    assert (row.volume_ml, row.amount) == (None, None)
    assert "Made up:" in row.note


def test_a_rate_that_no_pump_sets_is_refused_in_its_own_line() -> None:
    """U10: 0.3 kg: 0.5 mcg/kg/min of 0.1 mg/mL is 0.09 mL/h, under a pump's step."""
    sheet = emergency_sheet("dog", Quantity.of("0.3", "kg"), "scale", load_facts(), None, NOW)
    row = next(p for p in sheet.pumps if p.drug == "phenylephrine")
    assert row.volume is None
    assert row.refusal is not None and "0.09 mL/h" in row.refusal.says


def test_what_this_patient_had_comes_before_everything() -> None:
    """U26: by hand, by pump, from a bag, and before the case; what still runs is to be stopped."""
    log, facts = a_case(), load_facts()
    began = NOW - timedelta(minutes=20)
    log.add(
        GivenBefore, drug="dexmedetomidine", amount=Decimal(60), unit="mcg", route="IM", given_at=began, where="ward"
    )
    log.add(InfusionStarted, infusion="i1", drug="fentanyl", rate_ml_h=Decimal(2), concentration="0.05 mg/mL")
    sheet = emergency_sheet("dog", Quantity.of(12, "kg"), "scale", facts, log.case, NOW)
    first = {d.drug: d.note for d in sheet.drugs[:2]}
    assert set(first) == {"naloxone", "atipamezole"}
    assert "by infusion RUNS" in first["naloxone"]
    assert "60 mcg IM was given before this case" in first["atipamezole"]


def test_what_2024_changed_and_the_way_by_the_trachea_are_on_the_sheet() -> None:
    """U28: RECOVER 2024 as reported by pages that were read; what was not read is said."""
    words = " ".join(emergency_sheet("cat", Quantity.of(4, "kg"), "scale", load_facts(), None, NOW).cautions)
    for expected in (
        "Changed in 2024",
        "high-dose epinephrine dropped",
        "18 mmHg (was 15)",
        "never bicarbonate",
        "(from memory)",
    ):
        assert expected in words, expected
