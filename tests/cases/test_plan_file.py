"""Reading a plan file: each fault is one sentence that names the field and says what would be accepted.

The cases are our own reading of the rules for input (no default, no guess, no ignored key); no outside figure is needed.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from spiracle import refusals
from spiracle.doors.plan_file import read_plan_file

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("[0-9]*.toml"))
GOOD = """
[patient]
species = "dog"
weight = "13.2 kg"
asa = "II"
[[order]]
drug = "methadone"
purpose = "premedication"
route = "IM"
dose = "0.3 mg/kg"
[[order]]
drug = "propofol"
purpose = "induction"
route = "IV"
dose = "2 to 4 mg/kg"
"""

# what is changed in GOOD, the refusal's name, the field it names, and a word its sentence must hold
FAULTS = [
    ('species = "dog"', "", "Missing", "species", "no default"),
    ('species = "dog"', 'species = "rabbit"', "NotOneOf", "species", "dog or cat"),
    ('species = "dog"', 'species = "Dog"', "NotOneOf", "species", "dog or cat"),
    ('weight = "13.2 kg"', "", "Missing", "weight", "kg"),
    ('weight = "13.2 kg"', "weight = 13.2", "NotAQuantity", "weight", "without a unit"),
    ('weight = "13.2 kg"', 'weight = "13.2"', "NotAQuantity", "weight", "no unit"),
    ('weight = "13.2 kg"', 'weight = "13,2 kg"', "NotAQuantity", "weight", "comma"),
    ('weight = "13.2 kg"', "weight = nan", "NotAQuantity", "weight", "without a unit"),
    ('weight = "13.2 kg"', 'weight = "nan kg"', "NotAQuantity", "weight", "not one plain number"),
    ('weight = "13.2 kg"', 'weight = "inf kg"', "NotAQuantity", "weight", "not one plain number"),
    ('weight = "13.2 kg"', 'weight = "-13.2 kg"', "NotAQuantity", "weight", "sign"),
    ('weight = "13.2 kg"', 'weight = "1e1 kg"', "NotAQuantity", "weight", "not one plain number"),
    ('weight = "13.2 kg"', 'weight = ".5 kg"', "NotAQuantity", "weight", "0.5"),
    ('weight = "13.2 kg"', 'weight = "13.2 mL"', "NotAQuantity", "weight", "unit of body weight"),
    ('weight = "13.2 kg"', 'wieght = "13.2 kg"', "Unknown", "patient, wieght", "Did you mean weight?"),
    ('asa = "II"', 'asa = "VI"', "NotOneOf", "asa", "I, II, III, IV or V"),
    ('asa = "II"', "body_condition = 12", "OutOfRange", "body_condition", "1 to 9"),
    ('asa = "II"', "body_condition = 4.5", "NotAQuantity", "body_condition", "whole number"),
    ('asa = "II"', 'method = "guess"', "NotOneOf", "method", "scale, estimated"),
    ('asa = "II"', 'age = "four"', "NotAQuantity", "age", "4 y"),
    ('asa = "II"', 'weighed = "yesterday"', "NotOneOf", "weighed", "2026"),
    ('asa = "II"', 'dosing_weight = "10 kg"', "Missing", "dosing_reason", "reason"),
    ('dose = "0.3 mg/kg"', "", "Missing", "order 1, dose", "mg/kg"),
    ('dose = "0.3 mg/kg"', "dose = 0.3", "NotAQuantity", "order 1, dose", "without a unit"),
    ('dose = "0.3 mg/kg"', 'dose = "0,3 mg/kg"', "NotAQuantity", "order 1, dose", "comma"),
    ('dose = "0.3 mg/kg"', 'dose = "0.3 Mg/kg"', "NotAQuantity", "order 1, dose", "not a unit"),
    ('dose = "0.3 mg/kg"', 'dose = "0.3 mL/cm"', "NotAQuantity", "order 1, dose", "does not measure"),
    ('dose = "0.3 mg/kg"', 'dose = "0 mg/kg"', "OutOfRange", "order 1, dose", "nothing"),
    ('dose = "2 to 4 mg/kg"', 'dose = "4 to 2 mg/kg"', "Contradiction", "order 2, dose", "backwards"),
    ('dose = "2 to 4 mg/kg"', 'dose = "2-4 mg/kg"', "NotAQuantity", "order 2, dose", "dash"),
    ('drug = "methadone"', "", "Missing", "order 1, drug", "Name"),
    ('route = "IM"', 'rout = "IM"', "Unknown", "order 1, rout", "Did you mean route?"),
    ('route = "IM"', 'over_hard_by = "the chief"', "Missing", "order 1, reason", "reason"),
]  # fmt: skip

EXTRA = [
    ("[colour]\nred = 1", "Unknown", "file, colour", "Known here"),
    ('[stock]\ncylinders = "two"', "Unknown", "stock, cylinders", "Did you mean cylinder?"),
    ("[stock.strengths]\nmethadone = 10", "NotOneOf", "stock, strengths, methadone", "10 mg/mL"),
    ('[stock.strengths]\nmethadone = ["10 mg"]', "NotAQuantity", "stock, strengths, methadone", "concentration"),
    ('[[stock.tubes]]\nid = "5 Fr"', "NotAQuantity", "stock, tube 1, id", "French"),
    ('[[stock.tubes]]\nid = "5"', "NotAQuantity", "stock, tube 1, id", "no unit"),
    ('[[stock.tubes]]\nid = "5.0 mm"\nod = "4.0 mm"', "Contradiction", "stock, tube 1, od", "outside"),
    ('[[stock.cylinder]]\ncontents = "680 L"', "Missing", "stock, cylinder 1, full", "bar"),
    ('[[stock.cylinder]]\ncontents = "680 L"\nfull = "137 bar"\ngauge = "85"', "NotAQuantity", "stock, cylinder 1, gauge",
     "no unit"),
    ("[stock]\ncase_minutes = -5", "OutOfRange", "stock, case_minutes", "1 to 1440"),
    ('[stock.parts]\nhose = "1 L"', "Unknown", "stock, parts, hose", "Known here"),
    ('[airway]\ntracheal_diameter = "33 Fr"', "NotAQuantity", "airway, tracheal_diameter", "French"),
    ('[airway]\nincisors_to_thoracic_inlet = "19"', "NotAQuantity", "airway, incisors_to_thoracic_inlet", "no unit"),
    ('[[limit]]\nreading = "map"', "Missing", "limit 1", "below"),
    ('[[limit]]\nreading = "map"\nbelow = "60"', "NotAQuantity", "limit 1, below", "number like 60"),
    ('[[limit]]\nreading = "map"\nbelow = nan', "NotAQuantity", "limit 1, below", "number like 60"),
    ("[broken", "Refusal", "plan file", "is not TOML"),
    ("deep = " + "[" * 5000 + "]" * 5000, "Refusal", "plan file", "brackets within brackets"),
    ("long = " + "9" * 5000, "OutOfRange", "plan file", "too long"),
]  # fmt: skip


@pytest.mark.parametrize(("was", "now", "name", "field", "word"), FAULTS)
def test_a_fault_is_named_by_its_place(was: str, now: str, name: str, field: str, word: str) -> None:
    assert was in GOOD
    with pytest.raises(refusals.Refusal) as caught:
        read_plan_file(GOOD.replace(was, now, 1))
    assert (caught.value.name, caught.value.field) == (name, field)
    assert word in caught.value.sentence


@pytest.mark.parametrize(("text", "name", "field", "word"), EXTRA)
def test_a_fault_in_another_part_is_named_too(text: str, name: str, field: str, word: str) -> None:
    with pytest.raises(refusals.Refusal) as caught:
        read_plan_file(f"{GOOD}\n{text}\n")
    assert (caught.value.name, caught.value.field) == (name, field)
    assert word in caught.value.sentence


def test_a_good_file_keeps_everything_it_said() -> None:
    request = read_plan_file(GOOD).request
    assert (request.patient.species, request.patient.weight.value) == ("dog", Decimal("13.2"))
    first, second = request.orders
    assert (first.field, str(first.high), first.low) == ("order 1", "0.3 mg/kg", first.high)
    assert (str(second.low), str(second.high), second.words) == ("2 mg/kg", "4 mg/kg", "2 to 4 mg/kg")


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("13.2 kg", Decimal("13.2")),
        ("850 g", Decimal("0.85")),
        # 1 lb is 0.45359237 kg exactly: NIST SP 811, appendix B.8
        ("10 lb", Decimal("4.5359237")),
    ],
)
def test_weight_is_read_in_the_three_units(text: str, kg: Decimal) -> None:
    assert read_plan_file(GOOD.replace("13.2 kg", text)).request.patient.weight.number("kg") == kg


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_every_example_is_a_plan_file(path: Path) -> None:
    assert read_plan_file(path.read_text("utf-8"), path.name).request.orders


def test_the_examples_span_the_animals() -> None:
    """A dozen files, 0.6 to 85 kg, both species, one estimated weight."""
    patients = [read_plan_file(p.read_text("utf-8")).request.patient for p in EXAMPLES]
    kilograms = [p.weight.number("kg") for p in patients]
    assert len(patients) == 12
    assert (min(kilograms), max(kilograms)) == (Decimal("0.6"), Decimal(85))
    assert {p.species for p in patients} == {"dog", "cat"}
    assert any(p.estimated for p in patients)
