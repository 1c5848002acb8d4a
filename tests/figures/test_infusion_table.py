"""The golden table of infusions: stored answers, worked again by pint, and held against the project's own.

U3: every pair of time bases and units; U4, U9: strengths by mg, mcg, IU, mEq, per mL and per L.
"""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from fractions import Fraction
from typing import Any

import infusions_by_pint as by_pint
import pytest
from infusion_table import differences

from spiracle.doors.tables import load_facts
from spiracle.drugs import DosingWeight, dose_rate_of, rate_ml_h
from spiracle.drugs.drops import drops
from spiracle.quantity import Quantity

TABLE: dict[str, Any] = tomllib.loads(by_pint.TABLE.read_text(encoding="utf-8"))


def test_the_stored_answers_are_what_a_units_library_makes_of_the_inputs() -> None:
    """U3: pint and fractions, nothing of the project, work every row again."""
    again = by_pint.worked(tomllib.loads(by_pint.TABLE.read_text(encoding="utf-8")))
    assert again == TABLE


def test_the_project_gives_every_stored_answer() -> None:
    """U3, U4, U9: pump rates, both time bases, minutes left, drops, and bags with what they then give."""
    assert differences(TABLE) == []


def test_the_table_is_as_wide_as_it_says() -> None:
    """U3: 200 infusions and more, dog and cat, 0.5 to 90 kg, every unit that rates are written in, every drug that is run."""
    rows = TABLE["rate"]
    assert len(rows) >= 200
    assert {r["species"] for r in rows} == {"dog", "cat"}
    weights = {Decimal(r["kg"]) for r in rows}
    assert min(weights) == Decimal("0.5") and max(weights) == 90
    units = {r["unit"] for r in rows} | {r["beside"] for r in rows}
    per_kg = {f"{mass}/kg/{time}" for mass in ("mg", "mcg") for time in ("min", "h")}
    assert per_kg <= units
    assert {
        "mg/kg/day",
        "mcg/lb/min",
        "ng/kg/min",
        "mIU/kg/min",
        "IU/kg/h",
        "mEq/kg/h",
        "mL/kg/h",
        "mL/kg/min",
        "g/kg/h",
        "mg/min",
    } <= units
    assert {d["set"] for d in TABLE["drops"]} == {10, 15, 20, 60}
    bags = TABLE["bag"]
    assert {b["species"] for b in bags} == {"dog", "cat"}
    assert any(len(b["parts"]) == 3 for b in bags) and any(b["removed"] != "0" for b in bags)


def test_every_drug_that_is_run_stands_in_the_table() -> None:
    """U3: a drug with an infusion row and a strength has rows here, for each species it is run in."""
    drugs = load_facts(None).drugs
    there = {(r["drug"], r["species"]) for r in TABLE["rate"]}
    powders = {d.id for d in drugs.drugs if not any(s.quantity for s in d.strengths) and not d.made_up}
    wanted = {
        (r.drug, r.species) for r in drugs.all_rows() if r.infusion and (r.drug not in powders or "mL" in str(r.unit))
    }
    assert sorted(wanted - there) == []


@pytest.mark.parametrize("row", TABLE["published"], ids=lambda r: re.sub(r"\W+", "-", r["what"])[:60])
def test_published_worked_examples(row: dict[str, Any]) -> None:
    """U3: the answer as printed by its source (named in the row), within what the source rounded away."""
    want, close = Decimal(row["expected"]), Decimal(row["tolerance"])
    if row["kind"] == "drops":
        found = drops(Quantity.of(row["ml_h"], "mL/h"), row["set"])
        assert Decimal(0) <= want - found.per_min <= close, found
        return
    weight = DosingWeight(Decimal(row["kg"]))
    strength = Quantity.of(*row["strength"].split(" ")) if row["strength"] else None
    if row["kind"] == "rate":
        ours = rate_ml_h(Quantity.of(row["dose"], row["unit"]), weight, strength)
        exact = by_pint.ml_h(row)
    else:
        ours = dose_rate_of(Quantity.of(row["rate"], "mL/h"), weight, strength, row["unit"])
        exact = Fraction(ours.value)
    assert abs(ours.value - want) <= close, (ours, row["source"])
    assert abs(Fraction(ours.value) - exact) < Fraction(1, 10**12)


def test_there_are_twenty_published_examples_and_each_names_its_source() -> None:
    """U30: a printed answer without its source is worth nothing."""
    assert len(TABLE["published"]) >= 20
    assert all(r["source"].strip() and r["seen"].strip() for r in TABLE["published"])
