"""Induction to effect and the airway: running sums from what was really given, the next push, attempts, proofs.

The push is a quarter of the ordered ceiling, rounded down to a mark of the syringe in hand. It never takes the sum over
the order, nor more than the syringe holds; time never blocks it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Literal

from spiracle.case.events import DrugGiven, DrugOrdered
from spiracle.case.pushes import drug_id
from spiracle.case.streams import streams
from spiracle.case.syringes import Syringe
from spiracle.drugs import Barrel
from spiracle.quantity import Quantity, down_to, figure
from spiracle.refusals import Refusal
from spiracle.sheets.airway_proof import airway_part
from spiracle.sheets.given import concentration, summed, summed_ml
from spiracle.sheets.level_pace import pace
from spiracle.sheets.levels import induction_level
from spiracle.sheets.names import quantity_text
from spiracle.sheets.plan_sheet import orderer
from spiracle.sheets.shapes import InduceSheet, Level, Num, PlanSheet, Push, ToEffect, ZoneBar
from spiracle.sheets.syringes import barrel_of, dose_row, limit_of, order_high, ordered_amount, syringe_ladder
from spiracle.sheets.told import Told, purpose_of
from spiracle.sheets.worked_shape import number, zone_bar
from spiracle.source import Guardrail, Input, Mark, Worked, Working

QUARTER = Decimal(4)
SUM_FIGURES = 3
SHOWN_FOR = timedelta(minutes=20)  # after the last push, or the start of a pump, the curve belongs to Maintain

EffectState = Literal["ready", "order reached", "over hard stop", "empty"]


@dataclass(frozen=True, slots=True)
class Agent:
    """One syringe to be given to effect, with all that its keys are worked from."""

    syringe: Syringe
    order: DrugOrdered
    strength: Quantity
    barrel: Barrel
    limit: Guardrail | None
    ceiling: Quantity
    high: Quantity
    kg: Decimal
    given: tuple[DrugGiven, ...]
    total: Quantity
    total_ml: Decimal

    @property
    def mark(self) -> Decimal:
        return self.barrel.mark.number("mL")

    @property
    def room_ml(self) -> Decimal:
        """What may still go in before the order's ceiling, in whole marks, never more than the syringe holds."""
        left_of_order = (self.ceiling - self.total) / self.strength
        return max(Decimal(0), down_to(min(left_of_order.number("mL"), self.syringe.left_ml), self.mark))

    def amount(self, volume_ml: Decimal) -> Quantity:
        return (Quantity.of(volume_ml, "mL") * self.strength).to(self.total.unit)

    def per_kg(self, amount: Quantity) -> Quantity:
        return amount / Quantity.of(self.kg, "kg")


def induce(t: Told, plan: PlanSheet) -> InduceSheet:
    agents = tuple(to_effect(t, a) for a in induction_agents(t))
    return airway_part(t, agents, plan)


def induction_agents(t: Told) -> tuple[Agent, ...]:
    """Drawn syringes whose order is for induction. Without weight, strength or barrel there are no keys to offer."""
    found = []
    for syringe in t.syringes:
        order = t.orders.get(syringe.drawn.order)
        if order is None or "induction" not in order.purpose:
            continue
        agent = _agent(t, syringe, order)
        if agent is not None:
            found.append(agent)
    return tuple(found)


def _agent(t: Told, syringe: Syringe, order: DrugOrdered) -> Agent | None:
    strength = concentration(syringe.drawn.concentration)
    barrel = barrel_of(t, syringe.drawn)
    high = order_high(order)
    if strength is None or barrel is None or high is None or not t.kg:
        return None
    ceiling = ordered_amount(order, t.kg)
    if ceiling is None:
        return None
    given = tuple(g for g in t.given if g.drug == order.drug and _counts(g, order, t))
    nothing = Quantity.of(0, ceiling.unit)
    try:
        total = (summed(given) or nothing).to(ceiling.unit)
        _ = ceiling / strength
    except Refusal:
        return None
    return Agent(
        syringe, order, strength, barrel, limit_of(t, order), ceiling, high, t.kg, given, total, summed_ml(given)
    )


def _counts(g: DrugGiven, order: DrugOrdered, t: Told) -> bool:
    """A push of this drug counts toward the order when it names it, or when it names none but was to induce."""
    return g.order == order.order or (not g.order and "induction" in purpose_of(g, t.orders))


def to_effect(t: Told, a: Agent) -> ToEffect:
    e = a.syringe.drawn
    state, words = _state(a)
    quarter = _quarter_ml(a)
    half = max(a.mark, down_to(quarter / 2, a.mark))
    row = dose_row(t, a.order)
    return ToEffect(
        syringe=e.syringe,
        order=a.order.order,
        drug=a.order.drug,
        name=t.names.drug(a.order.drug),
        syringe_class=t.facts.drugs.class_of(a.order.drug),
        strength=e.concentration,
        route=a.order.route,
        total=_total(t, a),
        total_amount=number(a.total, significant=4),
        total_volume=number(Quantity.of(a.total_ml, "mL")),
        left=number(Quantity.of(a.syringe.left_ml, "mL")),
        bar=_bar(a),
        blocks=tuple(_block(a, g) for g in a.given),
        push=_push(a, min(quarter, a.room_ml)) if a.room_ml > 0 and state == "ready" else None,
        half=_push(a, min(half, a.room_ml)) if a.room_ml > 0 and state == "ready" else None,
        ladder=syringe_ladder(t, e, a.order, a.barrel),
        last_at=a.given[-1].happened_at if a.given else None,
        pushes=len(a.given),
        gap_s=_gap_seconds(row.give_over_min if row is not None else None),
        level=_level(t, a, quarter if state == "ready" else None),
        pace=pace(t, a.order.drug, a.given),
        state=state,
        state_text=words,
        call=t.names.hand(whose) if (whose := orderer(a.order, t.facts)) else "",
    )


def _level(t: Told, a: Agent, next_ml: Decimal | None) -> Level | None:
    """The expected level while the animal is being induced, and what the next planned increment would do."""
    drug = drug_id(a.order.drug, t.facts)
    began = [g.happened_at for g in a.given[-1:]]
    began += [s.infusion.started.happened_at for s in streams(t.case, t.facts) if s.drug == drug]
    if not any(at <= t.now <= at + SHOWN_FOR for at in began):
        return None
    volume = None if next_ml is None else min(next_ml, a.room_ml)
    amount = None if not volume else a.amount(volume)
    next_mg = None
    if amount is not None:
        try:
            next_mg = float(amount.number("mg"))
        except Refusal:
            next_mg = None
    return induction_level(t, drug, next_mg, f"{figure(volume)} mL" if volume else "")


def _total(t: Told, a: Agent) -> Num:
    title = f"{t.names.drug(a.order.drug)} so far"
    return number(_worked_total(t, a), title, t.facts.sources, significant=SUM_FIGURES, estimated=t.estimated)


def _quarter_ml(a: Agent) -> Decimal:
    """A quarter of the ordered ceiling in whole marks; at least one mark, so that a tiny patient still has a key."""
    return max(a.mark, down_to((a.ceiling / a.strength).number("mL") / QUARTER, a.mark))


def _worked_total(t: Told, a: Agent) -> Worked[Quantity]:
    per = a.per_kg(a.total)
    pushes = tuple(
        Input(
            f"push {n}",
            f"{figure(g.amount)} {g.unit} at {g.happened_at.astimezone(t.names.zone):%H:%M:%S}",
            Mark.TYPED,
            t.names.hand(g.by),
        )
        for n, g in enumerate(a.given, 1)
    )
    says = (
        f"{quantity_text(a.total, 4)} in {len(a.given)} pushes ÷ {figure(a.kg)} kg = {quantity_text(per, SUM_FIGURES)}"
    )
    held = (a.limit.sentence,) if a.limit is not None else ("no published limit is known",)
    ordered = f"order up to {quantity_text(a.high)}"
    sources = a.limit.sources if a.limit is not None else ()
    weight = Input("weight", f"{figure(a.kg)} kg", Mark.TYPED, "estimated" if t.estimated else "")
    return Worked(
        per,
        Working(
            says=says,
            inputs=(weight, *pushes),
            held=(ordered, *held),
            limit=a.limit,
            sources=sources,
            memory=a.limit.memory if a.limit is not None else False,
            estimated=t.estimated,
        ),
    )


def _state(a: Agent) -> tuple[EffectState, str]:
    hard = a.limit.hard_high if a.limit is not None else None
    if hard is not None and _over(a, hard):
        return "over hard stop", f"over the hard stop of {quantity_text(hard)}"
    if a.total >= a.ceiling or (a.ceiling - a.total) / a.strength < Quantity.of(a.mark, "mL"):
        return "order reached", f"order reached: {quantity_text(a.high)}"
    if a.syringe.left_ml < a.mark:
        return "empty", "syringe is empty"
    return "ready", ""


def _over(a: Agent, hard: Quantity) -> bool:
    try:
        return a.per_kg(a.total) > hard
    except Refusal:
        return False


def _bar(a: Agent) -> ZoneBar:
    """The sum so far against the order and the limits. Where no limit is known the bar ends at the order and says so."""
    per = a.per_kg(a.total)
    if a.limit is not None:
        try:
            return zone_bar(a.limit, per, a.high)
        except Refusal:
            pass
    top = float(a.high.value)
    return ZoneBar(unit=str(a.high.unit), at=float(per.value), usual_low=0.0, usual_high=top, order_high=top, hard=None,
                   zone="usual" if per.value <= a.high.value else "unusual")  # fmt: skip


def _block(a: Agent, g: DrugGiven) -> float:
    """One push in the bar's own unit."""
    unit = a.limit.usual_high.unit if a.limit is not None else a.high.unit
    per = a.per_kg(Quantity.of(g.amount, g.unit))
    try:
        return float(per.number(unit))
    except Refusal:
        return float(per.value)


def _push(a: Agent, volume: Decimal) -> Push:
    amount = a.amount(volume)
    then = a.per_kg(a.total + amount)
    return Push(
        volume_ml=float(volume),
        volume_text=figure(volume),
        amount=float(amount.value),
        unit=str(amount.unit),
        amount_text=quantity_text(amount, 4),
        per_kg_text=quantity_text(a.per_kg(amount), SUM_FIGURES),
        then_text=f"then {figure(then.value, SUM_FIGURES)} of {figure(a.high.value)} {a.high.unit}",
    )


def _gap_seconds(give_over_min: tuple[Decimal, Decimal] | None) -> int:
    """Seconds between quarters where the row says over how many minutes the whole dose is given; 0 where it is silent."""
    if give_over_min is None:
        return 0
    return int(give_over_min[-1] * 60 / QUARTER)
