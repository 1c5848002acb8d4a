"""The breathing part of a plan: which system, how much fresh gas in each phase, which bag, which breath, how much oxygen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from spiracle.breathing.flows import bag_ml, flow_ml_min, oxygen_need_ml_min, time_constant_min
from spiracle.breathing.oxygen import Cylinder, OxygenLeft, oxygen_minutes
from spiracle.breathing.tables import PHASES, BreathingTables, CircuitRow, FreshGasRow, Phase
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Missing, OutOfRange, Refusal
from spiracle.source import Guardrail, Input, Mark, Worked, Working


@dataclass(frozen=True, slots=True, kw_only=True)
class FreshGas:
    """Fresh gas of one phase: what to set first, and the band it lies in."""

    phase: Phase
    set: Worked[Quantity]
    low: Quantity
    high: Quantity
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BreathingChoice:
    """Everything the breathing page shows. A system that is not in stock is a refusal; the breath is still worked out."""

    circuit: str
    circuit_id: str
    why: Working
    alternatives: tuple[str, ...]
    fresh_gas: tuple[FreshGas, ...]
    bag: Worked[Quantity]
    tidal: tuple[Worked[Quantity], Worked[Quantity]]
    rate: Guardrail
    peak_pressure: Guardrail
    minute_volume: Worked[Quantity]
    oxygen_need: Worked[Quantity]
    time_constant: Worked[Quantity] | None
    oxygen: OxygenLeft | None
    cautions: tuple[str, ...]
    refusals: tuple[Refusal, ...]


def plan(
    facts: BreathingTables, species: str, weight: Quantity, *, circuits: Sequence[str] | None = None,
    bags_ml: Sequence[int] | None = None, cylinder: Cylinder | None = None, planned_minutes: int | None = None,
    drive_gas: Quantity | None = None, ventilated: bool = False,
) -> BreathingChoice:  # fmt: skip
    """Breathing system, gas, bag, breath and oxygen for one animal. None for a stock list means not told: all are offered.

    Raises Unknown (species, system) and OutOfRange (weight). What is missing is refused in `refusals`.
    """
    kg = _weight(facts, species, weight)
    stock = facts.circuits if circuits is None else tuple(facts.circuit(c) for c in circuits)
    ranked = _ranked(facts, kg, stock, ventilated)
    refusals: list[Refusal] = []
    cautions: list[str] = []
    if not ranked:
        refusals.append(_none_fits(facts, kg))
    first = ranked[0] if ranked else None
    gas = _fresh_gas(facts, species, kg, first) if first else ()
    bag, bag_words = _bag(facts, weight, bags_ml)
    cautions += _circuit_cautions(facts, species, kg, first, gas) + bag_words
    oxygen = None
    if cylinder is not None and gas:
        highest = max((g.set.value for g in gas), key=lambda q: q.value)
        oxygen = oxygen_minutes(facts, cylinder, highest, planned_minutes=planned_minutes, drive_gas=drive_gas)
    elif cylinder is None:
        refusals.append(Missing("oxygen", "no cylinder was read, so no minutes are shown.",
                                "Give printed contents, printed full pressure and gauge, each with its unit."))  # fmt: skip
    return BreathingChoice(
        circuit=first.name if first else "",
        circuit_id=first.id if first else "",
        why=_why(facts, kg, weight, first),
        alternatives=tuple(c.name for c in ranked[1:]),
        fresh_gas=gas,
        bag=bag,
        tidal=_tidal(facts, species, weight),
        rate=_rate(facts, species),
        peak_pressure=_peak(facts, species),
        minute_volume=_minute_volume(facts, weight),
        oxygen_need=_oxygen_need(weight),
        time_constant=_time_constant(first, gas),
        oxygen=oxygen,
        cautions=tuple(cautions),
        refusals=tuple(refusals),
    )


def _weight(facts: BreathingTables, species: str, weight: Quantity) -> Decimal:
    span, kg = facts.span(species), weight.number("kg")
    if not Decimal(span.weight_low_kg) <= kg <= Decimal(span.weight_high_kg):
        raise OutOfRange("weight", f"{weight} is not the weight of a {species}.",
                         f"Give {span.weight_low_kg} to {span.weight_high_kg} kg.")  # fmt: skip
    return kg


def _ranked(
    facts: BreathingTables, kg: Decimal, stock: Sequence[CircuitRow], ventilated: bool
) -> tuple[CircuitRow, ...]:
    """Systems that may serve this weight, the one shown first in front.

    Under the band only non-rebreathing systems, above it only circles; within it both, turned at the middle opinion.
    """
    low, turn, high = (Decimal(facts.setting(i).value) for i in ("band-low", "band-turn", "band-high"))
    fit = [c for c in stock if Decimal(c.from_kg) <= kg < Decimal(c.below_kg) and (c.ventilate or not ventilated)]
    if kg < low:
        fit = [c for c in fit if not c.rebreathing]
    if kg >= high:
        fit = [c for c in fit if c.rebreathing] or fit
    circle_first = kg >= turn
    return tuple(sorted(fit, key=lambda c: (c.rebreathing != circle_first, c.rank)))


def _none_fits(facts: BreathingTables, kg: Decimal) -> Missing:
    low = facts.setting("band-low")
    if kg < Decimal(low.value):
        return Missing("breathing system", f"no non-rebreathing system is in stock for {figure(kg)} kg.",
                       f"Under {low.quantity} fetch a T-piece or Bain.")  # fmt: skip
    return Missing("breathing system", f"none in stock serves {figure(kg)} kg.", "List a circle.")


def _why(facts: BreathingTables, kg: Decimal, weight: Quantity, first: CircuitRow | None) -> Working:
    low, turn, high = (facts.setting(i) for i in ("band-low", "band-turn", "band-high"))
    if kg < Decimal(low.value):
        says = f"Under {low.quantity} every source takes a non-rebreathing system."
    elif kg >= Decimal(high.value):
        says = f"From {high.quantity} on every source takes a circle."
    else:
        says = (f"Sources differ between {low.quantity} and {high.quantity} ({low.value}, {turn.value} and {high.value} kg are taught): "
                f"{'non-rebreathing' if kg < Decimal(turn.value) else 'a circle'} is shown first, both are in use.")  # fmt: skip
    if first is not None and not first.rebreathing and kg >= Decimal(high.value):
        says += f" No circle is in stock, so {first.name} stands first."
    sources = tuple(dict.fromkeys((*low.source, *turn.source, *(first.source if first else ()))))
    return Working(says, (Input("weight", str(weight), Mark.TYPED),), sources=sources,
                   memory=first.memory if first else False)  # fmt: skip


def _fresh_gas(facts: BreathingTables, species: str, kg: Decimal, circuit: CircuitRow) -> tuple[FreshGas, ...]:
    return tuple(_one_flow(facts, kg, facts.gas(circuit.id, species, phase)) for phase in PHASES)


def _one_flow(facts: BreathingTables, kg: Decimal, row: FreshGasRow) -> FreshGas:
    """The phase's flow: rate times weight, not under the floor, up to the next mark of the flowmeter."""
    step, floor = Decimal(facts.setting("flow-step").value), Decimal(row.floor_l_min)
    plain = Decimal(str(flow_ml_min(float(kg), row.start))) / 1000
    set_to = (max(plain, floor) / step).to_integral_value(rounding=ROUND_CEILING) * step
    value = Quantity.of(set_to, "L/min")
    raised = "" if plain >= floor else f", raised to the floor of {floor} L/min"
    says = f"{row.start} mL/kg/min x {figure(kg)} kg = {figure(plain, 3)} L/min{raised}, up to the mark: {value}"
    low = Quantity.of(max(kg * row.low / 1000, floor), "L/min")
    high = Quantity.of(max(kg * row.high / 1000, floor), "L/min")
    return FreshGas(phase=row.phase, low=low, high=high, says=row.says, set=Worked(value, Working(
        says, (Input("weight", f"{figure(kg)} kg", Mark.TYPED), Input("rate", f"{row.start} mL/kg/min", note=row.says)),
        held=(f"{row.low} to {row.high} mL/kg/min", f"at least {floor} L/min"), sources=row.source, memory=row.memory)))  # fmt: skip


def _circuit_cautions(
    facts: BreathingTables, species: str, kg: Decimal, circuit: CircuitRow | None, gas: tuple[FreshGas, ...]
) -> list[str]:
    if circuit is None:
        return []
    words = []
    if species == "cat" and not circuit.rebreathing and circuit.ventilate:
        ask, need, limit = facts.setting("cat-flow-ask"), facts.stated["B2"], facts.stated["CA9"]
        words.append(
            f"Cat on a {circuit.name}: {need.span('cat').low} {need.unit} were needed when measured; under {ask.quantity} "
            f"watch inspired CO2, and raise the flow when it passes {limit.span('cat').high} {limit.unit}."
        )
    if not circuit.rebreathing and kg < Decimal(facts.setting("side-stream-ask").value):
        words.append("Side-stream CO2 may read low in so small a breath: compare with the chest and a blood gas.")
    if not circuit.ventilate:
        words.append(f"{circuit.name} is not for long ventilation.")
    oxygen = oxygen_need_ml_min(float(kg))
    if gas and min(float(g.set.value.number("mL/min")) for g in gas) < oxygen:
        words.append("Fresh gas is under the body's own oxygen need: raise it.")
    return words


def _bag(facts: BreathingTables, weight: Quantity, stock: Sequence[int] | None) -> tuple[Worked[Quantity], list[str]]:
    """The smallest bag that holds six tidal volumes. The largest in stock, with a caution, where none holds so much."""
    row = facts.setting("bag-need")
    need = Decimal(str(bag_ml(float(weight.number("kg")), float(row.value) / 6, 6)))
    sizes = sorted(stock) if stock else sorted(b.ml for b in facts.bags)
    fits = [ml for ml in sizes if ml >= need]
    chosen = Quantity.of(fits[0] if fits else sizes[-1], "mL")
    shown = f"6 tidal volumes: {row.quantity} x {weight.to('kg')} = {figure(round_significant(need, 3))} mL"
    words = ["No bag is in stock: this size is to be fetched."] if stock is not None and not stock else []
    says = f"{shown}, next bag up: {chosen}"
    if not fits:
        says = f"{shown}; the largest bag is {chosen}"
        words.append(f"The largest bag ({chosen}) is smaller than six tidal volumes: watch that it does not collapse.")
    working = Working(
        says,
        (Input("weight", str(weight), Mark.TYPED),),
        held=(facts.stated["B19"].says,),
        sources=row.source,
    )
    return Worked(chosen, working), words


def _tidal(facts: BreathingTables, species: str, weight: Quantity) -> tuple[Worked[Quantity], Worked[Quantity]]:
    row = facts.ventilator(species)

    def one(ml_kg: int) -> Worked[Quantity]:
        rate = Quantity.of(ml_kg, "mL/kg")
        breath = weight.to("kg") * rate
        return Worked(breath, Working(f"{rate} x {weight.to('kg')} = {breath}", (Input("weight", str(weight), Mark.TYPED),),
                                      held=(row.note,), sources=row.source))  # fmt: skip

    return one(row.tidal_low), one(row.tidal_high)


def _rate(facts: BreathingTables, species: str) -> Guardrail:
    row = facts.ventilator(species)
    return Guardrail("ventilator rate", Quantity.of(row.rate_low, "/min"), Quantity.of(row.rate_high, "/min"),
                     sources=row.source)  # fmt: skip


def _peak(facts: BreathingTables, species: str) -> Guardrail:
    row = facts.ventilator(species)
    return Guardrail("peak pressure, closed chest", Quantity.of(row.peak_low, "cmH2O"), Quantity.of(row.peak_usual, "cmH2O"),
                     Quantity.of(row.peak_hard, "cmH2O"), sources=(*row.source, "memory"), memory=row.peak_memory)  # fmt: skip


def _minute_volume(facts: BreathingTables, weight: Quantity) -> Worked[Quantity]:
    row = facts.setting("minute-volume")
    value = weight.to("kg") * row.quantity
    return Worked(value, Working(f"{row.quantity} x {weight.to('kg')} = {value}", (Input("weight", str(weight), Mark.TYPED),),
                                 held=(row.note,), sources=row.source))  # fmt: skip


def _oxygen_need(weight: Quantity) -> Worked[Quantity]:
    need = Decimal(str(oxygen_need_ml_min(float(weight.number("kg")))))
    value = Quantity.of(round_significant(need, 3), "mL/min")
    return Worked(value, Working(f"10 x kg^0.75 at {weight.to('kg')} = {value}", (Input("weight", str(weight), Mark.TYPED),),
                                 sources=("memory",), memory=True, estimated=True))  # fmt: skip


def _time_constant(circuit: CircuitRow | None, gas: tuple[FreshGas, ...]) -> Worked[Quantity] | None:
    """How long a turn of the dial takes on a circle at maintenance flow, at most; not asked of a non-rebreathing system."""
    if circuit is None or circuit.volume_high_l is None or not gas:
        return None
    flow = next(g.set.value for g in gas if g.phase == "maintenance")
    minutes = Decimal(str(time_constant_min(float(circuit.volume_high_l), float(flow.number("L/min")))))
    value = Quantity.of(round_significant(minutes, 2), "min")
    return Worked(value, Working(
        f"{circuit.volume_high_l} L / {flow} = {value} for 63 % of a change, at most; 95 % in three of them",
        (Input("system's volume", f"{circuit.volume_low_l} to {circuit.volume_high_l} L"), Input("fresh gas", str(flow))),
        held=("an upper bound: measured change was about a quarter faster",),
        sources=("b_timeconstant", "b_solano2005"), memory=circuit.memory))  # fmt: skip
