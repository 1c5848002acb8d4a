"""Bags with drugs in them: what went in can be read, adds up, stands in an order that is a rate, and may share a bag.

Carries U3, U4, U9, U10. What the tables do not list is asked about; what they say never is refused. In an emergency what would
stop is not waited for, but a bag still has to add up.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.allergies import ask_about_allergy
from spiracle.case.decide_orders import readable_strength, standing_order
from spiracle.case.decide_people import need_words, said, someone_else
from spiracle.case.decide_spans import inside
from spiracle.case.drawing import last_day
from spiracle.case.fold import Case
from spiracle.case.limits import not_cautioned, order_fits
from spiracle.case.prepared import vial_of
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.running import SET, comes_to, is_drug, is_fluid, per_time, told, urgent
from spiracle.case.standing import dosing_weight_kg, orders, species, weight_in_use
from spiracle.case.strengths import ask_about_strength, made_here, on_the_shelf
from spiracle.drugs import Drug
from spiracle.drugs.bags import adds_up, in_the_bag
from spiracle.drugs.infusion import hourly
from spiracle.drugs.mixing import Clash, clashes
from spiracle.drugs.rows import amount_of
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import AskAgain, Contradiction, Missing, NotMeasurable, OutOfRange, OverLimit, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

WORD = "Run it from a syringe of its own, or a named veterinarian says so with a reason."
WEAK = Decimal("0.5")  # half of what was ordered, at the ordered fluid rate, is a slip rather than a rounding
_ML_H = unit("mL/h")


def bag_mixed(case: Case, event: ev.BagMixed, facts: Facts, _now: datetime) -> None:
    need_words(event.bag, "bag", "Give the bag an id.")
    if any(b.bag == event.bag for b in case.live(ev.BagMixed)):
        raise Contradiction("bag", f"{event.bag} was mixed already.", "Give a new bag a new id.")
    fluid = facts.drugs.drug(event.fluid, species(case))
    if not is_fluid(facts, fluid.id):
        raise Contradiction("fluid", f"{fluid.name} is a drug, not a fluid.", "Name the fluid the drugs went into.")
    if not event.parts:
        raise Missing("drug", "is not named: nothing was added.", "Name each drug and how much of which vial went in.")
    word = said(facts, event.said_by, event.reason)
    for part in event.parts:
        _part(case, event, part, facts, word=word)
    _volumes(event)
    if event.seen_by:
        someone_else(facts, event.seen_by, event.by, "seen by")
    if urgent(case):
        return
    _together(case, event, fluid, facts, word=word)
    if not word:
        with asking(event):
            _at_the_ordered_rate(case, event, facts)


# ---- the arithmetic


def _volumes(event: ev.BagMixed) -> None:
    inside("fluid volume", event.bag_ml)
    if not 0 <= event.removed_ml <= event.bag_ml:
        raise OutOfRange("removed", f"{figure(event.removed_ml)} mL cannot come out of {figure(event.bag_ml)} mL.",
                         "Give what was taken out before the drugs went in.")  # fmt: skip
    makes = adds_up(event.bag_ml, event.removed_ml, (p.drug_volume_ml for p in event.parts))
    if event.volume_ml != makes:
        added = " + ".join(figure(p.drug_volume_ml) for p in event.parts)
        raise Contradiction("volume", f"{figure(event.bag_ml)} − {figure(event.removed_ml)} + {added} mL make {figure(makes)} mL, "
                            f"not {figure(event.volume_ml)} mL.", "Give what was taken out and each volume that went in.",
                            use=figure(makes))  # fmt: skip


def _on_a_mark(volume_ml: Decimal, drug: Drug, facts: Facts) -> None:
    """A mark of some syringe; more than the largest holds went in by several fills of it."""
    if volume_ml <= 0:
        raise OutOfRange("drug volume", f"of {drug.name} is zero.", "Give what was drawn from the vial.")
    able = [b for b in facts.drugs.barrels if volume_ml <= b.holds.value]
    able = able or [max(facts.drugs.barrels, key=lambda b: b.holds.value)]
    if all(volume_ml % b.mark.value for b in able):
        raise NotMeasurable("drug volume", f"{figure(volume_ml)} mL of {drug.name} is not a mark of any syringe.",
                            "Give what the syringe shows.")  # fmt: skip


# ---- each drug


def _part(case: Case, event: ev.BagMixed, part: ev.BagPart, facts: Facts, *, word: bool) -> None:
    drug = facts.drugs.drug(part.drug, species(case))
    if part.drug != drug.id:
        raise Contradiction("drug", f"{part.drug} is kept as {drug.id}.", f"Enter it as {drug.id}.", use=drug.id)
    if is_fluid(facts, drug.id):
        raise Contradiction("drug", f"{drug.name} is a fluid.", "Name the drugs; the fluid is the bag's own.")
    vial = readable_strength(facts, drug.id, part.vial_concentration)
    if vial is None:
        raise Missing("strength", f"{part.vial_concentration} of {drug.name} has no strength until it is made up.",
                      "Say what it was made up to, like 1 mg/mL.")  # fmt: skip
    _on_a_mark(part.drug_volume_ml, drug, facts)
    order = _order(case, event, part, drug, facts, word=word)
    if not urgent(case):
        able = [*on_the_shelf(drug, facts), *drug.made_up, *made_here(case, drug, order, facts, event.happened_at)]
        with asking(event):
            ask_about_strength(drug, vial, able, "strength")
        with asking(event):
            _picked(case, order, drug, vial, facts)
    _expiry(case, event, part, drug, facts, word=word)
    passed = word or urgent(case) or bool(order is not None and order.over_hard_by and order.reason)
    with asking(event):
        ask_about_allergy(case, drug.id, facts, passed)
    if not (word or urgent(case)):
        _for_this_animal(case, event, drug, order, facts)


def _order(
    case: Case, event: ev.BagMixed, part: ev.BagPart, drug: Drug, facts: Facts, *, word: bool
) -> ev.DrugOrdered | None:
    """The order it runs under: it stands, and it is a rate."""
    if not part.order:
        if word or urgent(case) or facts.hospital.is_veterinarian(event.by):
            return None
        raise Missing(
            "order", f"no order of {drug.name} is named.", "Name the order, or the veterinarian who said so and why."
        )
    order = standing_order(case, part.order, drug.id, facts)
    if not per_time(unit(order.unit)):
        raise Contradiction("order", f"{drug.name} {figure(order.high)} {order.unit} is a dose, no rate.",
                            "Have a rate ordered, like mg/kg/h.")  # fmt: skip
    return order


def _picked(case: Case, order: ev.DrugOrdered | None, drug: Drug, vial: Quantity, facts: Facts) -> None:
    """The vial picked for the order is the vial that went in."""
    text = vial_of(case, order) if order is not None else ""
    picked = facts.drugs.strength(drug, text).quantity if text else None
    if picked is not None and not (picked.unit.dimension == vial.unit.dimension and picked.equals(vial)):
        raise AskAgain("strength", f"{vial} of {drug.name} went in, {picked} was picked for the order.",
                       "Read the vial again, or confirm it.")  # fmt: skip


def _expiry(case: Case, event: ev.BagMixed, part: ev.BagPart, drug: Drug, facts: Facts, *, word: bool) -> None:
    text = part.expires.strip()
    if not text or word or urgent(case):
        return
    today = event.happened_at.astimezone(facts.zone).date()
    if last_day(text) < (today.year, today.month, today.day):
        raise OutOfRange("expires", f"the vial of {drug.name} expired {text}.",
                         "Take another vial, or a named veterinarian says so with a reason.")  # fmt: skip


def _for_this_animal(case: Case, event: ev.BagMixed, drug: Drug, order: ev.DrugOrdered | None, facts: Facts) -> None:
    at = event.happened_at
    if order is None:
        not_cautioned(case, drug, None, "", facts, at)
        return
    if weight_in_use(case) is None:
        raise Missing("weight", "is not known, so no order can be held against its limits.", "Weigh the patient first.")
    if not order_fits(case, order, facts, at, event).emergency:
        not_cautioned(case, drug, order, order.purpose, facts, at)


# ---- the drugs together


def _together(case: Case, event: ev.BagMixed, fluid: Drug, facts: Facts, *, word: bool) -> None:
    """Refused where a row says never; asked where no row says that it may be."""
    kind = str(species(case))
    for found in clashes(fluid.id, tuple(p.drug for p in event.parts), kind, facts.drugs):
        if found.how is Clash.NEVER and not word:
            raise OverLimit("drug", found.says, WORD)
        if found.how is Clash.ASK and not word:
            with asking(event):
                raise AskAgain(found.field, found.says, "Ask the pharmacist or the veterinarian, or confirm it.")


def _at_the_ordered_rate(case: Case, event: ev.BagMixed, facts: Facts) -> None:
    """At the fluid rate that is ordered the bag gives what is ordered: ten times too much shows before it hangs."""
    kg = dosing_weight_kg(case)
    fluids = [
        o for o in orders(case) if is_drug(facts, o.drug, facts.drugs.drug(event.fluid).id) and per_time(unit(o.unit))
    ]
    if kg is None or len(fluids) != 1:
        return
    rate = hourly(amount_of(Quantity.of(fluids[0].high, fluids[0].unit), kg)).to(_ML_H)
    for part in event.parts:
        order = next((o for o in orders(case) if o.order == part.order), None)
        vial = facts.drugs.strength(facts.drugs.drug(part.drug), part.vial_concentration).quantity
        if order is None or vial is None:
            continue
        high, low = Quantity.of(order.high, order.unit), Quantity.of(order.low, order.unit)
        try:
            gives = comes_to(rate.value, in_the_bag(vial, part.drug_volume_ml, event.volume_ml), high.unit, kg)
        except Refusal:
            continue
        if gives.value > high.value * SET or gives.value < low.value * WEAK:
            span = told(high) if low.equals(high) else f"{figure(order.low)} to {told(high)}"
            raise AskAgain("drug volume", f"at the ordered {told(rate)} this bag gives {told(gives)} of "
                           f"{facts.drugs.name(part.drug)}, ordered {span}.",
                           "Look at vial and volume again, or confirm that it runs at another rate.")  # fmt: skip


RULES: Rules = {ev.BagMixed: bag_mixed}
