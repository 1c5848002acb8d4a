"""From an order to a syringe: one entry point. A refusal is part of the answer, with everything worked up to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from spiracle.drugs.cautions import stop_for
from spiracle.drugs.dilution import Wish, dilute, dilute_for_rate
from spiracle.drugs.formulary import Formulary
from spiracle.drugs.hub import hub_words, scale_words
from spiracle.drugs.infusion import hourly, per_hour, rate_ml_h
from spiracle.drugs.needs import needs_of
from spiracle.drugs.order import DosingWeight, OrderedDose, allow, judge, ordered_amount
from spiracle.drugs.prepared import Prepared
from spiracle.drugs.rows import DoseRow, in_unit
from spiracle.drugs.stock import Drug, Stock
from spiracle.drugs.syringe import Barrel, Measured, measure, percent, shared, tolerance, usable
from spiracle.drugs.vial import vial
from spiracle.drugs.wording import amount_line, delivered_line, rate_line, short, volume_line, with_base
from spiracle.quantity import Quantity, down_to, figure, nearest
from spiracle.refusals import NotMeasurable, OverLimit, Refusal
from spiracle.source import Working

_QUARTERS = 4
_WHOLE_ML = Quantity.of(1, "mL")
_TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is settled once an order has been looked up and allowed."""

    order: OrderedDose
    drug: Drug
    row: DoseRow
    route: str
    weight: DosingWeight
    stock: Stock
    formulary: Formulary
    wish: Wish | None = None

    @property
    def barrels(self) -> tuple[Barrel, ...]:
        if self.order.barrel:
            return (self.formulary.barrel(self.order.barrel),)
        return self.formulary.barrels_of(self.stock)

    @property
    def emergency(self) -> bool:
        """Never blocked by how finely it can be measured: warned, and never more than ordered."""
        return self.row.emergency or self.order.emergency


def prepare(
    order: OrderedDose, weight: DosingWeight, stock: Stock, formulary: Formulary, wish: Wish | None = None
) -> Prepared:
    """An order made ready for this animal from this stock. Never raises a refusal: it stands in the answer.

    `wish`: the recipe to take if this volume has to be diluted and that recipe can be measured, so that several small drugs of
    one animal are diluted alike.
    """
    made = Prepared(order=order, purpose=order.purpose, route=order.route, dose=order.high, estimated=weight.estimated)
    try:
        drug = formulary.drug(order.drug, order.species)
        made = replace(made, drug=drug, purpose=formulary.purpose(order.purpose), route=formulary.route(order.route))
        row = formulary.choose(order, weight)
        made = replace(made, row=row)
        judged = judge(order, row, weight)
        made = replace(made, judgement=judged)
        allow(order, row, judged)
        _not_stopped(order, drug, row, formulary)
        asked = _Asked(order, drug, row, made.route, weight, stock, formulary, wish)
        amount = hourly(ordered_amount(order, weight)) if row.infusion else ordered_amount(order, weight)
        made = _note(replace(made, amount=amount), "amount", amount_line(order, weight, amount))
        made = _with_vial(made, amount, asked)
        made = _infusion(made, amount, asked) if row.infusion else _bolus(made, amount, asked)
        return replace(made, needs=needs_of(made))
    except _Stopped as stopped:
        return replace(stopped.made, refusal=stopped.refusal)
    except Refusal as refusal:
        return replace(made, refusal=refusal)


def _not_stopped(order: OrderedDose, drug: Drug, row: DoseRow, formulary: Formulary) -> None:
    """A condition of this animal that stops the drug; emergencies are warned by the cautions beside, never blocked."""
    if row.emergency or order.emergency or order.overridden:
        return
    stop = stop_for(drug.id, order.species, order.conditions, formulary)
    if stop is not None:
        raise OverLimit(
            "caution",
            f"{drug.name} is stopped by {', '.join(sorted(set(order.conditions) & set(stop.when)))}: {stop.statement}",
            "Choose another drug, or a named veterinarian says so with a reason.",
        )


class _Stopped(Exception):
    """A refusal on the way, with what was worked before it; never leaves this module."""

    def __init__(self, made: Prepared, refusal: Refusal) -> None:
        self.made, self.refusal = made, refusal


def _note(made: Prepared, name: str, line: Working) -> Prepared:
    full = with_base(line, made.sources, made.limits, made.guardrail, memory=made.memory, estimated=made.estimated)
    return replace(made, workings={**made.workings, name: full})


def _with_vial(made: Prepared, amount: Quantity, asked: _Asked) -> Prepared:
    """The vial. A dose by volume, or in puffs, needs none."""
    if amount.unit.parts[0][0] in {"mL", "puff"}:
        return made
    try:
        strength = vial(asked.order, asked.drug, asked.row, asked.route, asked.stock, asked.formulary)
    except Refusal as refusal:
        raise _Stopped(made, refusal) from refusal
    return made if strength is None else replace(made, strength=strength, concentration=strength.quantity)


def _bolus(made: Prepared, amount: Quantity, asked: _Asked) -> Prepared:
    conc = made.concentration
    if conc is None and amount.unit.parts[0][0] != "mL":
        return made  # puffs, capsules: an amount without a volume
    volume = amount if conc is None else (amount / conc).to("mL")
    made = _note(replace(made, volume=volume), "volume", volume_line(amount, conc, volume))
    barrels, fineness = usable(asked.barrels, conc), asked.formulary.fineness
    if not barrels:
        raise _Stopped(made, _no_scale(made, asked))
    found = measure(volume, barrels, fineness)
    if found is not None and fineness.within(found.error_percent):
        return _drawn(made, amount, (found,), asked)
    if conc is not None and (parts := shared(volume, barrels, fineness)):
        return _drawn(made, amount, parts, asked)
    if volume > max((b.holds for b in barrels), key=lambda q: q.value):  # a bag or a pump measures it
        return _from_a_bag(made, amount, volume, asked)
    return _thinned(made, amount, volume, found, asked)


def _no_scale(made: Prepared, asked: _Asked) -> NotMeasurable:
    return NotMeasurable(
        "syringe", f"{asked.drug.name} {made.concentration} cannot be read on a scale in units of insulin.",
        "Take a syringe with a scale in mL.",
    )  # fmt: skip


def _from_a_bag(made: Prepared, amount: Quantity, volume: Quantity, asked: _Asked) -> Prepared:
    whole = Quantity.of(down_to(volume.value, _WHOLE_ML.value), "mL")
    off = percent(whole.value, volume.value)
    if made.concentration is not None and not asked.formulary.fineness.within(off) and not asked.emergency:
        most = int(asked.formulary.fineness.most_syringes)
        says = f"{short(volume)} of {asked.drug.name} is more than {most} of the largest syringe in the drawer hold."
        raise _Stopped(made, NotMeasurable("syringe", says, "Lay a larger syringe ready, or pick a stronger vial."))
    return _drawn(made, amount, (), asked, whole)


def _thinned(made: Prepared, amount: Quantity, volume: Quantity, found: Measured | None, asked: _Asked) -> Prepared:
    """A dilution; failing that a refusal by name, or in an emergency the coarse mark."""
    if made.concentration is not None:
        fineness = asked.formulary.fineness
        thin = dilute(volume, made.concentration, asked.drug, asked.barrels, fineness, asked.wish)
        if thin is not None:
            recipe, dose = thin
            weak = (amount / recipe.concentration).to("mL")
            made = replace(made, dilution=recipe, concentration=recipe.concentration, volume=weak)
            made = _note(made, "dilution", recipe.working)
            return _drawn(made, amount, (dose,), asked)
    if found is not None and asked.emergency:
        return _drawn(made, amount, (found,), asked)
    why = "it may not be diluted" if not asked.drug.diluents else "it cannot be diluted in measurable steps"
    raise _Stopped(made, _too_coarse(made, volume, found, why, asked) if found else _too_small(volume, why, asked))


def _too_small(volume: Quantity, why: str, asked: _Asked) -> NotMeasurable:
    return NotMeasurable(
        "volume", f"{figure(volume.value, 3)} mL of {asked.drug.name} is too small to measure, and {why}.",
        "Pick a weaker vial or another syringe.",
    )  # fmt: skip


def _too_coarse(made: Prepared, volume: Quantity, found: Measured, why: str, asked: _Asked) -> NotMeasurable:
    """A mark that takes away more than the hospital allows: told with the dose that is on the mark."""
    gives = _gives(found.volume, made.concentration)
    on_mark = in_unit(gives, asked.order.high.unit, asked.weight.kg)
    less, limit = nearest(-found.error_percent, _TENTH), asked.formulary.fineness.largest_error
    return NotMeasurable(
        "volume",
        f"{short(volume)} of {asked.drug.name} reads {found.volume} on the {found.barrel.name}, {figure(less)} % less: over the "
        f"error limit of {figure(limit)} %, and {why}.",
        f"Order {short(on_mark)}, which is {found.volume}, or pick a weaker vial or a finer syringe.",
    )  # fmt: skip


def _drawn(
    made: Prepared, amount: Quantity, fills: tuple[Measured, ...], asked: _Asked, whole: Quantity = _WHOLE_ML
) -> Prepared:
    """What the marked volume gives: never above the order, whatever the division rounded. Without a syringe: whole mL."""
    barrel, step = (fills[0].barrel, fills[0].barrel.mark) if fills else (None, _WHOLE_ML)
    drawn = sum((f.volume for f in fills[1:]), fills[0].volume) if fills else whole
    delivered = _gives(drawn, made.concentration)
    while delivered > amount and drawn.value > 0:
        drawn = drawn - step
        fills = (*fills[:-1], replace(fills[-1], volume=fills[-1].volume - step)) if fills else fills
        delivered = _gives(drawn, made.concentration)
    delivered = delivered.to(amount.unit)
    error = percent(delivered.value, amount.value)
    several = len(fills) > 1
    fineness = asked.formulary.fineness
    made = replace(
        made, barrel=None if several else barrel, fills=fills, drawn=drawn, delivered=delivered, error_percent=error,
        pushes=tuple(f.volume for f in fills) if several else _pushes(drawn, barrel) if made.purpose == "induction" else (),
        hub="" if barrel is None else hub_words(fills[0].volume, barrel, fineness),
        scale="" if barrel is None else scale_words(fills[0].volume, barrel),
    )  # fmt: skip
    per = in_unit(delivered, asked.row.unit, asked.weight.kg)
    off = None if barrel is None else tolerance(fills[0].volume, barrel, asked.formulary.tolerances)
    return _note(made, "delivered", delivered_line(drawn, made.concentration, delivered, step, error, per, off))


def _gives(drawn: Quantity, concentration: Quantity | None) -> Quantity:
    return drawn if concentration is None else drawn * concentration


def _pushes(drawn: Quantity, barrel: Barrel | None) -> tuple[Quantity, ...]:
    """An induction dose in four pushes: quarters down to a mark, the rest in the last."""
    if barrel is None:
        return ()
    quarter = down_to(drawn.value / _QUARTERS, barrel.mark.value)
    if quarter == 0:
        return ()
    last = drawn.value - quarter * (_QUARTERS - 1)
    return tuple(Quantity.of(v, "mL") for v in (*[quarter] * (_QUARTERS - 1), last))


def _infusion(made: Prepared, amount: Quantity, asked: _Asked) -> Prepared:
    """The pump's rate, rounded down to what it can be set to; diluted where it would run too slowly or too coarsely."""
    fineness, conc = asked.formulary.fineness, made.concentration
    wanted = rate_ml_h(asked.order.high, asked.weight, conc)
    if conc is not None and (wanted < fineness.least_rate or not fineness.within(_off(wanted, fineness.pump_step))):
        thin = dilute_for_rate(wanted, conc, asked.drug, asked.barrels, fineness)
        if thin is not None:
            conc = thin.concentration
            made = _note(replace(made, dilution=thin, concentration=conc), "dilution", thin.working)
            wanted = rate_ml_h(asked.order.high, asked.weight, conc)
    rate = Quantity.of(down_to(wanted.value, fineness.pump_step.value), "mL/h")
    if rate.value <= 0:
        slow = f"{figure(wanted.value, 3)} mL/h is slower than a pump can be set to."
        raise _Stopped(made, NotMeasurable("rate", slow, "Dilute the infusion."))
    top = amount.unit.parts[0][0]
    delivered = per_hour(rate, conc, top)
    if delivered.value > amount.value:  # a division that rounded up
        rate = Quantity(rate.value - fineness.pump_step.value, rate.unit)
        delivered = per_hour(rate, conc, top)
    error = percent(delivered.value, amount.value)
    if not fineness.within(error) and not asked.emergency:
        raise _Stopped(made, _too_coarse_a_rate(wanted, rate, error, asked))
    made = replace(made, rate=rate, delivered=delivered, error_percent=error)
    per = in_unit(delivered, asked.row.unit, asked.weight.kg)
    return _note(made, "rate", rate_line(amount, conc, wanted, rate, error, per))


def _off(rate: Quantity, step: Quantity) -> Decimal:
    return percent(down_to(rate.value, step.value), rate.value) if rate.value > 0 else Decimal(0)


def _too_coarse_a_rate(wanted: Quantity, rate: Quantity, error: Decimal, asked: _Asked) -> NotMeasurable:
    limit = asked.formulary.fineness.largest_error
    able = (
        "Pick a weaker vial or a pump with finer steps" if not asked.drug.diluents else "Pick a pump with finer steps"
    )
    return NotMeasurable(
        "rate",
        f"{short(wanted)} can only be set to {rate}, {figure(nearest(-error, _TENTH))} % less: over the error limit of "
        f"{figure(limit)} %.",
        f"{able}, or order a rate that is on a step.",
    )
