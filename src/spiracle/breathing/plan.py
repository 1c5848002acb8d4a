"""The breathing part of a plan: which system, how much fresh gas in each phase, which bag, which breath, how much oxygen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal

from spiracle.breathing.agent import AgentUse, Price, Waste, agent_use, waste
from spiracle.breathing.band import Opinion, opinions, why_apart
from spiracle.breathing.choosing import CircuitReason, bag, ranked, reasons
from spiracle.breathing.countdown import Supply, supply_words
from spiracle.breathing.flows import flow_ml_min, oxygen_need_ml_min, time_constant_min
from spiracle.breathing.oxygen import Cylinder, OxygenLeft, oxygen_minutes
from spiracle.breathing.tables import PHASES, BreathingTables, CircuitRow, FreshGasRow, Phase
from spiracle.breathing.washin import Reach, reach
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
    """Everything the breathing page shows. A system or bag that is not in stock is a refusal; the breath is still worked out.

    `systems` are all that are there, with reasons; `opinions` the sources on fresh gas, `apart` why they differ; `wash_in` the
    minutes of a turn of the dial at maintenance flow; `agent_use` one entry per phase when agent and dial were given;
    `least_flow` what a circle is not set under; `drive_gas` what was counted for the ventilator.
    """

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
    systems: tuple[CircuitReason, ...] = ()
    opinions: tuple[Opinion, ...] = ()
    apart: str = ""
    least_flow: Worked[Quantity] | None = None
    wash_in: tuple[Reach, ...] = ()
    agent_use: tuple[tuple[Phase, AgentUse], ...] = ()
    waste: Waste | None = None
    supply: Supply | None = None
    drive_gas: Quantity | None = None


def plan(
    facts: BreathingTables, species: str, weight: Quantity, *, circuits: Sequence[str] | None = None,
    bags_ml: Sequence[int] | None = None, cylinder: Cylinder | None = None, planned_minutes: int | None = None,
    drive_gas: Quantity | None = None, ventilated: bool = False, supply: Supply | None = None, agent: str | None = None,
    percent: Quantity | None = None, price: Price | None = None, nitrous: bool = False, volume: Quantity | None = None,
) -> BreathingChoice:  # fmt: skip
    """Breathing system, gas, bag, breath and oxygen for one animal. None for a stock list means not told: all are offered.

    `volume` is the system's own, measured by the hospital; `agent` and `percent` what is meant to be on the dial.
    A supply other than a cylinder makes `cylinder` the one that stands by: its minutes are shown with no verdict.
    Raises Unknown (species, system, agent) and OutOfRange (weight). What is missing, and what the cylinder or the dial is refused
    for, stands in `refusals`: the rest is worked out all the same.
    """
    kg = _weight(facts, species, weight)
    stock = facts.circuits if circuits is None else tuple(facts.circuit(c) for c in circuits)
    order = ranked(facts, kg, stock, ventilated)
    refusals: list[Refusal] = []
    cautions: list[str] = []
    if not order:
        refusals.append(_none_fits(facts, kg))
    first = order[0] if order else None
    gas = _fresh_gas(facts, species, kg, first) if first else ()
    chosen_bag, bag_words, bag_refusals = bag(facts, weight, bags_ml)
    refusals += bag_refusals
    cautions += _circuit_cautions(facts, species, kg, first, gas) + bag_words
    highest = max((g.set.value for g in gas), key=lambda q: q.value) if gas else None
    standby = supply is not None and supply.kind != "cylinder"
    oxygen = None
    if cylinder is not None and highest is not None:
        planned = None if standby else planned_minutes  # the minutes of what stands by are no verdict on the case
        unknown = ventilated and drive_gas is None
        try:
            oxygen = oxygen_minutes(facts, cylinder, highest, planned_minutes=planned, drive_gas=drive_gas)
            if unknown:
                oxygen = replace(oxygen, enough=None)
                cautions.append(_drive_uncounted(facts, weight, cylinder, highest))
        except Refusal as refusal:
            refusals.append(refusal)
    elif cylinder is None and not standby:
        refusals.append(Missing("oxygen", "no cylinder was read, so no minutes are shown.",
                                "Give printed contents, printed full pressure and gauge, each with its unit."))  # fmt: skip
    if supply is not None and highest is not None:
        cautions += supply_words(
            supply, highest, drive=drive_gas, ventilated=ventilated, standby=standby and oxygen is not None
        )
    used, surplus, refused = _agent(facts, agent, percent, gas, price, nitrous)
    refusals += refused
    maintenance = next((g.set.value for g in gas if g.phase == "maintenance"), None)
    return BreathingChoice(
        circuit=first.name if first else "",
        circuit_id=first.id if first else "",
        why=_why(facts, kg, weight, first),
        alternatives=tuple(c.name for c in order[1:]),
        fresh_gas=gas,
        bag=chosen_bag,
        tidal=_tidal(facts, species, weight),
        rate=_rate(facts, species),
        peak_pressure=_peak(facts, species),
        minute_volume=_minute_volume(facts, weight),
        oxygen_need=_oxygen_need(weight),
        time_constant=_time_constant(first, gas, volume),
        oxygen=oxygen,
        cautions=tuple(cautions),
        refusals=tuple(refusals),
        systems=reasons(facts, kg, stock, ventilated),
        opinions=opinions(facts, first.id, species, weight=weight) if first else (),
        apart=why_apart(facts, first.id, species) if first else "",
        least_flow=_least_flow(facts, kg) if first is not None and first.rebreathing else None,
        wash_in=reach(facts, first, maintenance, volume=volume) if first and maintenance else (),
        agent_use=used,
        waste=surplus,
        supply=supply,
        drive_gas=drive_gas,
    )


def _agent(
    facts: BreathingTables, agent: str | None, percent: Quantity | None, gas: tuple[FreshGas, ...], price: Price | None,
    nitrous: bool,
) -> tuple[tuple[tuple[Phase, AgentUse], ...], Waste | None, tuple[Refusal, ...]]:  # fmt: skip
    """Liquid used at each phase's flow, and the room's limit; nothing is worked without both an agent and a dial.

    A dial that cannot be is refused by itself: nothing else of the part rests on it. An unknown agent is raised.
    """
    if agent is None:
        return (), None, ()
    facts.agent(agent)
    flow = next((g.set.value for g in gas if g.phase == "maintenance"), None)
    try:
        used = (
            ()
            if percent is None
            else tuple((g.phase, agent_use(facts, agent, percent, g.set.value, price=price)) for g in gas)
        )
        return used, waste(facts, agent, nitrous=nitrous, percent=percent, flow=flow), ()
    except Refusal as refusal:
        return (), waste(facts, agent, nitrous=nitrous), (refusal,)


def _drive_uncounted(facts: BreathingTables, weight: Quantity, cylinder: Cylinder, flow: Quantity) -> str:
    """Says that drive gas is not in the minutes, and how many are left if a bellows takes a share of the minute volume."""
    words = "Drive gas of the ventilator is not counted: say what it uses, or that it uses none."
    row = facts.setting("drive-share")
    drive = Quantity.of(
        round_significant(_minute_volume(facts, weight).value.number("L/min") * Decimal(row.value), 2), "L/min"
    )
    minutes = oxygen_minutes(facts, cylinder, flow, drive_gas=drive).minutes_above_reserve.value
    return f"{words} A bellows takes about the minute volume, {drive} (from memory): then {minutes} to the reserve."


def _least_flow(facts: BreathingTables, kg: Decimal) -> Worked[Quantity]:
    """What a circle is not set under: the taught floor, or the body's own oxygen need where that is more."""
    row = facts.setting("low-flow-floor")
    need = Quantity.of(round_significant(Decimal(str(oxygen_need_ml_min(float(kg)))), 3), "mL/min")
    floor = row.quantity
    value = floor if floor >= need else need.to("L/min")
    return Worked(value, Working(f"the more of {floor} and the body's own oxygen need of about {need}",
                                 held=(row.note,), sources=row.source, memory=True, estimated=True))  # fmt: skip


def _weight(facts: BreathingTables, species: str, weight: Quantity) -> Decimal:
    span, kg = facts.span(species), weight.number("kg")
    if not Decimal(span.weight_low_kg) <= kg <= Decimal(span.weight_high_kg):
        raise OutOfRange("weight", f"{weight} is not the weight of a {species}.",
                         f"Give {span.weight_low_kg} to {span.weight_high_kg} kg.")  # fmt: skip
    return kg


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


def _time_constant(
    circuit: CircuitRow | None, gas: tuple[FreshGas, ...], own: Quantity | None = None
) -> Worked[Quantity] | None:
    """How long a turn of the dial takes on a circle at maintenance flow, at most; not asked of a non-rebreathing system."""
    if circuit is None or circuit.volume_high_l is None or not gas:
        return None
    flow = next(g.set.value for g in gas if g.phase == "maintenance")
    litres = Decimal(circuit.volume_high_l) if own is None else own.number("L")
    span = f"{circuit.volume_low_l} to {circuit.volume_high_l} L" if own is None else str(own)
    minutes = Decimal(str(time_constant_min(float(litres), float(flow.number("L/min")))))
    value = Quantity.of(round_significant(minutes, 2), "min")
    return Worked(value, Working(
        f"{figure(litres)} L / {flow} = {value} for 63 % of a change, at most; 95 % in three of them",
        (Input("system's volume", span, Mark.TABLE if own is None else Mark.MEASURED), Input("fresh gas", str(flow))),
        held=("an upper bound: measured change was about a quarter faster",),
        sources=("b_timeconstant", "b_solano2005"), memory=own is None and circuit.memory))  # fmt: skip
