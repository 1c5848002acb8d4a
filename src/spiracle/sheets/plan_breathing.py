"""Breathing system, fresh gas, bag, agent, oxygen and first ventilator settings: for the tablet's plan and the plan's JSON."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from spiracle import breathing
from spiracle.breathing import AgentUse, Opinion
from spiracle.case.facts import Facts
from spiracle.case.ventilation import Lean, lean_of
from spiracle.quantity import Quantity, figure
from spiracle.sheets.plan_shapes import (
    AgentPart,
    Amount,
    BreathingPart,
    OpinionPart,
    SystemPart,
    WashInPart,
    amount,
)
from spiracle.sheets.plan_work import PlanWork, breathing_refusals, price_of
from spiracle.sheets.shapes import (
    AgentLine,
    BreathingPlan,
    FlowBand,
    FlowOpinion,
    Num,
    SystemReason,
    VentilatorCard,
    WashIn,
)
from spiracle.sheets.ventilator_card import plan_card, plan_parts
from spiracle.sheets.worked_shape import cited, cites, number, plain_refused, refused, worked_amount
from spiracle.source import Worked

ONE_PERCENT = Quantity.of(1, "%")
NO_PRICE = "No price of a bottle in the hospital's own file, so no cost."


def gas_use(work: PlanWork, facts: Facts) -> tuple[tuple[str, AgentUse], ...]:
    """Liquid in an hour by phase at the dial that is set; while none is, for every per cent of each agent of the hospital."""
    choice = work.breathing
    if choice is None:
        return ()
    if choice.agent_use:
        return tuple((phase, use) for phase, use in choice.agent_use)
    flow = next((g.set.value for g in choice.fresh_gas if g.phase == "maintenance"), None)
    if flow is None:
        return ()
    return tuple(
        (
            "maintenance",
            breathing.agent_use(facts.breathing, name, ONE_PERCENT, flow, price=price_of(work.request, facts, name)),
        )
        for name in _agents(work, facts)
    )


def _agents(work: PlanWork, facts: Facts) -> tuple[str, ...]:
    """The agent in use, else those of the hospital whose liquid is known; nothing is said of another."""
    known = {row.name for row in facts.breathing.agents}
    named = (work.request.stock.agent,) if work.request.stock.agent else facts.hospital.agents
    return tuple(name.casefold() for name in named if name.casefold() in known)


def waste_words(work: PlanWork, facts: Facts) -> tuple[str, ...]:
    """The room's limit for each agent, once: with what leaves as surplus gas where the dial is set."""
    if work.breathing is not None and work.breathing.waste is not None:
        return (work.breathing.waste.words,)
    return tuple(breathing.waste(facts.breathing, name).words for name in _agents(work, facts))


def supply_says(work: PlanWork) -> str:
    supply = work.request.stock.supply
    if supply is None or supply.kind == "cylinder":
        return ""
    told = [str(q) for q in (supply.max_flow, supply.percent) if q is not None]
    return supply.kind + (f", {', '.join(told)}" if told else "")


def notes(work: PlanWork, facts: Facts) -> tuple[str, ...]:
    """What the room has to say, the oxygen's own words, and a bag on the machine that is not the one for this animal."""
    choice = work.breathing
    if choice is None:
        return ()
    on, wanted = work.request.stock.bag_on_ml, choice.bag.value.number("mL")
    other = (
        f"The bag on the machine holds {figure(Decimal(on))} mL; for this weight it is {figure(wanted)} mL."
        if on and on != wanted
        else ""
    )
    oxygen = () if choice.oxygen is None else choice.oxygen.cautions
    supply, least = work.request.stock.supply, facts.breathing.setting("concentrator-percent-ask")
    if supply is not None and supply.percent is not None and supply.percent.number("%") < least.value:
        oxygen = (
            *oxygen,
            f"The supply gives {supply.percent}, under {least.quantity}: read it again, and watch inspired oxygen.",
        )
    return (*choice.cautions, *oxygen, *((other,) if other else ()))


def _lean(work: PlanWork, facts: Facts) -> Lean:
    patient = work.request.patient
    return lean_of(
        facts, patient.species, patient.weight.number("kg"), patient.body_condition, patient.basis.number("kg")
    )


# ---- the tablet


def breathing_plan(work: PlanWork, facts: Facts) -> BreathingPlan:
    choice, sources, guess = work.breathing, facts.sources, work.request.patient.estimated
    if choice is None:
        return BreathingPlan(refusal=refused(work.refusals["breathing"]), ventilator=_ventilator(work, facts))
    oxygen = choice.oxygen
    told = breathing_refusals(work)
    lines = tuple(_agent_line(phase, use, work, facts) for phase, use in gas_use(work, facts))

    def num(worked: Worked[Quantity], title: str, digits: int = 3) -> Num:
        return number(worked, title, sources, significant=digits, estimated=guess)

    def lasts(worked: Worked[Quantity], title: str) -> Num:
        return number(worked, title, sources, significant=2, mark="predicted", estimated=guess)

    return BreathingPlan(
        circuit=choice.circuit,
        why=choice.why.says,
        systems=tuple(SystemReason(name=s.name, serves=s.serves, first=s.first, says=s.says) for s in choice.systems),
        bands=tuple(_bands(work, facts)),
        apart=choice.apart,
        least_flow=None if choice.least_flow is None else num(choice.least_flow, "least fresh gas", 2),
        wash_in=tuple(
            WashIn(share=f"{figure(r.share.value)} %", at_most=lasts(r.at_most, f"to {r.share}, at most"),
                   measured=lasts(r.measured, f"to {r.share}, as measured"))
            for r in choice.wash_in
        ),
        agent=lines,
        agent_note=NO_PRICE if lines and not any(line.cost for line in lines) else "",
        waste=waste_words(work, facts),
        supply=supply_says(work),
        drive_gas=None if choice.drive_gas is None else number(choice.drive_gas, "drive gas", mark="typed"),
        bag=None if choice.bag is None else num(choice.bag, "bag"),
        fresh_gas=tuple((g.phase, num(g.set, f"fresh gas, {g.phase}", 2)) for g in choice.fresh_gas),
        oxygen_minutes=None if oxygen is None else number(
            oxygen.minutes_above_reserve, _lasts_title(work), sources, significant=3, mark="predicted", estimated=guess
        ),
        oxygen_litres=None if oxygen is None else num(oxygen.litres, "oxygen in the cylinder"),
        oxygen_gauge=None if oxygen is None else float(oxygen.fraction),
        oxygen_reserve=_reserve(work, facts),
        case_minutes=work.request.stock.case_minutes,
        oxygen_enough=None if oxygen is None else oxygen.enough,
        refusal=refused(told[0]) if told else None,
        cautions=(*notes(work, facts), *(str(r) for r in told[1:])),
        ventilator=_ventilator(work, facts),
    )  # fmt: skip


def _lasts_title(work: PlanWork) -> str:
    """Beside a pipeline or a concentrator the minutes are of the cylinder that stands by."""
    return "oxygen left above the reserve" + (" in the cylinder that stands by" if supply_says(work) else "")


def _reserve(work: PlanWork, facts: Facts) -> float | None:
    """The share of a full cylinder at which it is changed."""
    read_one = next((c for c in work.request.stock.cylinders if c.gauge is not None), None)
    if read_one is None:
        return None
    unit = str(read_one.full.unit)
    return float(facts.breathing.setting("oxygen-reserve").quantity.number(unit) / read_one.full.value)


def _ventilator(work: PlanWork, facts: Facts) -> VentilatorCard:
    patient = work.request.patient
    return plan_card(facts, patient.species, _lean(work, facts), estimated=patient.estimated)


def _bands(work: PlanWork, facts: Facts) -> Iterable[FlowBand]:
    """One band for each phase of which a source speaks; the scale ends a little beyond the highest."""
    choice, patient = work.breathing, work.request.patient
    if choice is None or not choice.circuit_id:
        return
    for gas in choice.fresh_gas:
        said = breathing.opinions(
            facts.breathing, choice.circuit_id, patient.species, phase=gas.phase, weight=patient.weight
        )
        if not said:
            continue
        at = float(gas.set.value.number("L/min"))
        ends = [float(o.high_l_min.number("L/min")) for o in said if o.high_l_min is not None]
        yield FlowBand(
            phase=gas.phase,
            set=number(gas.set, f"fresh gas, {gas.phase}", facts.sources, significant=2, estimated=patient.estimated),
            at=at,
            top=round(max((at, *ends)) * 1.15, 3),
            opinions=tuple(_opinion(o, facts) for o in said),
        )


def _opinion(o: Opinion, facts: Facts) -> FlowOpinion:
    said = cited(o.sources, facts.sources)
    return FlowOpinion(
        source=_who(o, facts),
        says=o.says,
        text=_span(o),
        low=None if o.low_l_min is None else float(o.low_l_min.number("L/min")),
        high=None if o.high_l_min is None else float(o.high_l_min.number("L/min")),
        measured=o.measured,
        memory=o.memory,
        cited=said,
    )


def _who(o: Opinion, facts: Facts) -> str:
    """Whose opinion it is, in few words: what nobody read is from memory."""
    return "from memory" if o.memory else _short(facts.sources[o.sources[0]].citation)


def _short(citation: str) -> str:
    """The part of a citation that fits beside a bar: up to its first full stop or comma.

    >>> _short("Walsh & Taylor. Vet Anaesth Analg 2004;31:207-212")
    'Walsh & Taylor'
    """
    ends = [i for i in (citation.find(". "), citation.find(", ")) if i > 0]
    return citation[: min(ends)] if ends else citation


def _span(o: Opinion) -> str:
    if o.low is None or o.high is None:
        return "no figure could be read"
    per_kg = figure(o.low.value) if o.low.equals(o.high) else f"{figure(o.low.value)} to {figure(o.high.value)}"
    return f"{per_kg} mL/kg/min"


def _agent_line(phase: str, use: AgentUse, work: PlanWork, facts: Facts) -> AgentLine:
    each = work.breathing is None or not work.breathing.agent_use  # no dial, or one that was refused
    cost = "" if use.cost_per_hour is None else f"{use.cost_per_hour} {use.currency}/h"
    return AgentLine(
        agent=use.agent,
        phase=phase,
        dial=f"{figure(use.percent.value)} %",
        each=each,
        liquid=number(use.liquid, f"liquid {use.agent}, {phase}", facts.sources, significant=2, mark="predicted"),
        rule=f"taught rule {figure(use.by_rule.value)} mL/h",
        cost=cost,
    )


# ---- the plan's JSON and print


def breathing_part(work: PlanWork, facts: Facts) -> BreathingPart:
    choice, patient = work.breathing, work.request.patient
    ventilator = plan_parts(facts, patient.species, _lean(work, facts), estimated=patient.estimated)
    told = tuple(plain_refused(r) for r in breathing_refusals(work))
    if choice is None:
        return BreathingPart(
            circuit="", fresh_gas={}, bag=None, oxygen_minutes=None, refused=told, ventilator=ventilator
        )
    oxygen, guess = choice.oxygen, patient.estimated
    return BreathingPart(
        circuit=choice.circuit,
        fresh_gas={g.phase: worked_amount(g.set, estimated=guess) for g in choice.fresh_gas},
        bag=worked_amount(choice.bag, estimated=guess),
        oxygen_minutes=None
        if oxygen is None
        else worked_amount(oxygen.minutes_above_reserve, predicted=True, estimated=guess),
        oxygen_minutes_to_empty=None
        if oxygen is None
        else worked_amount(oxygen.minutes, predicted=True, estimated=guess),
        why=choice.why.says,
        systems=tuple(SystemPart(id=s.id, name=s.name, serves=s.serves, first=s.first, says=s.says) for s in choice.systems),
        opinions=tuple(_opinions(work, facts)),
        apart=choice.apart,
        least_flow=None if choice.least_flow is None else worked_amount(choice.least_flow, estimated=guess),
        wash_in=tuple(
            WashInPart(share=amount(r.share), at_most=worked_amount(r.at_most, predicted=True),
                       measured=worked_amount(r.measured, predicted=True))
            for r in choice.wash_in
        ),
        agent=tuple(_agent_part(phase, use) for phase, use in gas_use(work, facts)),
        waste=waste_words(work, facts),
        supply=supply_says(work),
        drive_gas=None if choice.drive_gas is None else amount(choice.drive_gas),
        ventilator=ventilator,
        oxygen_litres=None if oxygen is None else worked_amount(oxygen.litres),
        case_minutes=work.request.stock.case_minutes,
        oxygen_enough=None if oxygen is None else oxygen.enough,
        refused=told,
        notes=notes(work, facts),
        source=cites((*choice.why.sources, *_heard(work, facts)), facts.sources),
    )  # fmt: skip


def _opinions(work: PlanWork, facts: Facts) -> Iterable[OpinionPart]:
    choice, patient = work.breathing, work.request.patient
    if choice is None or not choice.circuit_id:
        return
    for phase in breathing.PHASES:
        for o in breathing.opinions(
            facts.breathing, choice.circuit_id, patient.species, phase=phase, weight=patient.weight
        ):
            yield OpinionPart(phase=phase, low=_end(o.low_l_min, o, patient.estimated), high=_end(o.high_l_min, o, patient.estimated),
                              says=f"{_who(o, facts)}: {_span(o)}, {o.says}", measured=o.measured, memory=o.memory,
                              source=cites(o.sources, facts.sources))  # fmt: skip


def _heard(work: PlanWork, facts: Facts) -> Iterable[str]:
    """The sources of every opinion that is shown, so that the list under the part names them."""
    choice, patient = work.breathing, work.request.patient
    for phase in breathing.PHASES if choice is not None and choice.circuit_id else ():
        for o in breathing.opinions(facts.breathing, choice.circuit_id, patient.species, phase=phase):  # type: ignore[union-attr]
            yield from o.sources


def _end(value: Quantity | None, o: Opinion, estimated: bool) -> Amount | None:
    return None if value is None else amount(value, memory=o.memory, estimated=estimated)


def _agent_part(phase: str, use: AgentUse) -> AgentPart:
    return AgentPart(
        agent=use.agent,
        phase=phase,
        dial=amount(use.percent),
        liquid=worked_amount(use.liquid, predicted=True),
        by_rule=amount(use.by_rule),
        cost_per_hour=use.cost_per_hour,
        currency=use.currency,
    )
