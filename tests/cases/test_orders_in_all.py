"""Orders written in all (mg, mcg) and not per kg: the plan line stands, its bar in the limits' own unit."""

from __future__ import annotations

import pytest

from small_house import Telling
from spiracle.doors.pdf import plan_pdf
from spiracle.sheets.case_view import case_view
from spiracle.sheets.plan_sheet import plan_of_case


@pytest.mark.parametrize(
    ("drug", "purpose", "route", "dose", "unit", "per_kg", "ml"),
    [
        ("methadone", "premedication", "IM", "4", "mg/animal", 0.2, "0.4"),  # 4 mg / 20 kg; 4 mg / 10 mg/mL
        ("propofol", "induction", "IV", "60", "mg", 3.0, "6"),  # 60 mg / 20 kg; 60 mg / 10 mg/mL
        ("atipamezole", "reversal", "IM", "0.5", "mg", 0.025, "0.1"),  # 0.5 mg / 20 kg; 0.5 mg / 5 mg/mL
        ("fentanyl", "analgesia", "IV", "40", "mcg", 2.0, "0.8"),  # 40 mcg / 20 kg; 40 mcg / 50 mcg/mL
    ],
)
def test_a_total_is_held_per_kg_and_never_taken_for_one(
    drug: str, purpose: str, route: str, dose: str, unit: str, per_kg: float, ml: str
) -> None:
    """U2: a total stays a total; on the bar it stands as what it is for this weight. Sums by hand for 20 kg."""
    told = Telling(kg="20")
    told.order("o1", drug, purpose, route, dose, dose, unit)
    (line,) = case_view(told.case, 1, told.facts, told.now).plan.lines
    assert line.bar is not None
    assert line.bar.at == per_kg
    assert line.volume is not None
    assert line.volume.text == ml
    assert plan_pdf(plan_of_case(told.case, told.facts, told.now), told.facts, "a4", told.now).startswith(b"%PDF")
