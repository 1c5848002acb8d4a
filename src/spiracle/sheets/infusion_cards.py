"""Cards of infusions, ordered and running: the pump's rate, both time bases, drops, loading dose, and when it is empty."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import msgspec

from spiracle.case import events as ev
from spiracle.case import standing
from spiracle.case.prepared import dosing_weight, prepared, shelf, vial_of
from spiracle.case.running import is_fluid
from spiracle.case.streams import Stream, streams_of
from spiracle.case.syringes import Infusion, bag_of, syringe
from spiracle.drugs import DosingWeight, OrderedDose, Prepared, dose_rate_of, minutes_left, prepare
from spiracle.drugs.drops import SETS, countable
from spiracle.drugs.infusion import per
from spiracle.drugs.mixing import no_drops
from spiracle.drugs.rows import DoseRow
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import Refusal
from spiracle.sheets.names import capital
from spiracle.sheets.shapes import DropRate, DrugLine, InfusionCard, MarkName, Num
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import number, working_shape
from spiracle.source import Input, Mark, Worked, Working

LOADING = "loading"
PUMP = "A pump runs it."
FROM_SYRINGE = "It runs from a syringe: a pump. Drops are counted from a bag."


def with_cards(t: Told, lines: tuple[DrugLine, ...]) -> tuple[DrugLine, ...]:
    """The plan's lines, each ordered rate with its card."""
    return tuple(
        msgspec.structs.replace(x, card=ordered_card(t, x)) if x.infusion and x.order in t.orders else x for x in lines
    )


# ---- ordered


def ordered_card(t: Told, line: DrugLine) -> InfusionCard | None:
    """The card of an order that is a rate; None without a weight, or where the order was refused before it had a rate."""
    order = t.orders[line.order]
    try:
        made = prepared(t.case, order, t.facts, t.now)
    except Refusal:
        return None
    if made.drug is None or made.row is None or made.rate is None:
        return None
    holds = _ordered_holds(t, order, made)
    drops, why = drops_of(t, made.drug.id, made.rate) if is_fluid(t.facts, made.drug.id) else ((), FROM_SYRINGE)
    words, loads = loading(t, order, made)
    minutes = _minutes(t, holds, made.rate)
    return InfusionCard(
        order=order.order,
        drug=made.drug.id,
        name=capital(made.drug.name),
        syringe_class=made.syringe_class,
        controlled=made.controlled,
        strength="" if made.concentration is None else str(made.concentration),
        diluted=made.dilution.label if made.dilution is not None else "",
        ordered=f"{line.order_text} {made.route}",
        rate=_num(t, made.rate, "rate", made.workings["rate"]),
        per_min=_base(t, made.dose, "min", made.memory),
        per_hour=_base(t, made.dose, "h", made.memory),
        drops=drops,
        no_drops=why,
        loading=words,
        loading_volume=loads,
        holds=number(holds, estimated=t.estimated) if holds is not None else None,
        minutes=minutes,
        speak=_speak(made.drug.name, made.rate, made.concentration, made.dose, made.route),
        void=_printed_for_another(t) or _drawn_otherwise(t, order, made),
        memory=made.memory,
        estimated=t.estimated,
        working=working_shape(made.working, f"{made.drug.name}, infusion", t.facts.sources),
    )


def _ordered_holds(t: Told, order: ev.DrugOrdered, made: Prepared) -> Quantity | None:
    """What the syringe holds from which it will run: the one drawn for the order, else the mix the plan makes."""
    drawn = [s for s in t.syringes if s.drawn.order == order.order and s.left_ml > 0]
    if drawn:
        return Quantity.of(drawn[-1].left_ml, "mL")
    return made.dilution.total if made.dilution is not None else None


def loading(t: Told, order: ev.DrugOrdered, made: Prepared) -> tuple[str, Num | None]:
    """The loading dose beside the infusion: as it was ordered, else what the row says, which is not an order."""
    if made.drug is None:
        return "", None
    ordered = [o for o in t.orders.values() if o.drug == order.drug and LOADING in o.purpose]
    if ordered:
        load = prepared(t.case, ordered[-1], t.facts, t.now)
        words = f"ordered: {load.order.dose_text} {load.route}{_over(load.row)}"
        return words, _load_volume(t, load)
    row = next((r for r in t.facts.drugs.rows(made.drug.id, t.species, LOADING) if not r.infusion), None)
    if row is None:
        return "", None
    low = row.usual_low
    asked = OrderedDose(
        drug=made.drug.id, species=t.species, purpose=LOADING, route=row.routes[0], low=low, high=low, row=row.id,
        strength=vial_of(t.case, order), conditions=tuple(sorted(t.conditions)),
    )  # fmt: skip
    load = prepare(asked, dosing_weight(t.case), shelf(t.facts), t.facts.drugs)
    mark = ", from memory" if row.memory else ""
    words = f"not ordered; usual {row.usual_text} {' or '.join(row.routes)}{_over(row)}{mark}; mL for {low}"
    return words, _load_volume(t, load)


def _over(row: DoseRow | None) -> str:
    if row is None:
        return ""
    how = f", {row.give_how}" if row.give_how else ""
    if row.give_over_min is None:
        return how
    low, high = (figure(m) for m in row.give_over_min)
    return f" over {low} min{how}" if low == high else f" over {low} to {high} min{how}"


def _load_volume(t: Told, load: Prepared) -> Num | None:
    if load.drawn is None or load.drug is None:
        return None
    return number(Worked(load.drawn, load.working), f"{load.drug.name}, loading", t.facts.sources,
                  memory=load.memory, estimated=load.estimated)  # fmt: skip


def _printed_for_another(t: Told) -> str:
    """A printed sheet of infusions says a weight; with another one it is void."""
    printed = [p for p in t.case.live(ev.SheetPrinted) if p.sheet == "infusions" and p.weight_kg is not None]
    if not printed or t.kg is None or printed[-1].weight_kg in (None, t.kg):
        return ""
    return f"The printed card is for {figure(printed[-1].weight_kg or t.kg)} kg, the weight is {figure(t.kg)} kg now."


def _drawn_otherwise(t: Told, order: ev.DrugOrdered, made: Prepared) -> str:
    """A syringe that was drawn for this order at another strength than the card's."""
    for s in reversed(t.syringes):
        if s.drawn.order != order.order or s.left_ml <= 0 or made.concentration is None:
            continue
        held = t.facts.drugs.strength(t.facts.drugs.drug(s.drawn.drug), s.drawn.concentration).quantity
        if held is not None and not _alike(held, made.concentration):
            return f"The syringe was drawn at {held}, the card is for {made.concentration}."
        return ""
    return ""


# ---- running


def running_cards(t: Told, infusion: Infusion) -> tuple[InfusionCard, ...]:
    """What runs as cards: the drug or fluid itself, then each drug of its bag."""
    return tuple(_running_card(t, s) for s in streams_of(t.case, t.facts, infusion))


def _running_card(t: Told, s: Stream) -> InfusionCard:
    rate = Quantity.of(s.rate_ml_h, "mL/h")
    try:
        drug = t.facts.drugs.drug(s.drug)
    except Refusal:  # an entry of another time: shown as it stands
        return InfusionCard(order=s.order, infusion=s.id, drug=s.drug, name=s.drug, strength=_strength(s.holds),
                            ordered="", rate=number(rate, mark="typed", at=s.infusion.since))  # fmt: skip
    order = t.orders.get(s.order)
    dose, working = _dose_now(t, s, order)
    holds = left_of(t, s.infusion)
    drops, why = _drops_of_running(t, s, rate)
    minutes = _minutes(t, holds, rate)
    fluid = is_fluid(t.facts, drug.id)
    return InfusionCard(
        order=s.order,
        infusion=s.id,
        drug=drug.id,
        name=capital(drug.name),
        syringe_class=drug.syringe_class,
        controlled=drug.controlled,
        strength=_strength(s.holds),
        diluted=f"in bag {s.bag}" if s.part is not None else "",
        ordered=_ordered_words(order),
        rate=number(rate, mark="typed", at=s.infusion.since),
        per_min=_base(t, dose, "min", False, working) if dose is not None else None,
        per_hour=_base(t, dose, "h", False, working) if dose is not None else None,
        drops=drops,
        no_drops=why,
        holds=number(holds) if holds is not None else None,
        minutes=minutes,
        empty_at=empty_at(t, s.infusion),
        speak=_speak(drug.name, rate, s.holds, dose, s.route) if not (fluid and s.bag) else "",
        void=void(t, s, order),
        estimated=t.estimated,
        working=working_shape(working, f"{drug.name}, running", t.facts.sources) if working is not None else None,
    )


def _dose_now(t: Told, s: Stream, order: ev.DrugOrdered | None) -> tuple[Quantity | None, Working | None]:
    """The pump's rate as a dose, in the order's own unit or the one that was sent, on the weight of now."""
    if t.kg is None:
        return None, None
    target = order.unit if order is not None and _is_rate(order.unit) else _usual_unit(t, s)
    weight = DosingWeight(t.kg, t.estimated)
    rate = Quantity.of(s.rate_ml_h, "mL/h")
    try:
        dose = dose_rate_of(rate, weight, s.holds, target)
    except Refusal:
        return None, None
    says = f"{rate} × {_strength(s.holds)} ÷ {figure(t.kg)} kg = {_short(dose)}" if s.holds is not None else (
        f"{rate} ÷ {figure(t.kg)} kg = {_short(dose)}")  # fmt: skip
    inputs = (Input("pump", str(rate), Mark.TYPED), Input("weight", f"{figure(t.kg)} kg"))
    holds = (Input("strength", _strength(s.holds), Mark.TYPED),) if s.holds is not None else ()
    return dose, Working(says, (*inputs, *holds), estimated=t.estimated)


def _usual_unit(t: Told, s: Stream) -> str:
    if s.infusion.dose_unit and s.part is None:
        return s.infusion.dose_unit
    if s.holds is None:
        return "mL/kg/h"
    rows = [r for r in t.facts.drugs.every(s.drug, t.species) if r.infusion]
    return str(rows[0].unit) if rows else f"{s.holds.unit.parts[0][0]}/kg/h"


def void(t: Told, s: Stream, order: ev.DrugOrdered | None) -> str:
    """Why the rate that runs does not hold any more: set for another weight, or for another vial than is picked now."""
    then = weight_at(t, s.infusion.since)
    if then is not None and t.kg is not None and then != t.kg:
        return f"Set for {figure(then)} kg, the weight is {figure(t.kg)} kg now."
    drawn = syringe(t.case, s.infusion.started.syringe) if s.infusion.started.syringe else None
    text = s.part.vial_concentration if s.part is not None else drawn.drawn.vial_concentration if drawn else ""
    picked = [p for p in t.case.live(ev.VialPicked) if order is not None and p.order == order.order]
    if not text or not picked:
        return ""
    drug = t.facts.drugs.drug(s.drug)
    was, now = (t.facts.drugs.strength(drug, x).quantity for x in (text, picked[-1].concentration))
    if was is None or now is None or _alike(was, now):
        return ""
    return f"Made from {was}, {now} is picked now."


def weight_at(t: Told, at: datetime) -> Decimal | None:
    """The weight that doses were worked on at a time."""
    weighed = [w for w in t.case.live(ev.Weighed) if w.happened_at <= at]
    own = [w for w in t.case.live(ev.DosingWeightSet) if w.happened_at <= at]
    if own and (not weighed or own[-1].happened_at >= weighed[-1].happened_at):
        return own[-1].weight_kg
    return weighed[-1].weight_kg if weighed else standing.dosing_weight_kg(t.case)


# ---- bag or syringe


def left_of(t: Told, i: Infusion) -> Quantity | None:
    """What is left in the bag or syringe it runs from, as the log counts it; None where nobody said how much there was."""
    drawn = syringe(t.case, i.started.syringe, t.now) if i.started.syringe else None
    if drawn is not None:
        return Quantity.of(max(Decimal(0), drawn.left_ml), "mL")
    exact = _left_ml(t, i)
    return None if exact is None else Quantity.of(exact.quantize(Decimal("0.1")), "mL")


def _left_ml(t: Told, i: Infusion) -> Decimal | None:
    """The same without rounding what ran, so that the time it is empty stands still while it runs."""
    started = i.started
    if started.syringe and (drawn := syringe(t.case, started.syringe, t.now)) is not None:
        ran = sum((x.volume_ml(t.now) for x in t.infusions if x.started.syringe == started.syringe), Decimal(0))
        return max(Decimal(0), drawn.left_ml + drawn.ran_ml - ran)
    if started.bag and (bag := bag_of(t.case, started.bag, t.now)) is not None:
        return bag.left_ml
    return None if started.bag_ml is None else max(Decimal(0), started.bag_ml - i.volume_ml(t.now))


def empty_at(t: Told, i: Infusion) -> datetime | None:
    """When it runs empty at the present rate; unknown unless its size was told."""
    left = _left_ml(t, i)
    if left is None or not i.rate_ml_h or not i.running:
        return None
    return t.now + timedelta(seconds=int(round(left * 3600 / i.rate_ml_h, 6)))


def _minutes(t: Told, holds: Quantity | None, rate: Quantity) -> Num | None:
    if holds is None or rate.value <= 0:
        return None
    found = minutes_left(holds, rate)
    says = f"{figure(holds.value)} mL ÷ {figure(rate.value)} mL/h × 60 = {figure(found)} min"
    return Num(
        text=figure(found),
        unit="min",
        mark="predicted",
        working=working_shape(Working(says), "until empty", t.facts.sources),
    )


# ---- drops


def drops_of(t: Told, drug: str, rate: Quantity) -> tuple[tuple[DropRate, ...], str]:
    """Drops for each giving set of the house; none, with the reason, where a drug is not counted or whole drops are too coarse."""
    why = no_drops(drug, t.facts.drugs)
    if why:
        return (), why
    if rate.value <= 0:
        return (), ""
    found, refused = [], ""
    for per_ml in t.facts.hospital.drop_sets or SETS:
        try:
            d = countable(rate, per_ml, t.facts.drugs.fineness.error_limit)
        except Refusal as refusal:
            refused = refusal.says
            continue
        working = working_shape(Working(d.says), f"{per_ml} drop set", t.facts.sources)
        found.append(
            DropRate(
                drops_per_ml=per_ml,
                per_min=Num(text=str(d.per_min), unit="drops/min", working=working),
                seconds_between=Num(text=figure(d.seconds_between), unit="s", working=working),
                gives=number(d.rate, significant=4),
                error_percent=float(d.error_percent),
            )
        )
    return tuple(found), "" if found else f"{capital(refused)} {PUMP}"


def drops_of_all(t: Told, drugs: tuple[str, ...], rate: Quantity) -> tuple[tuple[DropRate, ...], str]:
    """A bag is counted in drops only where its fluid and every drug in it may be."""
    if rate.value <= 0:
        return (), ""
    why = next((w for d in drugs if (w := no_drops(d, t.facts.drugs))), "")
    return ((), why) if why else drops_of(t, drugs[0], rate)


def _drops_of_running(t: Told, s: Stream, rate: Quantity) -> tuple[tuple[DropRate, ...], str]:
    if s.infusion.started.syringe or (
        not s.bag and s.infusion.started.bag_ml is None and not is_fluid(t.facts, s.drug)
    ):
        return (), FROM_SYRINGE
    return drops_of_all(t, tuple(x.drug for x in streams_of(t.case, t.facts, s.infusion)), rate)


# ---- words and figures


def _base(t: Told, dose: Quantity, time: str, memory: bool, working: Working | None = None) -> Num:
    """The dose on one time base, and how it follows from the one it was written in."""
    found = per(dose, time)
    later = t.estimated and working is not None
    if found.unit == dose.unit:
        shown = Worked(dose, working) if working is not None else dose
        mark: MarkName = "typed" if working is None else "worked"
        return number(shown, "dose rate", t.facts.sources, significant=4, mark=mark, memory=memory, estimated=later)
    how = "× 60" if time == "h" else "÷ 60"
    mass = "" if found.unit.parts[0] == dose.unit.parts[0] else (
        " × 1,000" if _finer(found, dose) else " ÷ 1,000")  # fmt: skip
    line = Working(f"{_short(dose)} {how}{mass} = {_short(found)}", estimated=t.estimated)
    return number(Worked(found, line), f"per {time}", t.facts.sources, significant=4, memory=memory, estimated=later)


def _finer(found: Quantity, dose: Quantity) -> bool:
    return unit(found.unit.parts[0][0]).factor < unit(dose.unit.parts[0][0]).factor


def _num(t: Told, value: Quantity, title: str, working: Working) -> Num:
    return number(Worked(value, working), title, t.facts.sources, memory=working.memory, estimated=t.estimated)


def _is_rate(text: str) -> bool:
    return any(s in {"h", "min", "day"} for s, _ in unit(text).parts)


def _ordered_words(order: ev.DrugOrdered | None) -> str:
    if order is None:
        return ""
    span = figure(order.high) if order.low == order.high else f"{figure(order.low)} to {figure(order.high)}"
    return f"{span} {order.unit} {order.route}"


def _speak(name: str, rate: Quantity, holds: Quantity | None, dose: Quantity | None, route: str) -> str:
    """The sentence to say while the pump is set."""
    of = f" of {_strength(holds)}" if holds is not None else ""
    gives = f", {_short(dose)}" if dose is not None else ""
    return f"{name}, {figure(rate.value)} mL/h{of}{gives}, {route}"


def _strength(holds: Quantity | None) -> str:
    return "" if holds is None else _short(holds)


def _short(q: Quantity) -> str:
    return f"{figure(q.value, 4)} {q.unit}"


def _alike(one: Quantity, other: Quantity) -> bool:
    return one.unit.dimension == other.unit.dimension and one.equals(other)
