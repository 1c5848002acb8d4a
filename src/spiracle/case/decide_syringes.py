"""Syringes drawn, thrown away and given back: whole marks, arithmetic that holds, and a balance that cannot go below zero.

Carries U10, U22, U27, D22. Whether this drug may be drawn at all for this animal now: `drawing`.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_orders import readable_strength, standing_order
from spiracle.case.decide_people import need_words, said, someone_else
from spiracle.case.decide_spans import inside
from spiracle.case.drawing import known_form, may_be_drawn
from spiracle.case.fold import Case
from spiracle.case.pushes import drug_id
from spiracle.case.ruling import Rules
from spiracle.case.standing import species
from spiracle.case.syringes import Syringe
from spiracle.case.syringes import syringe as syringe_of
from spiracle.drugs import Barrel
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import Contradiction, Missing, NotMeasurable, OutOfRange, Unknown, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

SAME = Decimal("0.005")  # a written strength is rounded to what fits on a label: half of one per cent


def syringe_drawn(case: Case, event: ev.SyringeDrawn, facts: Facts, _now: datetime) -> None:
    need_words(event.syringe, "syringe", "Give the syringe an id.")
    if any(d.syringe == event.syringe for d in case.live(ev.SyringeDrawn)):
        raise Contradiction("syringe", f"{event.syringe} was drawn already.", "Give a new syringe a new id.")
    drug = facts.drugs.drug(event.drug, species(case))
    order = standing_order(case, event.order, event.drug, facts) if event.order else None
    if event.drug not in {drug.id, order.drug if order is not None else drug.id}:
        raise Contradiction("drug", f"{event.drug} is kept as {drug.id}.", f"Enter it as {drug.id}.", use=drug.id)
    word = said(facts, event.said_by, event.reason)
    holds = read(event.concentration, "concentration", "concentration")
    if holds.value <= 0:
        raise OutOfRange(
            "concentration", f"{event.concentration!r} holds nothing.", "Say what the syringe holds, like 10 mg/mL."
        )
    vial = readable_strength(facts, event.drug, event.vial_concentration)
    known_form(event.form, drug)
    _volumes(event)
    if vial is not None:
        _dilution(event, vial, holds)
    _marks(event, facts)
    if event.seen_by:
        someone_else(facts, event.seen_by, event.by, "seen by")
    may_be_drawn(case, event, drug, order, vial, holds, facts, word=word)


def _volumes(event: ev.SyringeDrawn) -> None:
    if event.drug_volume_ml <= 0:
        raise OutOfRange("drug volume", "is zero.", "Give what was drawn from the vial.")
    if event.drug_volume_ml + event.diluent_volume_ml != event.volume_ml:
        raise Contradiction("volume", f"{figure(event.drug_volume_ml)} + {figure(event.diluent_volume_ml)} mL are not "
                            f"{figure(event.volume_ml)} mL.", "Give drug and diluent so that they add up.")  # fmt: skip
    if event.diluent_volume_ml and not event.diluent.strip():
        raise Missing("diluent", "is not named.", "Name what it was diluted with.")


def _dilution(event: ev.SyringeDrawn, vial: Quantity, holds: Quantity) -> None:
    try:
        makes = Quantity(vial.value * event.drug_volume_ml / event.volume_ml, vial.unit)
        off = abs(makes.number(holds.unit) - holds.value)
    except UnlikeUnits as unlike:
        raise UnlikeUnits(
            "concentration", f"{holds} is unlike the vial's {vial}.", "Give both in one kind."
        ) from unlike
    if off > holds.value * SAME:
        raise Contradiction("concentration", f"{figure(event.drug_volume_ml)} mL of {vial} in {figure(event.volume_ml)} mL "
                            f"make {figure(makes.value, 4)} {makes.unit}, not {holds}.", "Look at vial and volumes again.",
                            use=f"{figure(makes.value, 4)} {makes.unit}")  # fmt: skip


def barrel_named(facts: Facts, name: str) -> Barrel:
    """A syringe by id or by its printed name."""
    return next((b for b in facts.drugs.barrels if b.name == name), None) or facts.drugs.barrel(name)


def whole_marks(volume_ml: Decimal, barrel: Barrel) -> bool:
    return volume_ml % barrel.mark.number("mL") == 0


def _marks(event: ev.SyringeDrawn, facts: Facts) -> None:
    """The whole volume on the syringe it is in; what came from the vial on any syringe that can show it."""
    if event.barrel:
        barrel = barrel_named(facts, event.barrel)
        _fits(event.volume_ml, barrel)
    else:
        _on_some(event.volume_ml, facts, "volume")
    if event.diluent_volume_ml:
        _on_some(event.drug_volume_ml, facts, "drug volume")


def _fits(volume_ml: Decimal, barrel: Barrel) -> None:
    if volume_ml > barrel.holds.number("mL"):
        raise NotMeasurable("volume", f"a {barrel.name} syringe holds {barrel.holds}.", "Take a larger syringe.")
    if not whole_marks(volume_ml, barrel):
        raise NotMeasurable("volume", f"{figure(volume_ml)} mL is not a mark of a {barrel.name} syringe, marked every "
                            f"{barrel.mark}.", "Give what the syringe shows.")  # fmt: skip


def _on_some(volume_ml: Decimal, facts: Facts, field: str) -> None:
    able = [b for b in facts.drugs.barrels if volume_ml <= b.holds.number("mL")]
    if able and not any(whole_marks(volume_ml, b) for b in able):
        raise NotMeasurable(
            field, f"{figure(volume_ml)} mL is not a mark of any syringe.", "Give what the syringe shows."
        )
    if not able and volume_ml != volume_ml.to_integral_value():
        raise NotMeasurable(field, f"{figure(volume_ml)} mL is more than a syringe holds.", "Give whole millilitres.")


# ---- throwing away and giving back


def there(case: Case, name: str, drug: str, facts: Facts) -> Syringe:
    """A syringe that stands and holds this drug."""
    found = syringe_of(case, name)
    if found is None:
        raise Unknown("syringe", f"{name!r} is not a syringe that was drawn.", "Choose a drawn syringe.")
    if drug_id(found.drawn.drug, facts) != facts.drugs.drug(drug).id:
        raise Contradiction(
            "syringe", f"{name} holds {found.drawn.drug}, not {drug}.", "Choose the syringe of this drug."
        )
    return found


def left_for(found: Syringe, volume_ml: Decimal) -> None:
    if volume_ml > found.left_ml:
        raise OutOfRange("volume", f"{figure(volume_ml)} mL is more than the {figure(found.left_ml)} mL left in "
                         f"{found.drawn.syringe}.", "Give what the syringe shows.")  # fmt: skip


def drug_wasted(case: Case, event: ev.DrugWasted, facts: Facts, _now: datetime) -> None:
    drug = facts.drugs.drug(event.drug)
    _some(event.volume_ml)
    if event.syringe:
        left_for(there(case, event.syringe, event.drug, facts), event.volume_ml)
    if drug.controlled and not event.witness:
        raise Missing("witness", f"{drug.name} is a controlled drug.", "Name the person who saw it thrown away.")
    if event.witness:
        someone_else(facts, event.witness, event.by, "witness")


def drug_returned(case: Case, event: ev.DrugReturned, facts: Facts, _now: datetime) -> None:
    facts.drugs.drug(event.drug)
    _some(event.volume_ml)
    if event.syringe:
        left_for(there(case, event.syringe, event.drug, facts), event.volume_ml)


def _some(volume_ml: Decimal) -> None:
    if volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give how much.")


def container_received(_case: Case, event: ev.ContainerReceived, facts: Facts, _now: datetime) -> None:
    facts.drugs.drug(event.drug)
    readable_strength(facts, event.drug, event.concentration)
    _some(event.volume_ml_each)
    if event.containers < 1:
        raise OutOfRange("containers", "is zero.", "Give how many came.")


def stock_counted(_case: Case, event: ev.StockCounted, facts: Facts, _now: datetime) -> None:
    facts.drugs.drug(event.drug)
    someone_else(facts, event.second_person, event.by, "second person")


def catheter_placed(_case: Case, event: ev.CatheterPlaced, _facts: Facts, _now: datetime) -> None:
    need_words(event.site, "site", "Say where it lies.")
    inside("attempts", event.attempts)


RULES: Rules = {
    ev.SyringeDrawn: syringe_drawn,
    ev.DrugWasted: drug_wasted,
    ev.DrugReturned: drug_returned,
    ev.ContainerReceived: container_received,
    ev.StockCounted: stock_counted,
    ev.CatheterPlaced: catheter_placed,
}
