"""Drugs given on the ward before the case: read, refused by name, and counted with what is given here."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from small_house import NINE, Telling, d
from spiracle.case import events as ev
from spiracle.refusals import Contradiction, OutOfRange, OverLimit, Refusal, Unknown, UnlikeUnits
from spiracle.sheets.plan_sheet import plan_sheet


def ward(mg: str = "15", **more: Any) -> dict[str, Any]:
    return {"drug": "bupivacaine", "amount": d(mg), "unit": "mg", "route": "infiltration",
            "given_at": NINE - timedelta(hours=2), **more}  # fmt: skip


@pytest.mark.parametrize(
    ("refusal", "field", "more"),
    [
        (Unknown, "drug", {"drug": "nothing of the kind"}),
        (Unknown, "route", {"route": "by pigeon"}),
        (UnlikeUnits, "unit", {"unit": "mg/kg"}),
        (OutOfRange, "amount", {"amount": Decimal(0)}),
        (Contradiction, "given at", {"given_at": NINE + timedelta(hours=1)}),
        (OutOfRange, "given at", {"given_at": NINE - timedelta(hours=73)}),
    ],
)
def test_what_cannot_be_counted_is_refused_by_name(refusal: type[Refusal], field: str, more: dict[str, Any]) -> None:
    """U25: a dose of the ward has a drug, an amount and a time, or it is no dose."""
    Telling().refused(refusal, field, ev.GivenBefore, **ward(**more))


def test_the_same_dose_is_entered_once() -> None:
    """U19, U25: two people copy the ward's sheet."""
    told = Telling()
    told.tell(ev.GivenBefore, **ward())
    told.refused(Contradiction, "given at", ev.GivenBefore, **ward())


def test_what_the_ward_gave_takes_room_from_the_ceiling() -> None:
    """U24, U25: 15 mg on the ward and 10 mg here are 125 % of 2 mg/kg in 10 kg; without the ward 10 mg are half of it.
    Arithmetic worked by hand; the ceiling is the table's."""
    for mg, over in (("15", True), ("5", False)):
        told = Telling()
        told.order("o1", "bupivacaine", "local block", "infiltration", "1", "1")
        told.tell(ev.GivenBefore, **ward(mg))  # found on the ward's sheet after the order
        push: dict[str, Any] = {"drug": "bupivacaine", "amount": d("10"), "unit": "mg", "volume_ml": d("2"), "order": "o1",
                                "concentration": "5 mg/mL", "route": "infiltration", "purpose": "local block"}  # fmt: skip
        if over:
            told.refused(OverLimit, "dose", ev.DrugGiven, **push)
        else:
            told.tell(ev.DrugGiven, **push)


def test_the_plan_shows_it_as_given() -> None:
    """U24: the plan's ceiling and the push's count alike."""
    told = Telling()
    told.tell(ev.GivenBefore, **ward())
    shown = next(b for b in plan_sheet(told.case, told.facts, told.now).budgets if b.id == "local anaesthetic")
    assert (shown.percent, shown.state, len(shown.given)) == (75, "warn", 1)
