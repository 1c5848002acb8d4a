"""From an order to a syringe: one entry point. A refusal is part of the answer, with everything worked up to it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal

from spiracle.drugs.cautions import stop_for
from spiracle.drugs.dilution import Dilution, dilute, dilute_for_rate
from spiracle.drugs.formulary import Formulary
from spiracle.drugs.infusion import hourly, per_hour, rate_ml_h
from spiracle.drugs.order import DosingWeight, Judgement, OrderedDose, allow, judge, ordered_amount
from spiracle.drugs.rows import DoseRow, in_unit
from spiracle.drugs.stock import Drug, Stock, Strength
from spiracle.drugs.syringe import Barrel, Measured, measure, percent
from spiracle.drugs.table import ClassName
from spiracle.drugs.vial import vial
from spiracle.drugs.wording import amount_line, delivered_line, rate_line, volume_line, with_base
from spiracle.quantity import Quantity, down_to, figure
from spiracle.refusals import NotMeasurable, OverLimit, Refusal
from spiracle.source import Guardrail, Working, Zone

_QUARTERS = 4
_WHOLE_ML = Quantity.of(1, "mL")


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """An order made ready. `error_percent` is delivered against ordered, never above 0 but for rounding of its own."""

    order: OrderedDose
    purpose: str
    route: str
    dose: Quantity
    drug: Drug | None = None
    row: DoseRow | None = None
    judgement: Judgement | None = None
    amount: Quantity | None = None
    strength: Strength | None = None
    concentration: Quantity | None = None
    dilution: Dilution | None = None
    volume: Quantity | None = None
    barrel: Barrel | None = None
    drawn: Quantity | None = None
    delivered: Quantity | None = None
    error_percent: Decimal | None = None
    rate: Quantity | None = None
    pushes: tuple[Quantity, ...] = ()
    workings: dict[str, Working] = field(default_factory=dict)
    estimated: bool = False
    refusal: Refusal | None = None

    @property
    def mark(self) -> Quantity | None:
        return self.barrel.mark if self.barrel else None

    @property
    def zone(self) -> Zone | None:
        return self.judgement.zone if self.judgement else None

    @property
    def guardrail(self) -> Guardrail | None:
        return self.judgement.guardrail if self.judgement else None

    @property
    def limits(self) -> tuple[str, ...]:
        return self.judgement.words if self.judgement else ()

    @property
    def working(self) -> Working:
        """The whole arithmetic in one line, with every input and source."""
        lines = list(self.workings.values())
        rail = self.guardrail
        return Working(
            says="; ".join(w.says for w in lines),
            inputs=tuple(dict.fromkeys(i for w in lines for i in w.inputs)),
            held=self.limits,
            limit=rail,
            sources=self.sources,
            memory=self.memory,
            estimated=self.estimated,
        )

    @property
    def sources(self) -> tuple[str, ...]:
        row = (*self.row.sources, *(s for stop in self.row.stops for s in stop.sources)) if self.row else ()
        strength = self.strength.sources if self.strength else ()
        return tuple(dict.fromkeys((*row, *strength, *(self.dilution.sources if self.dilution else ()))))

    @property
    def memory(self) -> bool:
        return bool(
            (self.row and self.row.memory)
            or (self.strength and self.strength.memory)
            or (self.dilution and self.dilution.memory)
        )

    @property
    def conditions(self) -> tuple[str, ...]:
        return self.row.conditions if self.row else ()

    @property
    def syringe_class(self) -> ClassName:
        return self.drug.syringe_class if self.drug else "other"

    @property
    def is_reversal(self) -> bool:
        return bool(self.drug and self.drug.is_reversal)

    @property
    def controlled(self) -> str:
        return self.drug.controlled if self.drug else ""

    @property
    def reversal(self) -> str:
        return self.drug.reversal if self.drug else ""

    @property
    def give_over_min(self) -> tuple[Decimal, Decimal] | None:
        return self.row.give_over_min if self.row else None

    @property
    def give_how(self) -> str:
        return self.row.give_how if self.row else ""

    @property
    def onset_min(self) -> tuple[Decimal, Decimal] | None:
        return self.row.onset_min if self.row else None

    @property
    def lasts_min(self) -> tuple[Decimal, Decimal] | None:
        return self.row.lasts_min if self.row else None

    @property
    def ask(self) -> tuple[str, ...]:
        return self.row.ask if self.row else ()


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

    @property
    def barrels(self) -> tuple[Barrel, ...]:
        if self.order.barrel:
            return (self.formulary.barrel(self.order.barrel),)
        return self.formulary.barrels_of(self.stock)


def prepare(order: OrderedDose, weight: DosingWeight, stock: Stock, formulary: Formulary) -> Prepared:
    """An order made ready for this animal from this stock. Never raises a refusal: it stands in the answer."""
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
        asked = _Asked(order, drug, row, made.route, weight, stock, formulary)
        amount = hourly(ordered_amount(order, weight)) if row.infusion else ordered_amount(order, weight)
        made = _note(replace(made, amount=amount), "amount", amount_line(order, weight, amount))
        made = _with_vial(made, amount, asked)
        return _infusion(made, amount, asked) if row.infusion else _bolus(made, amount, asked)
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
    found = measure(volume, asked.barrels, asked.formulary.fineness)
    if found is not None and -found.error_percent <= asked.formulary.fineness.largest_error:
        return _drawn(made, amount, found.volume, found.barrel, asked)
    if volume.value > max(b.holds.value for b in asked.barrels):  # a bag or a pump measures it
        whole = Quantity.of(down_to(volume.value, _WHOLE_ML.value), "mL")
        return _drawn(made, amount, whole, None, asked)
    return _thinned(made, amount, volume, found, asked)


def _thinned(made: Prepared, amount: Quantity, volume: Quantity, found: Measured | None, asked: _Asked) -> Prepared:
    """A dilution; failing that the coarse mark, if there is one; failing that a refusal."""
    if made.concentration is not None:
        thin = dilute(volume, made.concentration, asked.drug, asked.barrels, asked.formulary.fineness)
        if thin is not None:
            recipe, dose = thin
            weak = (amount / recipe.concentration).to("mL")
            made = replace(made, dilution=recipe, concentration=recipe.concentration, volume=weak)
            made = _note(made, "dilution", recipe.working)
            return _drawn(made, amount, dose.volume, dose.barrel, asked)
    if found is not None:
        return _drawn(made, amount, found.volume, found.barrel, asked)
    why = "may not be diluted" if not asked.drug.diluents else "cannot be diluted in measurable steps"
    refusal = NotMeasurable(
        "volume",
        f"{figure(volume.value, 3)} mL of {asked.drug.name} is too small to measure, and it {why}.",
        "Pick a weaker vial or another syringe.",
    )
    raise _Stopped(made, refusal)


def _drawn(made: Prepared, amount: Quantity, drawn: Quantity, barrel: Barrel | None, asked: _Asked) -> Prepared:
    """What the marked volume gives: never above the order, whatever the division rounded."""
    step = barrel.mark if barrel else _WHOLE_ML
    delivered = _gives(drawn, made.concentration)
    while delivered > amount and drawn.value > 0:
        drawn = drawn - step
        delivered = _gives(drawn, made.concentration)
    delivered = delivered.to(amount.unit)
    error = percent(delivered.value, amount.value)
    made = replace(
        made, barrel=barrel, drawn=drawn, delivered=delivered, error_percent=error,
        pushes=_pushes(drawn, barrel) if made.purpose == "induction" else (),
    )  # fmt: skip
    per = in_unit(delivered, asked.row.unit, asked.weight.kg)
    return _note(made, "delivered", delivered_line(drawn, made.concentration, delivered, step, error, per))


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
    """The pump's rate, rounded down to what it can be set to; diluted where it would run too slowly."""
    fineness, conc = asked.formulary.fineness, made.concentration
    wanted = rate_ml_h(asked.order.high, asked.weight, conc)
    if wanted < fineness.least_rate and conc is not None:
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
    made = replace(made, rate=rate, delivered=delivered, error_percent=error)
    per = in_unit(delivered, asked.row.unit, asked.weight.kg)
    return _note(made, "rate", rate_line(amount, conc, wanted, rate, error, per))
