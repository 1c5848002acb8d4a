"""Whole plans: the example files in, the sheet out, held to the schema, to sums worked by hand and to the house's rules.

`plan_expected/*.toml` hold the sums (arithmetic of the order, the weight, the strength and the marks; made with pencil and
paper, not printed by the code). The rules are those of docs/plan.md.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from spiracle.case.events import (
    CaseOpened,
    DosingWeightSet,
    DrugGiven,
    DrugOrdered,
    Entry,
    Event,
    OxygenRead,
    PatientDescribed,
    SheetPrinted,
    SyringeDrawn,
    Weighed,
)
from spiracle.case.fold import Case, fold
from spiracle.doors import cli_plan
from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.plan_text import plan_text
from spiracle.doors.tables import load_facts
from spiracle.quantity import Quantity
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.emergency_sheet import emergency_sheet
from spiracle.sheets.picker import pick_rows
from spiracle.sheets.plan import check, plan
from spiracle.sheets.plan_shapes import Plan, plan_json
from spiracle.sheets.plan_sheet import plan_sheet, request_of

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
EXPECTED = sorted((Path(__file__).parent / "plan_expected").glob("*.toml"))
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
    """Acepromazine with low volume: the label of every acepromazine injection excludes it (UK text, NOAH compendium)."""
    text = GOOD.replace('asa = "II"', 'asa = "IV"\nconditions = ["hypovolaemia"]')
    text = text.replace('drug = "methadone"', 'drug = "acepromazine"').replace('"0.3 mg/kg"', '"0.02 mg/kg"')
    first, second = plan_of(text + 'acepromazine = ["2 mg/mL"]\n').drugs
    assert first.refused is not None
    assert first.refused.name == "OverLimit"
    assert first.volume is None
    assert second.volume is not None


def test_an_estimated_weight_marks_every_figure_made_from_it() -> None:
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


# ---- a stored case: the same work


class Log:
    """A log being written: one event a minute, ids by number."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def add(self, kind: type[Event], **fields: Any) -> None:
        at = NOW - timedelta(hours=1) + timedelta(minutes=len(self.entries))
        event = kind(id=f"e{len(self.entries)}", case="c", happened_at=at, recorded_at=at, by="mk", **fields)
        self.entries.append(Entry(len(self.entries) + 1, at, event))

    @property
    def case(self) -> Case:
        return fold(self.entries)


def a_case(weight: str | None = "12") -> Log:
    log = Log()
    log.add(CaseOpened, species="dog", name="Hedda")
    log.add(PatientDescribed, breed="mixed breed", age="4 y")
    if weight is not None:
        log.add(Weighed, weight_kg=Decimal(weight), method="scale")
    log.add(DrugOrdered, order="o1", drug="methadone", purpose="premedication", route="IM", low=Decimal("0.3"),
            high=Decimal("0.3"), unit="mg/kg", concentration="10 mg/mL")  # fmt: skip
    log.add(DrugOrdered, order="o2", drug="propofol", purpose="induction", route="IV", low=Decimal(2), high=Decimal(4),
            unit="mg/kg", concentration="10 mg/mL")  # fmt: skip
    return log


def test_a_case_and_a_file_with_the_same_content_give_the_same_syringes() -> None:
    sheet = plan_sheet(a_case().case, load_facts(), NOW)
    made = plan_of(GOOD)
    for line, drug in zip(sheet.lines, made.drugs, strict=True):
        assert line.volume is not None
        assert drug.volume is not None
        assert Decimal(line.volume.text) == drug.volume.value
        assert (line.drug, line.barrel) == (drug.drug, drug.syringe.name if drug.syringe else "")


def test_a_case_without_a_weight_has_orders_and_no_volume() -> None:
    sheet = plan_sheet(a_case(weight=None).case, load_facts(), NOW)
    assert [line.order_text for line in sheet.lines] == ["0.3 mg/kg", "2 to 4 mg/kg"]
    assert all(line.volume is None and line.refusal is not None for line in sheet.lines)


def test_a_dosing_weight_is_used_and_named() -> None:
    log = a_case()
    log.add(DosingWeightSet, weight_kg=Decimal(10), reason="lean weight")
    sheet = plan_sheet(log.case, load_facts(), NOW)
    assert sheet.lines[0].amount is not None
    assert sheet.lines[0].amount.text == "3"  # 0.3 mg/kg x 10 kg
    assert "lean weight" in sheet.weight_basis


def test_the_vial_picked_up_settles_the_strength() -> None:
    log = a_case()
    log.add(DrugOrdered, order="o3", drug="midazolam", purpose="co-induction", route="IV", low=Decimal("0.2"),
            high=Decimal("0.2"), unit="mg/kg")  # fmt: skip
    before = plan_sheet(log.case, load_facts(), NOW).lines[2]
    log.add(SyringeDrawn, syringe="s1", order="o3", drug="midazolam", vial_concentration="5 mg/mL",
            concentration="5 mg/mL", volume_ml=Decimal("0.48"), drug_volume_ml=Decimal("0.48"))  # fmt: skip
    after = plan_sheet(log.case, load_facts(), NOW).lines[2]
    assert before.refusal is not None
    assert before.volume is None
    assert after.volume is not None
    assert after.volume.text == "0.48"  # 0.2 mg/kg x 12 kg / 5 mg/mL


def test_a_ladder_has_every_mark_and_none_over_the_order_unmarked() -> None:
    line = plan_sheet(a_case().case, load_facts(), NOW).lines[0]
    assert line.ladder is not None
    marks = [r.ml for r in line.ladder.rungs]
    assert marks == sorted(marks)
    assert line.volume_ml in marks
    # 3.6 mg was ordered; each mL holds 10 mg
    assert all(r.over_order == (r.ml > 0.36) for r in line.ladder.rungs)


def test_oxygen_read_on_the_case_gives_minutes() -> None:
    log = a_case()
    without = plan_sheet(log.case, load_facts(), NOW).breathing
    log.add(OxygenRead, source="cylinder", contents_l=Decimal(680), full_pressure="137 bar", gauge="68.5 bar")
    breathing = plan_sheet(log.case, load_facts(), NOW).breathing
    assert without is not None
    assert without.oxygen_minutes is None
    assert breathing is not None
    assert breathing.oxygen_litres is not None
    assert breathing.oxygen_litres.text == "340"  # half of 680 L, Boyle


def test_the_request_of_a_case_does_not_depend_on_the_order_of_arrival() -> None:
    log = a_case()
    assert request_of(fold(reversed(log.entries)), load_facts(), NOW) == request_of(log.case, load_facts(), NOW)


# ---- the emergency sheet


def test_the_sheet_id_follows_the_content() -> None:
    facts = load_facts()
    one = emergency_sheet("dog", Quantity.of("12.4", "kg"), "scale", facts, None, NOW)
    again = emergency_sheet("dog", Quantity.of("12.40", "kg"), "scale", facts, None, NOW + timedelta(hours=1))
    other = emergency_sheet("dog", Quantity.of("12.6", "kg"), "scale", facts, None, NOW)
    guessed = emergency_sheet("dog", Quantity.of("12.4", "kg"), "estimated", facts, None, NOW)
    assert one.sheet_id == again.sheet_id
    assert len({one.sheet_id, other.sheet_id, guessed.sheet_id}) == 3


def test_a_change_of_weight_voids_the_print() -> None:
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


# ---- the picker


@pytest.mark.parametrize("species", ["dog", "cat"])
def test_the_picker_offers_no_trap(species: str) -> None:
    rows = pick_rows(species, load_facts())
    assert rows
    never = {r.id for r in load_facts().drugs.all_rows() if r.pick == "never"}
    assert not never & {r.row for r in rows}
    assert [r.default for r in rows] == sorted((r.default for r in rows), reverse=True), "default rows first"
    assert all(r.hard is None or r.high <= r.hard for r in rows)
