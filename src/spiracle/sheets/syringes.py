"""Syringes that exist: what is in each, what is left, whether its label still holds, and what is said as it is handed over."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

import msgspec

from spiracle.case.draw_asks import only_vial
from spiracle.case.events import DosingWeightSet, DrugOrdered, SyringeDrawn, Weighed
from spiracle.case.running import per_time
from spiracle.case.syringes import Syringe
from spiracle.drugs import Barrel, DoseRow, DosingWeight, OrderedDose
from spiracle.drugs.hub import hub_words, scale_words
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import Refusal
from spiracle.sheets.at_push import Board, at_push
from spiracle.sheets.given import concentration, given_line, ladder
from spiracle.sheets.names import joined, kg_text
from spiracle.sheets.phases import present
from spiracle.sheets.shapes import DrawnSyringe, DrugLine, Ladder, Num
from spiracle.sheets.told import Told
from spiracle.source import Guardrail

DUE_IN = {
    "prepare": ("premedication",),
    "induce": ("induction",),
    "maintain": ("induction", "maintenance", "analgesia", "block"),
    "recover": ("reversal", "analgesia"),
}


def drawn_syringes(t: Told, lines: tuple[DrugLine, ...]) -> tuple[DrawnSyringe, ...]:
    """All syringes that stand, the one that is due on top, else in the order of drawing."""
    planned = {line.order: line for line in lines}
    phase, board = present(t), Board(t)
    found = [drawn_syringe(t, s, planned.get(s.drawn.order), phase, board) for s in t.syringes]
    return tuple(sorted(found, key=lambda d: not d.due))


def drawn_syringe(t: Told, s: Syringe, planned: DrugLine | None, phase: str, board: Board) -> DrawnSyringe:
    e = s.drawn
    order = t.orders.get(e.order)
    barrel = barrel_of(t, e)
    left = s.left_ml
    purpose = order.purpose if order else ""
    return DrawnSyringe(
        syringe=e.syringe,
        event_id=e.id,
        order=e.order,
        drug=e.drug,
        name=t.names.drug(e.drug),
        syringe_class=t.facts.drugs.class_of(e.drug),
        reversal=t.facts.drugs.is_reversal(e.drug),
        controlled=t.facts.drugs.controlled_class(e.drug),
        concentration=e.concentration,
        barrel=barrel.name if barrel else e.barrel,
        mark_ml=float(barrel.mark.number("mL")) if barrel else 0.0,
        holds_ml=float(barrel.holds.number("mL")) if barrel else float(e.volume_ml),
        drawn=Num(text=figure(e.volume_ml), unit="mL", mark="typed", at=e.happened_at, by=t.names.hand(e.by)),
        left=Num(text=figure(left), unit="mL"),
        left_ml=float(left),
        drawn_by=t.names.hand(e.by),
        seen_by=t.names.hand(e.seen_by) if e.seen_by else "",
        at=e.happened_at,
        lot=e.lot,
        expires=e.expires,
        route=order.route if order else "",
        purpose=purpose,
        planned_ml=planned.volume_ml if planned else None,
        estimated=_weight_then_estimated(t, e.happened_at),
        void=void(t, e),
        speak=speak(t, e.drug, order, planned),
        ladder=syringe_ladder(t, e, order, barrel),
        last_given=_last(t, s),
        diluted=diluted(e),
        at_push=at_push(board, e.drug, order, dose_row(t, order)),
        hub="" if barrel is None else hub_words(Quantity.of(e.volume_ml, "mL"), barrel, t.facts.drugs.fineness),
        scale="" if barrel is None else scale_words(Quantity.of(e.volume_ml, "mL"), barrel),
        ran=Num(text=figure(s.ran_ml), unit="mL") if s.ran_ml else None,
        due=not s.pushes and left > 0 and any(p in purpose for p in DUE_IN.get(phase, ())),
    )


def told_at_push(t: Told, lines: tuple[DrugLine, ...]) -> tuple[DrugLine, ...]:
    """The lines of a plan with what is said as each is about to go in."""
    board = Board(t)
    found = []
    for line in lines:
        order = t.orders.get(line.order)
        if not _known(t, line.drug):
            found.append(line)
            continue
        said = at_push(board, line.drug, order, dose_row(t, order))
        vial = (
            only_vial(t.case, order, t.facts.drugs.drug(line.drug), line.vial, t.facts) if order is not None else None
        )
        lot, expires = ("", "") if vial is None else (vial.lot, vial.expires)
        found.append(msgspec.structs.replace(line, at_push=said, lot=lot, expires=expires))
    return tuple(found)


def _known(t: Told, drug: str) -> bool:
    return any(d.id == drug for d in t.facts.drugs.drugs)


def diluted(e: SyringeDrawn) -> str:
    """How it was thinned: "0.2 mL of 10 mg/mL with 1.8 mL saline"; empty where it was not."""
    if not e.diluent_volume_ml:
        return ""
    return f"{figure(e.drug_volume_ml)} mL of {e.vial_concentration} with {figure(e.diluent_volume_ml)} mL {e.diluent}".rstrip()


def _last(t: Told, s: Syringe) -> str:
    """What was last given from it, when and by whom: "1.6 mg, 08:31, KM"."""
    if s.last_given is None:
        return ""
    line = t.case.line(s.last_given.id)
    if line is None:
        return ""
    given = given_line(t, line)
    return joined((given.amount_text, t.names.clock(given.at), given.by))


def barrel_of(t: Told, e: SyringeDrawn) -> Barrel | None:
    """The barrel by its id or name; a barrel nobody knows has no ladder."""
    return next((b for b in t.facts.drugs.barrels if e.barrel in {b.id, b.name}), None)


def speak(t: Told, drug: str, order: DrugOrdered | None, planned: DrugLine | None = None) -> str:
    """The sentence to say aloud at the push: drug, patient, route."""
    if planned is not None and planned.speak:
        return f"{planned.speak}, for {t.name}"
    route = order.route if order else ""
    return joined((t.names.drug(drug), t.name or t.species, route))


def void(t: Told, e: SyringeDrawn) -> str:
    """Why a syringe's label does not hold any more; empty while it does."""
    if e.order and e.order not in t.orders:
        return "order withdrawn"
    then = _weight_at(t, e.happened_at)
    now = t.weight
    if then is not None and now is not None and then.weight_kg != now.kg:
        return f"drawn for {kg_text(then.weight_kg)}, now {kg_text(now.kg)}"
    on, dosed = _dosed_at(t, e.happened_at), t.kg
    if on is not None and dosed and on != dosed:
        return f"drawn for doses on {kg_text(on)}, now on {kg_text(dosed)}"
    return _worded_anew(t, e)


def _worded_anew(t: Told, e: SyringeDrawn) -> str:
    """The order was given in other words since it was drawn. A rate is set at the pump: its syringe holds what it held."""
    worded = [o for o in t.case.live(DrugOrdered) if e.order and o.order == e.order]
    before = [o for o in worded if o.happened_at <= e.happened_at]
    if not before or per_time(unit(worded[-1].unit)) or (was := _dose_of(before[-1])) == (now := _dose_of(worded[-1])):
        return ""
    return f"drawn for {was}, ordered now {now}"


def _dose_of(o: DrugOrdered) -> str:
    span = figure(o.high) if o.low == o.high else f"{figure(o.low)} to {figure(o.high)}"
    return f"{span} {o.unit} {o.route}"


def _dosed_at(t: Told, at: datetime) -> Decimal | None:
    """The weight doses were worked on at a time: the scale's, or the one a veterinarian set after it."""
    every: list[DosingWeightSet | Weighed] = [*t.case.live(DosingWeightSet), *t.case.live(Weighed)]
    told = [w for w in every if w.happened_at <= at]
    return max(told, key=lambda w: w.happened_at).weight_kg if told else None


def _weight_at(t: Told, at: datetime) -> Weighed | None:
    before = [w for w in t.case.live(Weighed) if w.happened_at <= at]
    return before[-1] if before else None


def _weight_then_estimated(t: Told, at: datetime) -> bool:
    then = _weight_at(t, at)
    return then is not None and then.method != "scale"


def dosing_weight(t: Told) -> DosingWeight | None:
    return DosingWeight(kg=t.kg, estimated=t.estimated) if t.kg else None


def syringe_ladder(t: Told, e: SyringeDrawn, order: DrugOrdered | None, barrel: Barrel | None) -> Ladder | None:
    """None while weight, barrel or strength is not known: then the page has no volumes to offer either."""
    strength, weight = concentration(e.concentration), dosing_weight(t)
    if strength is None or weight is None or barrel is None:
        return None
    ceiling = ordered_amount(order, weight.kg) if order is not None else None
    try:
        return ladder(strength, barrel, weight, limit_of(t, order), ceiling)
    except Refusal:  # an order in a unit this strength cannot be held against: marks without zones
        return ladder(strength, barrel, weight, None, None)


def order_high(order: DrugOrdered | None) -> Quantity | None:
    """The ordered ceiling with its unit."""
    if order is None:
        return None
    try:
        return Quantity(order.high, unit(order.unit))
    except Refusal:
        return None


def dose_row(t: Told, order: DrugOrdered | None) -> DoseRow | None:
    """The row of the formulary an order is held against; None where there is none, and then no limit is shown."""
    if order is None:
        return None
    try:
        if order.row:
            return t.facts.drugs.row(order.row)
        weight = dosing_weight(t)
        high = order_high(order)
        if weight is None or high is None:
            return None
        asked = OrderedDose(
            drug=order.drug,
            species=t.species,
            purpose=order.purpose,
            route=order.route,
            low=Quantity(order.low, high.unit),
            high=high,
            conditions=tuple(sorted(t.conditions)),
        )
        return t.facts.drugs.choose(asked, weight)
    except Refusal:
        return None


def limit_of(t: Told, order: DrugOrdered | None) -> Guardrail | None:
    row = dose_row(t, order)
    if row is None or not t.kg:
        return None
    try:
        return row.guardrail(t.kg)
    except Refusal:
        return None


def ordered_amount(order: DrugOrdered, kg: Decimal) -> Quantity | None:
    """The whole amount of the ordered ceiling: per kg times the weight, or as it stands where it is per animal."""
    high = order_high(order)
    if high is None:
        return None
    symbols = {s for s, _ in high.unit.parts}
    try:
        if "kg" in symbols:
            return high * Quantity.of(kg, "kg")
        if "animal" in symbols:
            return high * Quantity.of(1, "animal")
    except Refusal:
        return None
    return high
