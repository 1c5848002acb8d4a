"""Dial, inspired and end-tidal: what a model of uptake expects from the settings in the log, beside what was measured.

Carries D4, D5. Without a weight, a flow, a breathing system or a count of breaths there is no estimate, and it is said why.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np

from spiracle.case import events as ev
from spiracle.case.pushes import drug_id
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.gas import Agent, GasBody, agent_of, body_of, population
from spiracle.kinetics.mac import mac_alone
from spiracle.kinetics.uptake import POPULATION, Stretch, inhaled
from spiracle.quantity import figure, read
from spiracle.refusals import Missing, Refusal
from spiracle.sheets.level_words import clock, minutes_words
from spiracle.sheets.levels import FAILED, no_estimate
from spiracle.sheets.shapes import GasLine, Inhaled, MacPoint, WorkingInput, WorkingShape
from spiracle.sheets.told import Seen, Told
from spiracle.sheets.worked_shape import cited

BACK, AHEAD = timedelta(minutes=60), timedelta(minutes=30)
POINTS = 90
GUESSED_BREATH = "tidal volume taken as {} mL/kg: nobody measured it"
LOOKS_AHEAD_MIN = 240.0
LOOKED_AT = np.concatenate(([0.0], np.geomspace(0.1, LOOKS_AHEAD_MIN, 119)))


@dataclass(frozen=True, slots=True)
class _Breaths:
    """Alveolar ventilation from a moment on [L/min], and how it was come by."""

    l_min: float
    how: str


def gas_now(t: Told) -> Inhaled | None:
    """None before an agent was on, and after the case."""
    dials = [d for d in t.case.live(ev.VaporiserSet) if d.happened_at <= t.now]
    first = next((d for d in dials if d.percent > 0), None)
    if first is None or t.ended_at is not None:
        return None
    agent = _agent(t, dials[-1])
    name = t.names.drug(agent)
    try:
        return _estimate(t, dials, first, agent)
    except Refusal as why:
        return Inhaled(agent=agent, name=name, none=no_estimate(t, why), measured=tuple(_measured(t)))
    except Exception as fault:
        return Inhaled(agent=agent, name=name, none=f"{FAILED} ({type(fault).__name__}). Everything else stands.",
                       measured=tuple(_measured(t)))  # fmt: skip


def _estimate(t: Told, dials: Sequence[ev.VaporiserSet], first: ev.VaporiserSet, agent: str) -> Inhaled:
    if any(d.percent > 0 and _agent(t, d) != agent for d in dials):
        raise Missing("agent", "More than one agent was on.", "The model follows one agent alone.")
    if t.kg is None:
        raise Missing("weight", "The weight is not entered.", "Weigh the animal.")
    tables = t.facts.kinetics.gas
    circuit = _circuit_l(t)
    middle = body_of(tables, t.species, float(t.kg), circuit)
    typical = agent_of(tables, agent)
    many, spread = population(tables, middle, typical)
    stretches, how = _stretches(t, dials, first.happened_at)
    begin = max(first.happened_at, t.now - BACK)
    step = 5 * max(1, round((t.now + AHEAD - begin).total_seconds() / POINTS / 5))
    count = int((t.now + AHEAD - begin).total_seconds() // step) + 1
    minutes = (begin - first.happened_at) / timedelta(minutes=1) + np.arange(count, dtype=np.float64) * (step / 60)
    course = inhaled(stretches, many, spread, minutes)
    low, mid, high = course.band("alveolar")
    inspired = course.band("inspired")[1]
    now_min = (t.now - first.happened_at) / timedelta(minutes=1)
    here = inhaled(stretches, many, spread, [now_min]).band("alveolar")[:, 0]
    dial = [_dial_at(dials, begin + timedelta(seconds=n * step)) for n in range(count)]
    measured = tuple(_measured(t))
    top = max([*dial, float(high.max()), *(m.high for m in measured)])
    return Inhaled(
        agent=agent,
        name=t.names.drug(agent),
        says=POPULATION,
        begin_at=begin,
        step_s=step,
        dial=tuple(dial),
        inspired=_row(inspired),
        low=_row(low),
        middle=_row(mid),
        high=_row(high),
        top=float(f"{top * 1.12 or 1.0:.2g}"),
        as_of=t.now,
        now_text=f"≈ {_two(here[0])} to {_two(here[2])} % end-tidal",
        measured=measured,
        lines=tuple(_lines(t, stretches, many, spread, float(here[1]))),
        cautions=tuple(dict.fromkeys((*course.words[1:], how))),
        memory=course.memory,
        working=_working(t, stretches, middle, typical, course.sources, how),
    )


# ---- settings from the log


def _agent(t: Told, dial: ev.VaporiserSet) -> str:
    """By any of its names; one that the tables do not hold keeps its own, so that the refusal can say it."""
    return drug_id(dial.agent, t.facts) or dial.agent.strip()


def _circuit_l(t: Told) -> float | None:
    """The volume in which the gas is mixed: the circle's, as printed or as the hospital measured it; None without rebreathing."""
    assigned = t.case.last(ev.MachineAssigned)
    if assigned is None or not assigned.circuit:
        raise Missing(
            "breathing system", "Nobody said which breathing system serves this animal.", "Assign it in Prepare."
        )
    row = t.facts.breathing.circuit(assigned.circuit)
    if not row.rebreathing:
        return None
    own = next((m.volume for m in t.hospital.machine_figures if m.name == assigned.machine and m.volume), "")
    litres = Decimal(str(row.volume_high_l)) if row.volume_high_l is not None else None
    if own:
        litres = read(own, "system's volume", "volume").number("L")
    if litres is None:
        raise Missing(
            "breathing system",
            f"The volume of {row.name} is not known.",
            "Measure it and write it in the hospital file.",
        )
    return float(litres)


def _stretches(t: Told, dials: Sequence[ev.VaporiserSet], begin: datetime) -> tuple[tuple[Stretch, ...], str]:
    """The settings from the first open dial on, a new stretch at every change. What the tube's end changes: room air."""
    flows = t.case.live(ev.GasSet)
    if not any(f.happened_at <= t.now for f in flows):
        raise Missing("fresh gas", "No flow of fresh gas was entered.", "Set it with the oxygen key.")
    off = t.extubated_at
    changes = {begin, *(d.happened_at for d in dials), *(f.happened_at for f in flows), *_breath_times(t)}
    if off is not None:
        changes.add(off)
    moments = sorted(m for m in changes if begin <= m <= t.now)
    found: list[Stretch] = []
    hows: list[str] = []
    for at in moments:
        breaths = _breaths_at(t, at)
        hows.append(breaths.how)
        one = Stretch(
            start_min=(at - begin) / timedelta(minutes=1),
            dial_percent=_dial_at(dials, at),
            fresh_gas_l_min=_flow_at(flows, at),
            alveolar_l_min=breaths.l_min,
            opened=off is not None and at >= off,
        )
        found.append(one)
    return tuple(found), "; ".join(dict.fromkeys(hows))


def _dial_at(dials: Sequence[ev.VaporiserSet], at: datetime) -> float:
    before = [d for d in dials if d.happened_at <= at]
    return float(before[-1].percent) if before else 0.0


def _flow_at(flows: Sequence[ev.GasSet], at: datetime) -> float:
    """The flow at a moment; before the first entry the first one is taken, for the dial cannot be open without any."""
    before = [f for f in flows if f.happened_at <= at] or list(flows[:1])
    last = before[-1]
    return float(last.oxygen_l_min + (last.other_l_min or 0))


def _breath_times(t: Told) -> Iterable[datetime]:
    yield from (v.happened_at for v in t.case.live(ev.VentilationSet))
    yield from (s.at for s in t.seen.get("respiratory_rate", ()) if s.current)


def _breaths_at(t: Told, at: datetime) -> _Breaths:
    """What reaches the alveoli: the ventilator's breaths as set, else the counted breaths at a tidal volume that is said to be
    assumed; less the animal's own dead space."""
    tables = t.facts.breathing
    kg = float(t.kg or 0)
    dead = tables.setting("own-dead-space").number / 100
    settings = [v for v in t.case.live(ev.VentilationSet) if v.happened_at <= at]
    set_ = settings[-1] if settings else None
    counted = _last(t.seen.get("respiratory_rate", ()), at)
    tidal = tables.setting(f"tidal-start-{t.species}").number
    if set_ is not None and set_.mode == "ventilator" and set_.rate and set_.tidal_ml:
        return _Breaths(float(set_.rate) * float(set_.tidal_ml) / 1000 * (1 - dead), "breaths as the ventilator is set")
    rate = float(set_.rate) if set_ is not None and set_.mode == "ventilator" and set_.rate else None
    rate = rate if rate is not None else None if counted is None else float(counted.value)
    if rate is None:
        raise Missing("breaths", "Nobody counted the breaths.", "Count them, or set the ventilator's rate.")
    return _Breaths(rate * tidal * kg / 1000 * (1 - dead), GUESSED_BREATH.format(f"{tidal:g}"))


def _last(found: Sequence[Seen], at: datetime) -> Seen | None:
    """The count before a moment; the first one after it where none was before."""
    current = [s for s in found if s.current]
    before = [s for s in current if s.at <= at]
    return before[-1] if before else next(iter(current), None)


# ---- words


def _lines(t: Told, stretches: tuple[Stretch, ...], many: GasBody, spread: Agent, middle: float) -> Iterable[GasLine]:
    """Minutes from now to levels that one asks for: half and nine tenths of the way to what is breathed in the end, and the ends
    of the MAC. A tenth of the animals are at a level by the moment at which the 90th (falling: the 10th) percentile meets it."""
    last = stretches[-1]
    toward = 0.0 if last.opened else float(last.dial_percent or 0)
    rising = toward > middle
    low, _, high = inhaled(stretches, many, spread, _now_min(t) + LOOKED_AT).band("alveolar")
    for text, level in _wanted(t, spread.name, middle, toward, "room air" if last.opened else "the dial"):
        if abs(level - middle) < 0.02:
            continue
        early, late = (_meets(row, level, rising) for row in ((high, low) if rising else (low, high)))
        comes = level < toward if rising else level > toward
        yield GasLine(text=text, minutes_text=_span(early, late, comes, "over" if rising else "under"))


def _wanted(t: Told, agent: str, middle: float, toward: float, to: str) -> Iterable[tuple[str, float]]:
    for share in (50, 90):
        level = middle + (toward - middle) * share / 100
        yield f"{share} % of the way to {to}, {_two(level)} %", level
    try:
        alone = mac_alone(t.facts.kinetics.gas, t.species, agent).left
    except Refusal:
        return
    yield f"{_two(alone.low)} %, the least printed MAC", alone.low
    yield f"{_two(alone.high)} %, the most printed MAC", alone.high


def _meets(row: Floats, level: float, rising: bool) -> float | None:
    """The first time [min from now] at which a percentile stands at a level, in straight lines; None beyond four hours."""
    there = np.flatnonzero(row >= level if rising else row <= level)
    if not there.size:
        return None
    n = int(there[0])
    if n == 0:
        return 0.0
    part = (level - row[n - 1]) / (row[n] - row[n - 1])
    return float(LOOKED_AT[n - 1] + part * (LOOKED_AT[n] - LOOKED_AT[n - 1]))


def _now_min(t: Told) -> float:
    first = next(d for d in t.case.live(ev.VaporiserSet) if d.percent > 0)
    return (t.now - first.happened_at) / timedelta(minutes=1)


def _span(early: float | None, late: float | None, comes: bool, side: str) -> str:
    if early is None:
        return "over 4 h" if comes else "not at these settings"
    if late == 0:
        return f"already {side} it"
    if late is None:
        if early <= 0:
            return f"in some already {side} it, in others not within 4 h"
        return f"≈ {minutes_words(early, early)} at the soonest, in some not within 4 h"
    return f"≈ {minutes_words(early, late)}"


def _measured(t: Told) -> Iterable[MacPoint]:
    for s in t.seen.get("agent_et", ()):
        if s.current and s.at >= t.now - BACK:
            yield MacPoint(at=s.at, text=f"{s.text} %", low=float(s.value), high=float(s.value), mark=s.mark)


def _working(
    t: Told, stretches: tuple[Stretch, ...], body: GasBody, agent: Agent, sources: tuple[str, ...], how: str
) -> WorkingShape:  # fmt: skip
    first = next(d for d in t.case.live(ev.VaporiserSet) if d.percent > 0).happened_at
    rows = tuple(
        WorkingInput(
            name=clock(t, first + timedelta(minutes=s.start_min)),
            text=f"dial {_two(s.dial_percent or 0)} %, fresh gas {_two(s.fresh_gas_l_min or 0)} L/min, "
            f"alveoli {_two(s.alveolar_l_min or 0)} L/min" + (", off the system" if s.opened else ""),
            mark="typed",
        )
        for s in stretches[-8:]
    )
    circle = "no rebreathing" if body.circuit_l is None else f"{_two(body.circuit_l)} L in the circle"
    return WorkingShape(
        title=f"{t.names.drug(agent.name)}, predicted end-tidal",
        says=f"{circle}, {_two(float(body.lung_l))} L in the lung, blood/gas {_two(float(agent.blood_gas))}; vessel-rich, muscle "
        f"and fat groups scaled to {figure(Decimal(str(body.weight_kg)))} kg; 10 to 90 % of the model's animals",
        inputs=rows,
        held=(how,),
        cited=cited(sources, t.facts.sources),
        memory=True,
        estimated=True,
    )


def _row(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(f"{v:.3g}") for v in values)


def _two(value: float) -> str:
    return figure(Decimal(str(float(value))), 2)
