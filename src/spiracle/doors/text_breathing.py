"""Breathing system, gas, agent, oxygen and ventilator of the plan on a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from spiracle.doors.text_rows import marked, not_worked, row, sources, title, why
from spiracle.quantity import figure
from spiracle.sheets.plan_shapes import BreathingPart, Plan


def breathing_block(plan: Plan, working: bool) -> Iterator[str]:
    yield from title("Breathing system and oxygen")
    b = plan.breathing
    yield from _system_and_gas(b, working)
    if b.bag is not None:
        yield from row("bag", marked(b.bag))
        yield from why(b.bag, working)
    yield from _agent(b, working)
    yield from _oxygen(plan, working)
    for refused in b.refused:
        yield from not_worked(refused, "NOT KNOWN")
    for note in b.notes:
        yield from row("note", note)
    yield from _ventilators(b, working)
    yield from sources(b.source, working)


def _system_and_gas(b: BreathingPart, working: bool) -> Iterator[str]:
    if b.circuit:
        yield from row("circuit", b.circuit)
    if b.why:
        yield from row("", b.why)
    for system in b.systems:
        if not system.first:
            yield from row("or" if system.serves else "not", f"{system.name}: {system.says}")
    for phase, flow in b.fresh_gas.items():
        yield from row("fresh gas", f"{phase:<13}{marked(flow)}")
        yield from why(flow, working)
    yield from _opinions(b)
    if b.least_flow is not None:
        yield from row("not under", marked(b.least_flow))
        yield from why(b.least_flow, working)


def _opinions(b: BreathingPart) -> Iterator[str]:
    """What each source has for this animal, side by side; why they differ stands under them."""
    for o in b.opinions:
        span = "no figure read" if o.low is None or o.high is None else marked(o.low)
        if o.low is not None and o.high is not None and o.low.value != o.high.value:
            span = f"{figure(o.low.value)} to {marked(o.high)}"
        yield from row("who says", f"{o.phase:<13}{span}; {o.says}{' (measured)' if o.measured else ''}")
    if b.apart:
        yield from row("", f"Sources differ: {b.apart}")


def _agent(b: BreathingPart, working: bool) -> Iterator[str]:
    for reach in b.wash_in:
        yield from row("dial change", f"{reach.share.text} of it within {marked(reach.at_most)} at most, {marked(reach.measured)} "
                                       "on the one circle that was measured")  # fmt: skip
        yield from why(reach.at_most, working)
    for use in b.agent:
        cost = "" if use.cost_per_hour is None else f", {use.cost_per_hour} {use.currency} an hour"
        yield from row("agent", f"{use.agent} at {use.dial.text}, {use.phase}: {marked(use.liquid)} of liquid{cost}")
        yield from why(use.liquid, working)
    for words in b.waste:
        yield from row("", words)


def _ventilators(b: BreathingPart, working: bool) -> Iterator[str]:
    """First settings of both modes; the alarms once, with volume mode, and nothing said twice."""
    said: set[str] = set()
    for v in b.ventilator:
        yield from row("ventilator", f"{v.mode} mode, for {marked(v.lean_weight)} ({v.basis})")
        if v.refused is not None:
            yield from not_worked(v.refused, "NOT KNOWN")
            continue
        shown = (("breath", v.tidal), ("rate", v.rate), ("in", v.inspiration), ("PEEP", v.peep), ("expected peak", v.peak),
                 ("set pressure", v.set_pressure))  # fmt: skip
        told = [f"{name} {marked(x, digits=3)}" for name, x in shown if x is not None]
        yield from row("", ", ".join((*told, f"ratio {v.ratio}")))
        for _, amount in shown:
            yield from why(amount, working)
        if v.mode == "volume" and v.alarms:
            yield from row("alarms", ", ".join(f"{a.name} {marked(a.amount)}" for a in v.alarms))
        for note in v.notes:
            if note not in said:
                yield from row("note", note)
        said |= set(v.notes)


def _oxygen(plan: Plan, working: bool) -> Iterator[str]:
    b = plan.breathing
    if b.supply:
        yield from row("oxygen", b.supply)
    if b.drive_gas is not None:
        yield from row("", f"ventilator takes {marked(b.drive_gas)} of it")
    if b.oxygen_minutes is None:
        return
    litres = f", {marked(b.oxygen_litres)} in the cylinder" if b.oxygen_litres is not None else ""
    stands = "standing by: " if b.supply else ""
    yield from row("" if b.supply else "oxygen", f"{stands}{marked(b.oxygen_minutes)} to the reserve{litres}")
    if b.oxygen_enough is not None:
        enough = "enough for" if b.oxygen_enough else "NOT ENOUGH for"
        yield from row("", f"{enough} a case of {b.case_minutes} min")
    yield from why(b.oxygen_minutes, working)
