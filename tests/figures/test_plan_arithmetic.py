"""Every figure of the twelve example plans worked again with an independent units library (pint, hgrecco/pint).

The library's own registry gives the meaning of mg, mL, lb, bar, psi and minutes; only international units and
milliequivalents, which have no size of their own, are declared here. What is checked against it: amount, volume, what is
delivered and its error, dilution, pump rate, litres in the cylinder.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pint
import pytest

from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.tables import load_facts
from spiracle.sheets.plan import check, plan
from spiracle.sheets.plan_shapes import plan_json

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("[0-9]*.toml"))
NOW = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)
UNITS = pint.UnitRegistry(non_int_type=Decimal, case_sensitive=True)
UNITS.define("IU = [activity]")
UNITS.define("mIU = 0.001 IU")
UNITS.define("mEq = [charge_amount]")
UNITS.define("animal = [animal]")
UNITS.define("mcg = microgram")
ANIMAL = Decimal(1) * UNITS.animal


def told(amount: dict[str, Any]) -> Any:
    """An amount of the JSON as the library's quantity."""
    return Decimal(str(amount["value"])) * UNITS.parse_units(amount["unit"])


def worked(path: Path) -> dict[str, Any]:
    file = read_plan_file(path.read_text("utf-8"), path.name)
    facts = load_facts()
    check(file.request, facts, last_weight=file.last_weight, weight_confirmed=file.weight_confirmed)
    found: dict[str, Any] = json.loads(plan_json(plan(file.request, facts, NOW)), parse_float=Decimal)
    return found


PLANS = {path.stem: worked(path) for path in EXAMPLES}
DRUGS = [pytest.param(p, d, id=f"{name}-{d['order']}") for name, p in PLANS.items() for d in p["drugs"]]


def dose_for(plan_: dict[str, Any], drug: dict[str, Any]) -> Any:
    """The ordered dose of this animal: per kilogram times its dosing weight, per animal as it stands."""
    dose = told(drug["dose"])
    if "/kg" in drug["dose"]["unit"]:
        return dose * told(plan_["patient"]["dosing_weight"])
    return dose * ANIMAL if "/animal" in drug["dose"]["unit"] else dose


def close(ours: Any, theirs: Any) -> bool:
    """Equal to nine significant figures: both sides are decimals, the JSON holds nine decimals."""
    theirs = theirs.to(ours.units)
    return bool(abs(ours.magnitude - theirs.magnitude) <= Decimal("1e-8") * max(abs(theirs.magnitude), Decimal("0.1")))


@pytest.mark.parametrize(("plan_", "drug"), DRUGS)
def test_amount_is_dose_times_weight(plan_: dict[str, Any], drug: dict[str, Any]) -> None:
    if drug["amount"] is None:
        assert drug["refused"] is not None
        return
    amount = told(drug["amount"])
    if drug["infusion"]:
        amount = amount / UNITS.hour if amount.check(dose_for(plan_, drug) * UNITS.hour) else amount
    assert close(amount, dose_for(plan_, drug))


@pytest.mark.parametrize(("plan_", "drug"), DRUGS)
def test_volume_is_the_highest_mark_not_above_the_order(plan_: dict[str, Any], drug: dict[str, Any]) -> None:
    if drug["volume"] is None or drug["infusion"]:
        assert drug["refused"] is not None or drug["infusion"]
        return
    exact = (dose_for(plan_, drug) / told(drug["concentration"])).to("mL")
    drawn, mark = told(drug["volume"]), told(drug["syringe"]["mark"])
    assert drawn <= exact, "never above the order"
    assert exact - drawn < mark, "no mark lies between"
    assert (drawn / mark).to("").magnitude % 1 == 0, "a mark that exists"
    assert drawn <= told(drug["syringe"]["holds"])


@pytest.mark.parametrize(("plan_", "drug"), DRUGS)
def test_delivered_is_the_mark_times_the_strength_with_its_error(plan_: dict[str, Any], drug: dict[str, Any]) -> None:
    if drug["delivered"] is None or drug["infusion"]:
        return
    delivered = told(drug["volume"]) * told(drug["concentration"])
    assert close(told(drug["delivered"]), delivered)
    error = ((delivered / dose_for(plan_, drug)).to("").magnitude - 1) * 100
    assert abs(Decimal(str(drug["error_percent"])) - error) <= Decimal("0.005")
    assert error <= 0


DILUTED = [p for p in DRUGS if p.values[1]["dilution"] is not None]


@pytest.mark.parametrize(("plan_", "drug"), DILUTED)
def test_a_dilution_has_the_strength_it_says(plan_: dict[str, Any], drug: dict[str, Any]) -> None:
    """Mass in = mass out: vial strength times drug volume is the made strength times the whole volume."""
    recipe = drug["dilution"]
    total = told(recipe["drug_volume"]) + told(recipe["diluent_volume"])
    assert close(total, told(recipe["total"]))
    vial = vial_of(plan_, drug)
    assert close(told(recipe["concentration"]) * total, vial * told(recipe["drug_volume"]))


def vial_of(plan_: dict[str, Any], drug: dict[str, Any]) -> Any:
    """The vial's strength as the example file states it, read with the library and not with our reader."""
    import tomllib

    stem = next(name for name, p in PLANS.items() if p is plan_)
    file = tomllib.loads(next(p for p in EXAMPLES if p.stem == stem).read_text("utf-8"))
    place = int(drug["order"].split()[1]) - 1
    text = file["order"][place].get("concentration") or file["stock"]["strengths"][drug["drug"]][0]
    number, unit = text.split(" ", 1)
    return Decimal(number) * UNITS.parse_units(unit)


RATES = [p for p in DRUGS if p.values[1]["rate"] is not None]


@pytest.mark.parametrize(("plan_", "drug"), RATES)
def test_pump_rate_is_the_dose_rate_over_the_strength(plan_: dict[str, Any], drug: dict[str, Any]) -> None:
    rate = dose_for(plan_, drug)
    if drug["concentration"] is not None and not rate.check("mL/hour"):
        rate = rate / told(drug["concentration"])
    ours = told(drug["rate"])
    assert ours <= rate.to("mL/hour") * (1 + Decimal("1e-9")), "never above the order"
    assert rate.to("mL/hour") - ours <= Decimal("0.1") * UNITS("mL/hour"), "within a step of a pump"


def test_there_is_something_of_each_kind() -> None:
    assert len(DILUTED) >= 2
    assert len(RATES) >= 2


@pytest.mark.parametrize("stem", [s for s, p in PLANS.items() if p["breathing"]["oxygen_litres"] is not None])
def test_litres_in_the_cylinder(stem: str) -> None:
    """Boyle's law at one temperature: contents times gauge over full pressure, as printed and read; down to a litre."""
    import tomllib

    file = tomllib.loads(next(p for p in EXAMPLES if p.stem == stem).read_text("utf-8"))
    (cylinder,) = file["stock"]["cylinder"]
    contents, full, gauge = (UNITS.Quantity(Decimal(cylinder[k].split()[0]), cylinder[k].split()[1])
                             for k in ("contents", "full", "gauge"))  # fmt: skip
    ours = told(PLANS[stem]["breathing"]["oxygen_litres"])
    exact = (contents * gauge / full).to("L")
    assert exact - UNITS("1 L") < ours <= exact
