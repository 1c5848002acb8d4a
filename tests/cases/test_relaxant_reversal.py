"""What undoes a muscle relaxant stands on the emergency sheet only where one is on board. Carries U26.

Doses: sugammadex 2.9 to 5.5 mg/kg in dogs (sugam_dog), 5 mg/kg in cats (sugam_cat); neostigmine 0.04 mg/kg in dogs (romano2017),
in cats from memory.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from small_house import Telling, d, house
from spiracle.case import events as ev
from spiracle.quantity import Quantity
from spiracle.sheets.case_view import case_view


def reversals(species: str, kg: str, had: set[str]) -> dict[str, Quantity | None]:
    plan = house().emergency.plan(species, Decimal(kg), estimated=False, on_board=had, strengths={})
    return {i.drug: i.amount.value for i in plan.items if i.group == "reversal"}


@pytest.mark.parametrize(
    ("species", "kg", "had", "drug", "mg"),
    [
        ("dog", "10", "rocuronium", "sugammadex", "40"),
        ("cat", "4", "vecuronium", "sugammadex", "20"),
        ("dog", "10", "atracurium", "neostigmine", "0.4"),
        ("cat", "4", "cisatracurium", "neostigmine", "0.16"),
    ],
)
def test_the_relaxant_on_board_has_its_reversal(species: str, kg: str, had: str, drug: str, mg: str) -> None:
    """U26: amounts worked by hand; none of it stands on the sheet of an animal that had no relaxant."""
    found = reversals(species, kg, {had})[drug]
    assert found is not None and found.number("mg") == Decimal(mg)
    assert drug not in reversals(species, kg, set()) and drug not in reversals(species, kg, {"methadone"})


def test_a_relaxant_that_was_given_brings_it_to_the_front() -> None:
    """U26: from the log, not from the plan."""
    t = Telling()
    t.tell(ev.DrugGiven, by="vet", said_by="vet", reason="eye surgery", drug="rocuronium", amount=d("5"), unit="mg", volume_ml=d("0.5"),
           concentration="10 mg/mL", route="IV", purpose="relaxation")  # fmt: skip
    sheet = case_view(t.case, len(t.entries), t.facts, t.now).emergency
    assert sheet is not None and sheet.drugs[0].drug == "sugammadex" and "ocuronium" in sheet.drugs[0].undoes
