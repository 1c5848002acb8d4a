"""Infusions and fluids that run: a known drug, a strength that can be in the syringe, a rate its order or its row allows.

Whether something is a fluid stands in the formulary. All pumps of an order, and of a drug, count together. In an
emergency no limit blocks; what is said must still add up, and what is never given still needs a veterinarian's word.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import conditions
from spiracle.case.by_vein import BOLUS, bag_for_bolus, sugar_for_vein
from spiracle.case.ceilings import run_under
from spiracle.case.decide_orders import standing_order
from spiracle.case.decide_people import need_words, own_hand, said
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight, ordered_dose
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.run_asked import Run, held_in, in_bag, same_strength, strength_there
from spiracle.case.running import (
    FLUID_GROUPS,
    PLAIN,
    ROUNDED,
    SET,
    fluid_ceiling,
    is_fluid,
    of_drug,
    per_time,
    rate_rows,
    rate_stops,
    row_of_hand,
    strength_in,
    told,
    urgent,
)
from spiracle.case.standing import dosing_weight_kg, species
from spiracle.case.syringes import Infusion, bag_of, infusions, syringe
from spiracle.drugs import DoseRow, Drug, dose_rate_of
from spiracle.drugs.cautions import stop_for
from spiracle.drugs.order import judge_dose
from spiracle.drugs.table import RowFacts
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    OutOfRange,
    OverLimit,
    Unknown,
    UnlikeUnits,
)

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

NEAR = Decimal("1.05")  # how close to a whole slip a rate is called one: a pump's step and a rounding
SAME = Decimal("0.02")  # a pump shows tenths of a mL/h and a dose rate three digits
FAR = Decimal("1.5")  # a total read from the pump that is so much more, or less, than rate times time is a slip
WORD = "Run it slower, or a named veterinarian says so with a reason."


def infusion_started(case: Case, event: ev.InfusionStarted, facts: Facts, _now: datetime) -> None:
    need_words(event.infusion, "infusion", "Give the infusion an id.")
    if any(i.started.infusion == event.infusion for i in infusions(case)):
        raise Contradiction("infusion", f"{event.infusion} was started already.", "Change its rate, or start another.")
    inside("pump rate", event.rate_ml_h)
    inside("fluid volume", event.bag_ml)
    drug = facts.drugs.drug(event.drug, species(case))
    facts.drugs.route(event.route)
    if event.purpose:
        facts.drugs.purpose(event.purpose)
    if event.fluid and drug.group not in FLUID_GROUPS:
        raise Contradiction("fluid", f"{drug.name} is a drug, not a fluid.", "Start it as a drug, under its order.")
    word = said(facts, event.said_by, event.reason)
    _from_where(case, event, drug, facts)
    holds = held_in(case, event, drug, facts)
    _rates_agree(case, event, holds)
    order = standing_order(case, event.order, event.drug, facts) if event.order else None
    if order is not None:
        _ordered_before(case, order, event.happened_at)
    run = Run(case, facts, event, event, drug, holds, order, word)
    strength_there(run)
    for each in (run, *in_bag(run)):
        _held(each)


def infusion_changed(case: Case, event: ev.InfusionChanged, facts: Facts, _now: datetime) -> None:
    """To run it slower, nobody has to be asked."""
    found = _running(case, event.infusion, event.happened_at)
    inside("pump rate", event.rate_ml_h)
    started, word = found.started, said(facts, event.said_by, event.reason)
    holds = strength_in(case, started, facts)
    _rates_agree(case, event, holds)
    if event.rate_ml_h <= found.rate_ml_h:
        return
    order = None
    if started.order and not (word or urgent(case)):
        order = standing_order(case, started.order, started.drug, facts)
    run = Run(case, facts, started, event, facts.drugs.drug(started.drug), holds, order, word)
    for each in (run, *in_bag(run)):
        _held(each)


def infusion_stopped(case: Case, event: ev.InfusionStopped, _facts: Facts, _now: datetime) -> None:
    found = _running(case, event.infusion, event.happened_at)
    if event.happened_at < found.since:
        raise Contradiction("infusion", "its rate was changed after that.", "Give the time it stopped.")
    if event.total_ml is None:
        return
    if event.total_ml != 0:
        inside("fluid volume", event.total_ml)
    _was_there(case, found, event)
    bag, worked = found.started.bag_ml, found.volume_ml(event.happened_at)
    made = f"its rates make {figure(worked.quantize(Decimal('0.1')))} mL"
    over = event.total_ml > (bag or worked * FAR + 1)
    if over or (event.total_ml + 1) * FAR < worked:  # too little read would take what went in out of every ceiling
        more = f"the bag held {figure(bag)} mL" if bag and over else made
        with asking(event):
            raise AskAgain(
                "total", f"{figure(event.total_ml)} mL were read, {more}.", "Read the pump again, or confirm it."
            )


def _was_there(case: Case, found: Infusion, event: ev.InfusionStopped) -> None:
    """No more ran from a syringe or a mixed bag than it held when it began."""
    total, name = event.total_ml or Decimal(0), found.started.syringe or found.started.bag
    drawn = syringe(case, found.started.syringe, found.started.happened_at) if found.started.syringe else None
    bag = bag_of(case, found.started.bag, found.started.happened_at)
    held = drawn.left_ml if drawn is not None else bag.left_ml if bag is not None else None
    if held is not None and total > held:
        raise OutOfRange(
            "total", f"{figure(total)} mL were read, {name} held {figure(held)} mL.", "Read the pump again."
        )


def _from_where(case: Case, event: ev.InfusionStarted, drug: Drug, facts: Facts) -> None:
    """The bag or syringe it runs from is there, hangs nowhere else, and is told by one name."""
    if event.bag and event.syringe:
        raise Contradiction("bag", "it cannot run from a bag and a syringe.", "Name one of them.")
    hangs = next((i for i in infusions(case) if i.running and (event.bag or event.syringe)
                  and (i.started.bag, i.started.syringe) == (event.bag, event.syringe)), None)  # fmt: skip
    if hangs is not None:
        field, what = ("bag", event.bag) if event.bag else ("syringe", event.syringe)
        raise Contradiction(
            field, f"{what} runs already as {hangs.started.infusion}.", "Change the rate of that, or stop it first."
        )
    if event.syringe:
        drawn = syringe(case, event.syringe, event.happened_at)
        if drawn is not None and drawn.left_ml <= 0:
            raise Contradiction("syringe", f"{event.syringe} is empty.", "Draw a new one.")
    if event.bag:
        _from_bag(case, event, drug, facts)


def _from_bag(case: Case, event: ev.InfusionStarted, drug: Drug, facts: Facts) -> None:
    bag = bag_of(case, event.bag, event.happened_at)
    if bag is None:
        raise Unknown("bag", f"{event.bag!r} is not a bag that was mixed.", "Enter what went into the bag first.")
    fluid = facts.drugs.drug(bag.mixed.fluid)
    if drug.id != fluid.id:
        raise Contradiction("bag", f"{event.bag} is a bag of {fluid.name}, not {drug.name}.", "Take the right bag.")
    if event.concentration:
        raise Contradiction("concentration", "a bag with drugs in it has no single strength.",
                            "Leave it out: each drug's strength follows from what went in.")  # fmt: skip
    if event.bag_ml is not None and event.bag_ml != bag.mixed.volume_ml:
        raise Contradiction("fluid volume", f"{event.bag} holds {figure(bag.mixed.volume_ml)} mL, not {figure(event.bag_ml)} mL.",
                            "Take the right bag.", use=figure(bag.mixed.volume_ml))  # fmt: skip
    if event.happened_at < bag.mixed.happened_at:
        raise Contradiction("happened at", "is before the bag was mixed.", "Give the time it began to run.")
    if bag.left_ml <= 0:
        raise Contradiction("bag", f"{event.bag} has run out.", "Mix a new bag.")


def _running(case: Case, name: str, at: datetime) -> Infusion:
    found = next((i for i in reversed(infusions(case)) if i.started.infusion == name), None)
    if found is None:
        raise Unknown("infusion", f"{name!r} was not started.", "Choose a running infusion.")
    if found.stopped is not None:
        raise Contradiction("infusion", f"{name} was stopped.", "Start it again as a new one.")
    if at < found.started.happened_at:
        raise Contradiction("infusion", f"{name} had not begun then.", "Give the time it happened.")
    return found


def _ordered_before(case: Case, order: ev.DrugOrdered, at: datetime) -> None:
    if not urgent(case) and all(o.happened_at > at for o in case.live(ev.DrugOrdered) if o.order == order.order):
        raise Contradiction(
            "order", f"{order.drug.replace('_', ' ')} was not ordered yet at that time.", "Give the time it happened."
        )


def _rates_agree(case: Case, event: ev.InfusionStarted | ev.InfusionChanged, holds: Quantity | None) -> None:
    """The dose rate is worked again from the pump's rate, the strength and the weight."""
    if event.dose_rate is None:
        return
    if not event.dose_unit:
        raise Missing("dose unit", "is not given.", "Give it, like mcg/kg/min.")
    said_, ml_h = Quantity.of(event.dose_rate, event.dose_unit), event.rate_ml_h
    if urgent(case) and dosing_weight_kg(case) is None:
        return
    try:
        worked = dose_rate_of(Quantity.of(ml_h, "mL/h"), dosing_weight(case), holds, said_.unit)
    except UnlikeUnits as unlike:
        raise UnlikeUnits("dose rate", f"{said_} does not follow from {figure(ml_h)} mL/h of {holds or 'no strength'}.",
                          "Give strength and dose rate in one kind.") from unlike  # fmt: skip
    if abs(worked.value - said_.value) > worked.value * SAME:
        raise Contradiction("dose rate", f"{figure(ml_h)} mL/h gives {figure(worked.value, 4)} {worked.unit}, not {said_}.",
                            "Look at the pump again.")  # fmt: skip


# ---- limits


def _held(run: Run) -> None:
    _never(run)
    if urgent(run.case):
        return
    if run.word:
        _own_hand(run)
        return
    _vein(run)
    if run.drug.group in FLUID_GROUPS:
        _fluid(run)
    else:
        _drug(run)
    run_under(run)


def _vein(run: Run) -> None:
    if run.by_veterinarian and run.entry.reason.strip():
        return
    if run.part is None and run.started.bag and _is_bolus(run):
        bag_for_bolus(run.case, run.started.bag, run.facts)
    if run.route == "IV":
        sugar_for_vein(run.case, run.drug, run.holds, run.facts, "concentration", run.entry, asks=True)


def _is_bolus(run: Run) -> bool:
    return bool(run.purpose) and run.facts.drugs.purpose(run.purpose) == BOLUS


def _drug(run: Run) -> None:
    if run.order is not None:
        _ordered(run, run.order)
    elif run.by_veterinarian:
        _by_hand(run)
    else:
        raise Missing(
            "order",
            f"no order of {run.drug.name} is named.",
            "Name the order, or the veterinarian who said so and why.",
        )


def _own_hand(run: Run) -> None:
    """A word with a reason passes a stop; beyond twice the stop the veterinarian enters it."""
    kg = dosing_weight_kg(run.case)
    row = row_of_hand(run.case, run.drug, run.route, run.purpose, run.facts, run.entry.happened_at)
    if kg is None or row is None or row.emergency:
        return
    for stop in rate_stops(row):
        runs = run.total(of_drug(run.beside, run.drug.id, run.facts), stop.at.unit, kg)
        own_hand(run.entry.by, run.entry.said_by, runs, stop.at, "rate")


def _never(run: Run) -> None:
    """What is never run into this animal: only on a veterinarian's word with a reason, outside emergencies in his own hand."""
    why = _why_never(run)
    if not why or (run.word and (urgent(run.case) or run.entry.by == run.entry.said_by)):
        return
    raise OverLimit("drug", f"{run.drug.name} is never run like this into a {run.species}{_how_much(run)}: {why}".strip(),
                    "Choose another way, or the veterinarian enters it and says why.")  # fmt: skip


def _how_much(run: Run) -> str:
    """What it would come to, where that can be said."""
    kg = dosing_weight_kg(run.case)
    row = row_of_hand(run.case, run.drug, run.route, run.purpose, run.facts, run.entry.happened_at)
    if kg is None or row is None or run.holds is None:
        return ""
    return f", {told(run.total(of_drug(run.beside, run.drug.id, run.facts), row.unit, kg))}"


def _why_never(run: Run) -> str:
    facts, drug = run.facts.drugs, run.drug
    zero = [f for f in facts.figures("never", run.species, drug.id)
            if set(f.routes) & {run.route, "any"} and not f.conditions]  # fmt: skip
    for row in zero:
        if _forbids(run, row):
            return row.note.split("A zero row")[0].strip() or "a zero row."
    able = rate_rows(run.case, drug, run.route, "", run.facts)
    kept = [r for r in facts.every(drug.id, run.species) if r.infusion and run.route in r.routes and r.pick == "never"]
    return f"{kept[0].pick_why}." if kept and not able else ""


def _forbids(run: Run, row: RowFacts) -> bool:
    """A zero rate forbids running; a zero push forbids what amounts to one: undiluted, or faster than its rate may be."""
    if per_time(unit(row.unit)):
        purpose = run.facts.drugs.purpose(run.purpose) if run.purpose else ""
        return not purpose or bool(set(row.purposes) & {purpose, "any"})
    if "any" not in row.purposes:
        return False
    vials = [s.quantity for s in run.drug.strengths if s.quantity is not None]
    if run.holds is not None and any(same_strength(run.holds, v) for v in vials):
        return True
    if any(run.drug.id in v.drugs for v in run.facts.drugs.veins):
        return False  # thinned: how strong it may be is held against the vein
    kg = dosing_weight_kg(run.case)
    able = row_of_hand(run.case, run.drug, run.route, run.purpose, run.facts, run.entry.happened_at)
    if kg is None or able is None or run.holds is None:
        return True
    total = run.total(of_drug(run.beside, run.drug.id, run.facts), able.unit, kg)
    return any(total.to(s.at.unit).value > s.at.value * ROUNDED for s in rate_stops(able))


def _ordered(run: Run, order: ev.DrugOrdered) -> None:
    """Not faster than ordered, all pumps of the order together; nor past the row's stops, all pumps of the drug together."""
    weight, top = dosing_weight(run.case), Quantity.of(order.high, order.unit)
    if not per_time(top.unit):
        raise Contradiction("order", f"{run.drug.name} {figure(order.high)} {order.unit} is a dose, no rate.",
                            "Have a rate ordered, like mg/kg/h, or name the veterinarian who said so and why.")  # fmt: skip
    if run.facts.drugs.route(order.route) != run.route:
        raise Contradiction("route", f"{run.drug.name} was ordered {order.route}, not {run.started.route}.",
                            "Run it as ordered, or name the veterinarian who said so and why.")  # fmt: skip
    mine = tuple(i for i in run.beside if i.order == order.order)
    runs = run.total(mine, top.unit, weight.kg)
    slip = slip_at_pump(runs, Quantity.of(order.low, order.unit), top)
    if runs.value > top.value * SET:
        all_ = " with what runs already" if mine else ""
        raise OverLimit("rate", f"{run.named}{figure(run.entry.rate_ml_h)} mL/h{all_} is {told(runs)}, over the ordered {told(top)}. "
                        f"{slip}".rstrip(), "Run it slower, or have it ordered anew.")  # fmt: skip
    if slip:
        with asking(run.entry):
            raise AskAgain("rate", f"{run.named}{figure(run.entry.rate_ml_h)} mL/h is {told(runs)}, ordered {told(top)}. {slip}",
                           "Look at the pump again, or confirm it.")  # fmt: skip
    dose = ordered_dose(run.case, order, run.facts, run.entry.happened_at)
    row = run.facts.drugs.choose(dose, weight)
    if dose.overridden or row.emergency:
        return
    _not_cautioned(run)
    _under_stops(run, row, weight.kg)


SLIPS = (
    (Decimal(1000), "A thousand times: mg taken for mcg?", "A thousandth: mcg taken for mg?"),
    (Decimal(60), "Sixty times: per minute taken for per hour?", "A sixtieth: per hour taken for per minute?"),
    (Decimal(10), "Ten times: a point slipped?", "A tenth: a point slipped?"),
)


def slip_at_pump(runs: Quantity, low: Quantity, high: Quantity) -> str:
    """The slip that a rate far off its order looks like, as a question; nothing for one that is only slower or faster.

    >>> slip_at_pump(Quantity.of(600, "mcg/kg/min"), Quantity.of(10, "mcg/kg/min"), Quantity.of(10, "mcg/kg/min"))
    'Sixty times: per minute taken for per hour?'
    """
    for times, over, under in SLIPS:
        if low.value / NEAR <= runs.value / times <= high.value * NEAR:
            return over
        if low.value / NEAR <= runs.value * times <= high.value * NEAR:
            return under
    return ""


def _by_hand(run: Run) -> None:
    """A veterinarian without an order: a row of this species and route, its stops, and a question past what is published."""
    weight = dosing_weight(run.case)
    row = row_of_hand(run.case, run.drug, run.route, run.purpose, run.facts, run.entry.happened_at)
    if row is None:
        raise _no_row(run)
    if run.entry.reason.strip():
        return  # his own hand, and he says why
    if not row.emergency:
        _not_cautioned(run)
        _under_stops(run, row, weight.kg)
    judged = judge_dose(run.total(of_drug(run.beside, run.drug.id, run.facts), row.unit, weight.kg), row, weight)
    if judged.asks:
        asked = (
            judged.slip or f"{told(judged.per_row) if judged.per_row else ''} is over what is published ({row.high})"
        )
        with asking(run.entry):
            raise AskAgain("rate", f"{asked}.", "Look at the pump again, or confirm it.")


def _no_row(run: Run) -> Unknown:
    routes = [r for r in run.facts.drugs.every(run.drug.id, run.species) if r.infusion and r.pick != "never"]
    ways = ", ".join(dict.fromkeys(f"{w} for {p}" for r in routes for w in r.routes for p in r.purposes))
    return Unknown("rate", f"{run.drug.name} has no row for running by {run.route} in a {run.species}.",
                   f"Listed: {ways}." if ways else "Give it as a dose, or a named veterinarian says so with a reason.")  # fmt: skip


def _not_cautioned(run: Run) -> None:
    """A condition found since the order stops it as it would have stopped the order."""
    found = conditions(run.case, run.facts, run.entry.happened_at)
    stop = stop_for(run.drug.id, run.species, found, run.facts.drugs)
    if stop is not None:
        because = ", ".join(sorted(found & set(stop.when)))
        raise OverLimit("caution", f"{run.drug.name} is stopped by {because}: {stop.statement}",
                        "Choose another drug, or a named veterinarian says so with a reason.")  # fmt: skip


def _under_stops(run: Run, row: DoseRow, kg: Decimal) -> None:
    for stop in rate_stops(row):
        runs = run.total(of_drug(run.beside, run.drug.id, run.facts), stop.at.unit, kg)
        if runs.value > stop.at.value * ROUNDED:
            raise OverLimit("rate", f"{run.drug.name} would run at {told(runs)}, over the {stop.words}.", WORD)


def _fluid(run: Run) -> None:
    """Under an order of a rate: the order. Else all fluids together keep to the ceiling; blood and the like need a word too."""
    order = run.order
    if order is not None and per_time(unit(order.unit)):
        _ordered(run, order)
        return
    if order is None and run.drug.group != PLAIN and not run.by_veterinarian:
        raise Missing(
            "order",
            f"no order of {run.drug.name} is named.",
            "Name the order, or the veterinarian who said so and why.",
        )
    if run.route not in {r for row in run.facts.drugs.every(run.drug.id, run.species) for r in row.routes}:
        raise Unknown(
            "route",
            f"{run.drug.name} is not listed by {run.route}.",
            "Run it IV, or a named veterinarian says so with a reason.",
        )
    kg = dosing_weight_kg(run.case)
    if kg is None:
        raise Missing("weight", "is not known, so no rate can be held against its ceiling.", "Weigh the patient first.")
    top = fluid_ceiling(run.case, run.drug, run.facts, run.entry.happened_at, kg)
    beside = tuple(i for i in run.beside if is_fluid(run.facts, i.drug))
    runs = run.total(beside, top.unit, kg)
    if runs > top:
        all_ = f" makes {told(runs)} in all," if beside else " is"
        raise OverLimit("rate", f"{figure(run.entry.rate_ml_h)} mL/h{all_} over {told(top)}.",
                        "Run it slower, or name the order for more.")  # fmt: skip


RULES: Rules = {
    ev.InfusionStarted: infusion_started,
    ev.InfusionChanged: infusion_changed,
    ev.InfusionStopped: infusion_stopped,
}
