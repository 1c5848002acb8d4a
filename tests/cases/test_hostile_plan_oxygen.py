"""Oxygen and gas of a plan: one slip takes only its own line away, and a unit or size that cannot be is refused by name.

680 L at 137 bar (Boyle): 68.5 bar is 340 L; the reserve of 500 psi is 34.47 bar, 171.1 L. Sums by hand beside the check.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.tables import load_facts
from spiracle.refusals import NotAQuantity, OutOfRange
from spiracle.sheets.plan import check, plan
from spiracle.sheets.plan_shapes import BreathingPart

THEN = datetime(2026, 3, 12, 9, 0, tzinfo=UTC)
DOG = """
[patient]
species = "dog"
weight = "30 kg"
body_condition = 5
"""
CYLINDER = """
[stock]
case_minutes = 60
[[stock.cylinder]]
contents = "680 L"
full = "137 bar"
gauge = "68.5 bar"
"""
ISO = '[gas]\nagent = "isoflurane"\ndial = "2 %"\n'


def part(text: str) -> BreathingPart:
    return plan(read_plan_file(text).request, load_facts(), THEN).breathing


def fields(made: BreathingPart) -> list[str]:
    return [r.field for r in made.refused]


def test_a_ventilator_whose_drive_nobody_gave_is_no_verdict() -> None:
    """A10: 30 kg at 200 mL/kg/min is 6 L/min of drive (from memory) over the highest fresh gas: (340 - 171.1) / both."""
    made = part(DOG + CYLINDER + "[gas]\nventilated = true\n")
    assert made.oxygen_enough is None
    flow = max(float(a.value) for a in made.fresh_gas.values())
    (said,) = [n for n in made.notes if "Drive gas of the ventilator is not counted" in n]
    assert "6 L/min (from memory)" in said and f"then {int((340 - 171.1) / (flow + 6))} min to the reserve" in said
    assert part(
        DOG + CYLINDER + '[oxygen]\nsource = "cylinder"\ndrive_gas = "0 L/min"\n[gas]\nventilated = true\n'
    ).oxygen_enough


def test_a_dial_that_cannot_be_takes_only_the_agent_away() -> None:
    made = part(DOG + CYLINDER + ISO.replace("2 %", "8 %"))
    assert made.circuit and made.fresh_gas and made.bag is not None and made.oxygen_minutes is not None
    assert len(made.refused) == 1 and "8 %" in made.refused[0].says
    assert made.waste and all(a.dial.text.startswith("1") for a in made.agent)


def test_a_gauge_that_cannot_be_takes_only_the_oxygen_away() -> None:
    made = part(DOG + CYLINDER.replace("68.5 bar", "1000 bar") + ISO)
    assert made.circuit and made.fresh_gas and made.bag is not None and made.agent
    assert made.oxygen_minutes is None and fields(made) == ["oxygen, gauge"]
    both = part(DOG + CYLINDER.replace("68.5 bar", "1000 bar") + ISO.replace("2 %", "8 %"))
    assert both.circuit and len(both.refused) == 2


@pytest.mark.parametrize(
    ("text", "fault", "field"),
    [
        (CYLINDER.replace("68.5 bar", "85 mmHg"), NotAQuantity, "stock, cylinder 1, gauge"),
        (CYLINDER.replace("137 bar", "1370 cmH2O"), NotAQuantity, "stock, cylinder 1, full"),
        ('[gas]\ncircuit_volume = "5 mL"\n', OutOfRange, "gas, circuit_volume"),
        ('[gas]\nagent = "isoflurane"\ndial = "25 %"\n', OutOfRange, "gas, dial"),
        ('[[stock.bottle]]\nagent = "isoflurane"\nbottle = "250 L"\nprice = 40\ncurrency = "EUR"\n', OutOfRange,
         "stock, bottle 1, bottle"),
        ('[oxygen]\nsource = "cylinder"\ndrive_gas = "300 L/min"\n', OutOfRange, "oxygen, drive_gas"),
        ('[oxygen]\nsource = "concentrator"\nmax_flow = "60 L/min"\npercent = "93 %"\n', OutOfRange, "oxygen, max_flow"),
    ],
)  # fmt: skip
def test_a_unit_or_a_size_that_cannot_be_is_refused(text: str, fault: type[Exception], field: str) -> None:
    with pytest.raises(fault) as caught:
        check(read_plan_file(DOG + text).request, load_facts())
    assert getattr(caught.value, "field", "") == field


def test_a_cylinder_beside_a_pipeline_stands_by_and_gives_no_verdict() -> None:
    made = part(DOG + CYLINDER + '[oxygen]\nsource = "pipeline"\n')
    assert made.oxygen_minutes is not None and made.oxygen_enough is None
    words = " ".join(made.notes)
    assert "no minutes are shown" not in words and "Those shown are of the cylinder that stands by" in words
    assert "the case is planned" not in words
    alone = " ".join(part(DOG + '[oxygen]\nsource = "pipeline"\n').notes)
    assert "no minutes are shown" in alone


def test_a_ventilator_on_a_concentrator_is_said_in_the_plan() -> None:
    told = '[oxygen]\nsource = "concentrator"\nmax_flow = "10 L/min"\npercent = "93 %"\n{}[gas]\nventilated = true\n'
    assert any("does not drive a bellows" in n for n in part(DOG + told.format("")).notes)
    assert not any("bellows" in n for n in part(DOG + told.format('drive_gas = "0 L/min"\n')).notes)
