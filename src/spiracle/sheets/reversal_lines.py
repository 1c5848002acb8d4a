"""Reversals worked from what was recorded, as lines beside the ordered ones. They are not orders: a veterinarian gives those."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_CEILING, Decimal

import msgspec

from spiracle.case.animal import conditions
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight, shelf
from spiracle.case.reversals import Reversible, reversible
from spiracle.case.standing import species
from spiracle.drugs import OrderedDose, Reversal, prepare
from spiracle.quantity import Quantity, figure
from spiracle.sheets.names import capital
from spiracle.sheets.plan_lines import drug_line
from spiracle.sheets.plan_request import OrderAsked
from spiracle.sheets.plan_work import OrderWork
from spiracle.sheets.shapes import DrugLine, Num
from spiracle.sheets.worked_shape import number, refused
from spiracle.source import Worked

ROUTE, NONE, FINE = "IM", Quantity.of(0, "mg"), Decimal("1e-9")


def reversal_lines(case: Case, facts: Facts, now: datetime) -> tuple[DrugLine, ...]:
    return tuple(_line(case, facts, now, found) for found in reversible(case, facts, now))


def _line(case: Case, facts: Facts, now: datetime, found: Reversible) -> DrugLine:
    """The amount and its volume from this hospital's vial; or why there is none now, like ketamine a short while ago."""
    back, of = found.reversal, facts.drugs.drug(found.of)
    drug = facts.drugs.drug(back.drug)
    ward = ", some of it given before this case as told" if found.before else ""
    words = f"for {of.name} {found.recorded}, {figure(found.minutes)} min ago{ward}: not an order"
    key = f"reversal of {of.id}"
    if back.refusal is not None or back.low is None or back.high is None:
        return DrugLine(
            order=key, drug=drug.id, name=capital(drug.name), syringe_class=drug.syringe_class, reversal=True,
            purpose="reversal", route=ROUTE, order_text="", when=words,
            refusal=None if back.refusal is None else refused(back.refusal),
        )  # fmt: skip
    weight = dosing_weight(case)
    low, high = _per_kg(back.low, weight.kg), _per_kg(back.high, weight.kg)
    asked = OrderAsked(
        field=key, order=key, drug=drug.id, purpose="reversal", route=ROUTE, low=low, high=high, when=words
    )
    dose = OrderedDose(
        drug=drug.id, species=str(species(case)), purpose="reversal", route=ROUTE, low=low, high=high,
        conditions=tuple(sorted(conditions(case, facts, now))),
    )  # fmt: skip
    made = prepare(dose, weight, shelf(facts), facts.drugs)
    line = drug_line(OrderWork(asked, made), facts, weight, {})
    return msgspec.structs.replace(line, name=capital(line.name), dose=_dose(back, facts))


def _per_kg(amount: Quantity, kg: Decimal) -> Quantity:
    """As an order is written; the last place goes up, so that what divides unevenly does not lose a mark on the syringe."""
    return Quantity.of((amount.number("mg") / kg).quantize(FINE, ROUND_CEILING), "mg/kg")


def _dose(back: Reversal, facts: Facts) -> Num:
    """The top of what is worked, with the multiple and the record it was worked from."""
    top = Worked((back.high or back.low or NONE).to("mg"), back.working)
    return number(top, f"{back.drug}, reversal", facts.sources)
