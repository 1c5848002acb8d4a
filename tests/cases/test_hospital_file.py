"""A hospital's own file is refused when it is read, by its row, where a figure in it would stop every case."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import msgspec
import pytest

from small_house import HOUSE, house
from spiracle.case.hospital import MachineAtHand
from spiracle.case.machines import reading_order
from spiracle.doors.demo import hospital_path
from spiracle.doors.tables import load_facts
from spiracle.refusals import BadTable

TUBE = '[[tubes]]\nid = "5.0 mm"\nod = "6.8 mm"\nlength = "240 mm"\ntip_to_cuff_top = "35 mm"\ncuff_length = "24 mm"\nside_hole = "10 mm"\n'
GAS = '[[cylinders]]\nname = "E"\ncontents = "680 L"\nfull = "137 bar"\n'
PART = '[[parts]]\nname = "elbow"\nvolume = "2 mL"\n'
BOTTLE = '[[agent_bottles]]\nagent = "isoflurane"\nbottle = "250 mL"\nprice = 40\ncurrency = "EUR"\n'
OWN = '[[machine_figures]]\nname = "M1"\nvolume = "1.8 L"\nwall_ml_cmh2o = 1.2\n'
BAG = '[[bags]]\nfluid = "isotonic_crystalloid"\nvolumes = ["250 mL"]\n'
DRUG = '[[drugs]]\ndrug = "carprofen"\nstrengths = ["50 mg/mL"]\n'
TOP = 'circuits = ["T-piece", "circle"]\nbreathing_bags = [500, 1000]\nbarrels = ["1 mL"]\ndrop_sets = [20]\nattempt_limit = 2\n'
ROWS = TUBE + GAS + PART + BOTTLE + OWN + BAG + DRUG


def read(folder: Path, text: str) -> None:
    file = folder / "ours.toml"
    file.write_text('name = "Ours"\n' + text, "utf-8")
    load_facts.__wrapped__(file)


def test_a_file_whose_figures_can_be_used_starts(tmp_path: Path) -> None:
    read(tmp_path, TOP + ROWS)
    read(tmp_path, '[[tubes]]\nid = "2.5 mm"\ncuffed = false\nside_hole = "0 mm"\n')
    for file in (HOUSE, hospital_path()):
        assert load_facts(file).hospital.people


@pytest.mark.parametrize(
    ("is_", "was", "says"),
    [
        ('id = "14 Fr"', 'id = "5.0 mm"', "tubes, row 1 ('14 Fr'): id: French gauge"),
        ('id = "3.5"', 'id = "5.0 mm"', "tubes, row 1 ('3.5'): id"),
        ('id = "0.5 cm"', 'id = "5.0 mm"', "tubes, row 1 ('0.5 cm'): id"),
        ('id = "50 mm"', 'id = "5.0 mm"', "id: 50 mm is beyond any tube"),
        ('od = "4.9 mm"', 'od = "6.8 mm"', "od: 4.9 mm is not the outside of a tube of 5 mm inside"),
        ('od = "68 mm"', 'od = "6.8 mm"', "od: 68 mm is not the outside"),
        ('od = "6.8"', 'od = "6.8 mm"', "od: '6.8'"),
        ('length = "2000 cm"', 'length = "240 mm"', "length: 20,000 mm is not the length of a tube"),
        ('length = "24 mm"', 'length = "240 mm"', "length: 24 mm is not the length of a tube"),
        ('tip_to_cuff_top = "350 mm"', 'tip_to_cuff_top = "35 mm"', "does not lie on the tube"),
        ('cuff_length = "240 mm"', 'cuff_length = "24 mm"', "cuff length: 240 mm does not lie on the tube"),
        ('cuff_length = "36 mm"', 'cuff_length = "24 mm"', "does not end before the tip"),
        ('side_hole = "20 mm"', 'side_hole = "10 mm"', "under the cuff"),
        ('side_hole = "10 kg"', 'side_hole = "10 mm"', "side_hole: kg does not measure"),
        ('id = "9.9 mm"\nlength', 'id = "5.0 mm"\nod = "6.8 mm"\nlength', "outside diameter: is not known"),
        ('contents = "680"', 'contents = "680 L"', "cylinders, E: oxygen, printed contents"),
        ('contents = "6.8 L"', 'contents = "680 L"', "not an oxygen cylinder's contents"),
        ('full = "137 mmHg"', 'full = "137 bar"', "cylinders, E: oxygen, printed full pressure"),
        ('full = ""', 'full = "137 bar"', "no cylinder is assumed"),
        ('volume = "2"', 'volume = "2 mL"', "parts, elbow: volume"),
        ('volume = "0 mL"', 'volume = "2 mL"', "parts, elbow: volume: 0 mL is nothing"),
        ('bottle = "250"', 'bottle = "250 mL"', "agent_bottles, isoflurane: bottle"),
        ('bottle = "0 mL"', 'bottle = "250 mL"', "agent_bottles, isoflurane: price, bottle"),
        ("price = 0", "price = 40", "price, amount"),
        ('currency = " "', 'currency = "EUR"', "price, currency"),
        ('agent = "ether"', 'agent = "isoflurane"', "agent_bottles, ether: agent"),
        ('volume = "1.8 mL"', 'volume = "1.8 L"', "machine_figures, M1: volume: 1.8 mL is not a breathing system's"),
        ("wall_ml_cmh2o = 0", "wall_ml_cmh2o = 1.2", "machine_figures, M1: wall_ml_cmh2o: 0 mL/cmH2O"),
        (OWN + OWN, OWN, "it stands twice"),
        ('circuits = ["magic tube"]', 'circuits = ["T-piece", "circle"]', "circuits: breathing system: 'magic tube'"),
        ("breathing_bags = [0]", "breathing_bags = [500, 1000]", "breathing_bags: 0 mL is no breathing bag"),
        ("breathing_bags = [2]", "breathing_bags = [500, 1000]", "breathing_bags: 2 mL is no breathing bag"),
        ("breathing_bags = [50000]", "breathing_bags = [500, 1000]", "breathing_bags: 50000 mL"),
        ('barrels = ["a big one"]', 'barrels = ["1 mL"]', "barrels: syringe: 'a big one'"),
        ("drop_sets = [0]", "drop_sets = [20]", "drop_sets: 0 is nothing"),
        ("attempt_limit = 0", "attempt_limit = 2", "attempt_limit: 0 is nothing"),
        ('volumes = ["250"]', 'volumes = ["250 mL"]', "bags, isotonic_crystalloid: volumes"),
        ('strengths = ["50 mL"]', 'strengths = ["50 mg/mL"]', "drugs, carprofen: strength"),
        ('drug = "nonsense"', 'drug = "carprofen"', "drugs, nonsense: drug"),
    ],
)
def test_a_figure_that_no_case_could_use_does_not_start(tmp_path: Path, is_: str, was: str, says: str) -> None:
    """One tube of 14 Fr would stop every case; the file is refused with the row instead."""
    text = TOP + ROWS
    assert text.count(was) == 1 or was == OWN
    with pytest.raises(BadTable) as refused:
        read(tmp_path, text.replace(was, is_))
    assert (refused.value.field, says in refused.value.says) == ("ours.toml", True), refused.value.says
    assert refused.value.accepts


def test_a_machine_without_a_ventilator_is_not_asked_about_it_every_day(tmp_path: Path) -> None:
    """A19: what is not fitted is said once in the hospital's file; the valve and the leak can never be left out."""
    own = MachineAtHand(name="M1", without=("ventilator",))
    facts = replace(house(), hospital=msgspec.structs.replace(house().hospital, machine_figures=(own,)))
    read_today = [row.line for row in reading_order(facts, date(2026, 5, 4), "M1")]
    assert "ventilator" not in read_today and read_today[-1] == "valve-open"
    assert "ventilator" in [row.line for row in reading_order(facts, date(2026, 5, 4), "M2")]
    read(tmp_path, ROWS.replace('volume = "1.8 L"', 'volume = "1.8 L"\nwithout = ["ventilator"]', 1))
    for never in ("valve-open", "leak", "nothing"):
        with pytest.raises(BadTable, match="without"):
            read(tmp_path, ROWS.replace('volume = "1.8 L"', f'volume = "1.8 L"\nwithout = ["{never}"]', 1))
