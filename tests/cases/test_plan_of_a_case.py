"""The plan of a stored case: the same work as for a plan file, from the case's live events."""

from __future__ import annotations

from decimal import Decimal

from case_log import NOW, a_case

from spiracle.case.events import DosingWeightSet, DrugOrdered, OxygenRead, ResultNoted, SyringeDrawn
from spiracle.case.fold import fold
from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.tables import load_facts
from spiracle.sheets.plan import plan
from spiracle.sheets.plan_sheet import plan_of_case, plan_sheet, request_of

FILE = """
[patient]
species = "dog"
weight = "12 kg"
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


def test_a_case_and_a_file_with_the_same_content_give_the_same_syringes() -> None:
    sheet = plan_sheet(a_case().case, load_facts(), NOW)
    made = plan(read_plan_file(FILE).request, load_facts(), NOW)
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
    """U8: the veterinarian's, beside the scale's."""
    log = a_case()
    log.add(DosingWeightSet, weight_kg=Decimal(10), reason="lean weight")
    sheet = plan_sheet(log.case, load_facts(), NOW)
    assert sheet.lines[0].amount is not None
    assert sheet.lines[0].amount.text == "3"  # 0.3 mg/kg x 10 kg
    assert "lean weight" in sheet.weight_basis


def test_the_vial_picked_up_settles_the_strength() -> None:
    """U9: the volume follows the vial in the hand."""
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


def test_an_order_that_cannot_be_read_stays_in_sight() -> None:
    """Whatever stands in the log, the page is drawn: the line carries the reason and no volume."""
    log = a_case()
    log.add(DrugOrdered, order="o3", drug="methadone", purpose="analgesia", route="IV", low=Decimal(1), high=Decimal(1),
            unit="smidgen")  # fmt: skip
    log.add(DrugOrdered, order="o4", drug="unobtainium", purpose="analgesia", route="IV", low=Decimal(1),
            high=Decimal(1), unit="mg/kg")  # fmt: skip
    lines = {line.order: line for line in plan_sheet(log.case, load_facts(), NOW).lines}
    assert set(lines) == {"o1", "o2", "o3", "o4"}
    for order in ("o3", "o4"):
        refusal = lines[order].refusal
        assert refusal is not None
        assert refusal.name == "Unknown"
        assert lines[order].volume is None
    printed = plan_of_case(log.case, load_facts(), NOW)
    assert [d.drug for d in printed.drugs] == ["methadone", "propofol", "unobtainium"]
    assert any("smidgen" in c.text for c in printed.cautions)


def test_the_blood_that_may_be_lost_needs_a_packed_cell_volume() -> None:
    log = a_case()
    without = plan_sheet(log.case, load_facts(), NOW).fluids
    log.add(ResultNoted, test="PCV", value="40", unit="%")
    told = plan_sheet(log.case, load_facts(), NOW).fluids
    assert without is not None
    assert without.allowable_loss is None
    assert any("packed cell volume" in n for n in without.notes)
    assert told is not None
    assert told.allowable_loss is not None
    assert told.allowable_loss.estimated
