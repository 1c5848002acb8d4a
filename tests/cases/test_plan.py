"""Whole plans: the example files in, the sheet out, held to the schema, to sums worked by hand and to the house's rules.

`plan_expected/*.toml` hold the sums (arithmetic of the order, the weight, the strength and the marks; made with pencil and
paper, not printed by the code). The rules are those of docs/plan.md.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from spiracle.doors import cli_plan
from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.plan_text import plan_text
from spiracle.doors.tables import load_facts
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.picker import pick_rows
from spiracle.sheets.plan import check, plan
from spiracle.sheets.plan_shapes import Plan, plan_json

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("[0-9]*.toml"))
EXPECTED = sorted((Path(__file__).parent / "plan_expected").glob("[0-9]*.toml"))
SCHEMA = json.loads((ROOT / "src/spiracle/doors/plan.schema.json").read_text("utf-8"))
NOW = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)
GOOD = """
[patient]
species = "dog"
weight = "12 kg"
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
[stock.strengths]
methadone = ["10 mg/mL"]
propofol = ["10 mg/mL"]
"""


def plan_of(text: str) -> Plan:
    file = read_plan_file(text)
    facts = load_facts()
    check(file.request, facts, last_weight=file.last_weight, weight_confirmed=file.weight_confirmed)
    return plan(file.request, facts, NOW)


def as_json(made: Plan) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(plan_json(made))
    return found


def command(path: Path, form: str = "text", working: bool = False) -> int:
    return cli_plan.plan(
        argparse.Namespace(file=str(path), format=form, output=None, working=working, hospital=None, paper="a4")
    )


# ---- the examples


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_the_json_keeps_to_its_schema(path: Path) -> None:
    found = as_json(plan_of(path.read_text("utf-8")))
    jsonschema.Draft202012Validator(SCHEMA, format_checker=jsonschema.FormatChecker()).validate(found)
    assert list(found) == ["patient", "drugs", "airway", "breathing", "fluids", "limits", "emergency", "cautions"]


def test_the_schema_refuses_what_is_not_a_plan() -> None:
    """The schema is closed: an unknown key and a missing one both fail, so that holding to it means something."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    good = as_json(plan_of(GOOD))
    for spoil in ({**good, "extra": 1}, {k: v for k, v in good.items() if k != "emergency"}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(SCHEMA).validate(spoil)


@pytest.mark.parametrize("path", EXPECTED, ids=lambda p: p.stem)
def test_the_sums_worked_by_hand(path: Path) -> None:
    made = plan_of((ROOT / "examples" / path.name).read_text("utf-8"))
    rows = tomllib.loads(path.read_text("utf-8"), parse_float=Decimal)["order"]
    assert [d.drug for d in made.drugs] == [r["drug"] for r in rows]
    for drug, row in zip(made.drugs, rows, strict=True):
        number, unit = row["amount"].split(" ", 1)
        assert drug.amount is not None
        assert (drug.amount.value, drug.amount.unit) == (Decimal(number), unit)
        for name in ("volume", "delivered", "rate"):
            if name in row:
                found = getattr(drug, name)
                assert (found.value, found.unit) == (Decimal(row[name].split()[0]), row[name].split()[1])
        if "error" in row:
            assert drug.error_percent == Decimal(row["error"])
        assert (drug.dilution is not None) == row.get("diluted", False)
        assert (drug.refused.name if drug.refused else None) == row.get("refused")


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
@pytest.mark.parametrize("working", [False, True])
def test_the_text_fits_a_terminal_and_has_cautions_first_and_last(path: Path, working: bool) -> None:
    made = plan_of(path.read_text("utf-8"))
    text = plan_text(made, working)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    flat = " ".join(text.split())
    for caution in STANDING:
        assert flat.index(caution) < flat.index("DRUGS") < flat.rindex(caution)
    for drug in made.drugs:
        assert drug.name.upper() in text
    assert ("source:" in text) == working


def test_the_same_file_gives_the_same_plan() -> None:
    assert plan_json(plan_of(GOOD)) == plan_json(plan_of(GOOD))


# ---- refused as a whole


WHOLE = [
    # a rabbit's drug list is not ours; a misspelt drug; a drug that has no row for a cat
    ('drug = "methadone"', 'drug = "methadoen"', "order 1, drug", "methadone"),
    ('species = "dog"\nweight = "12 kg"', 'species = "cat"\nweight = "120 kg"', "weight", "kg"),
    ('weight = "12 kg"', 'weight = "0.05 kg"', "weight", "kg"),
    ('weight = "12 kg"', 'breed = "Chihuahua"\nweight = "12 kg"', "weight", "kg"),
    ('weight = "12 kg"', 'weight = "12 kg"\nlast_weight = "5.4 kg"', "weight", "5.4"),
    ('dose = "0.3 mg/kg"', 'dose = "3 mg/kg"', "order 1, dose", "usual"),
    ('dose = "2 to 4 mg/kg"', 'dose = "40 mg/kg"', "order 2, dose", "usual"),
    ('dose = "0.3 mg/kg"', 'dose = "0.3 IU/kg"', "order 1, dose", "mg/kg"),
    ('route = "IM"', 'route = "by dart"', "order 1, route", "IM"),
    ('purpose = "induction"', 'purpose = "lullaby"', "order 2, purpose", "induction"),
    ('asa = "II"', 'conditions = ["brachicephalic"]', "condition", "brachycephalic"),
    ('methadone = ["10 mg/mL"]', 'methadoen = ["10 mg/mL"]', "drug", "methadone"),
]


@pytest.mark.parametrize(("was", "now", "field", "word"), WHOLE)
def test_an_input_that_cannot_be_meant_refuses_the_whole_file(
    was: str, now: str, field: str, word: str, tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert was in GOOD
    path = tmp_path / "plan.toml"
    path.write_text(GOOD.replace(was, now, 1), "utf-8")
    assert command(path) == 1
    out, err = (stream.decode() for stream in capsysbinary.readouterr())
    assert out == "", "nothing is computed from it"
    assert err.count("\n") == 1
    assert field in err.split(":")[0]
    assert word in err


def test_a_drug_that_is_never_given_to_this_species_refuses_the_file(
    tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    """Lidocaine by infusion in cats: Pypendop and Ilkiw 2005 found worse oxygen delivery; our tables keep a zero row."""
    path = tmp_path / "plan.toml"
    path.write_text(
        '[patient]\nspecies = "cat"\nweight = "4 kg"\n[[order]]\ndrug = "lidocaine"\npurpose = "analgesia"\n'
        'route = "IV"\ndose = "50 mcg/kg/min"\n',
        "utf-8",
    )
    assert command(path) == 1
    assert b"order 1" in capsysbinary.readouterr().err


def test_a_missing_file_is_one_sentence(tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert command(tmp_path / "none.toml") == 1
    assert capsysbinary.readouterr().err.count(b"\n") == 1


# ---- refused inside one drug's entry


def test_two_strengths_on_the_shelf_give_no_volume_and_the_others_go_on() -> None:
    first, second = plan_of(GOOD.replace('methadone = ["10 mg/mL"]', 'methadone = ["10 mg/mL", "1 mg/mL"]')).drugs
    assert first.refused is not None
    assert first.refused.name == "Missing"
    assert (first.volume, first.delivered, first.syringe) == (None, None, None)
    assert first.amount is not None
    assert second.volume is not None


def test_the_vial_named_in_the_order_settles_it() -> None:
    text = GOOD.replace('methadone = ["10 mg/mL"]', 'methadone = ["10 mg/mL", "1 mg/mL"]')
    first, _ = plan_of(text.replace('dose = "0.3 mg/kg"', 'dose = "0.3 mg/kg"\nconcentration = "10 mg/mL"')).drugs
    # 0.3 mg/kg x 12 kg = 3.6 mg = 0.36 mL of 10 mg/mL
    assert first.refused is None
    assert first.volume is not None
    assert first.volume.value == Decimal("0.36")


def test_over_the_hard_stop_is_forbidden_and_has_no_volume() -> None:
    """Methadone in dogs: 1 mg/kg is the top of the label (NOAH compendium text of methadone), and our hard stop."""
    first, second = plan_of(GOOD.replace('dose = "0.3 mg/kg"', 'dose = "1.1 mg/kg"')).drugs
    assert first.zone == "forbidden"
    assert (first.volume, first.amount) == (None, None)
    assert first.refused is not None
    assert first.refused.name == "OverLimit"
    assert "1 mg/kg" in first.refused.says
    assert second.volume is not None


def test_a_veterinarians_word_carries_it_and_stays_visible() -> None:
    said = 'dose = "1.1 mg/kg"\nover_hard_by = "the duty veterinarian"\nreason = "burns, no answer to less"'
    first, _ = plan_of(GOOD.replace('dose = "0.3 mg/kg"', said)).drugs
    assert first.zone == "forbidden"
    assert first.volume is not None
    assert any("the duty veterinarian" in c.text and "burns" in c.text for c in first.cautions)


def test_a_condition_that_stops_a_drug_gives_no_volume() -> None:
    """U14: acepromazine with low volume: every label of its injection excludes it (UK text, NOAH compendium)."""
    text = GOOD.replace('asa = "II"', 'asa = "IV"\nconditions = ["hypovolaemia"]')
    text = text.replace('drug = "methadone"', 'drug = "acepromazine"').replace('"0.3 mg/kg"', '"0.02 mg/kg"')
    first, second = plan_of(text + 'acepromazine = ["2 mg/mL"]\n').drugs
    assert first.refused is not None
    assert first.refused.name == "OverLimit"
    assert first.volume is None
    assert second.volume is not None


def test_an_estimated_weight_marks_every_figure_made_from_it() -> None:
    """U7: to the last line."""
    made = plan_of(GOOD.replace('weight = "12 kg"', 'weight = "12 kg"\nmethod = "estimated"'))
    assert made.patient.estimated
    assert all(a.estimated for d in made.drugs for a in (d.amount, d.volume, d.delivered) if a is not None)
    assert made.emergency.weight.estimated
    assert any("estimated" in c.text for c in made.cautions if c.kind == "plan")


def test_a_strength_of_our_own_list_says_so() -> None:
    bare = GOOD[: GOOD.index("[stock.strengths]")]
    first = plan_of(bare).drugs[0]
    assert first.volume is not None
    assert any("not from your shelf" in c.text for c in first.cautions)


# ---- the picker


@pytest.mark.parametrize("species", ["dog", "cat"])
def test_the_picker_offers_no_trap(species: str) -> None:
    rows = pick_rows(species, load_facts())
    assert rows
    never = {r.id for r in load_facts().drugs.all_rows() if r.pick == "never"}
    assert not never & {r.row for r in rows}
    assert [r.default for r in rows] == sorted((r.default for r in rows), reverse=True), "default rows first"
    assert all(r.hard is None or r.high <= r.hard for r in rows)
