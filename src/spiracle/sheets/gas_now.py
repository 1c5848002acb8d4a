"""Dial, inspired and end-tidal: what a model of uptake expects from the settings in the log, beside what was measured.

Carries D4, D5. Without a weight, a flow, a breathing system or a count of breaths there is no estimate, and it is said why.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from statistics import median

import numpy as np

from spiracle.case import events as ev
from spiracle.case.pushes import drug_id
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.gas import Agent, GasBody, animals_of
from spiracle.kinetics.mac import mac_alone
from spiracle.kinetics.uptake import POPULATION, Stretch, Uptake, solve
from spiracle.quantity import figure, read
from spiracle.refusals import Contradiction, Missing, Refusal
from spiracle.sheets.level_words import clock, minutes_words
from spiracle.sheets.levels import FAILED, no_estimate
from spiracle.sheets.shapes import GasLine, Inhaled, MacPoint, WorkingInput, WorkingShape
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited

BACK, AHEAD = timedelta(minutes=60), timedelta(minutes=30)
POINTS = 90
GUESSED_BREATH = "tidal volume taken as {} mL/kg: nobody measured it"
COUNTS = "counted breaths by the median of five minutes (of two, the later), followed where it moves by a tenth or more"
TOGETHER, LEAST_CHANGE = timedelta(minutes=5), 0.1  # ours: counts that are told as one, and a change that is followed
LOOKS_AHEAD_MIN = 240.0
LOOKED_AT = np.concatenate(([0.0], np.geomspace(0.1, LOOKS_AHEAD_MIN, 79)))


@dataclass(frozen=True, slots=True)
class _Breaths:
    """Alveolar ventilation from a moment on [L/min], and how it was come by."""

    l_min: float
    how: str


@dataclass(frozen=True, slots=True)
class _Count:
    """Breaths a minute from a moment on, as the model follows them."""

    at: datetime
    rate: float


def gas_now(t: Told) -> Inhaled | None:
    """None before an agent was on, and after the case."""
    dials = [d for d in t.case.live(ev.VaporiserSet) if d.happened_at <= t.now]
    if t.ended_at is not None or not dials:
        return None
    on_at = _on_gas_at(t, dials)
    if on_at is None and dials[-1].percent <= 0:
        return None
    begin = None if on_at is None else _opened_at(dials, on_at)
    if on_at is not None and begin is None:
        return None
    agent = _agent(t, dials[-1])
    try:
        return _estimate(t, _breathed(dials, begin), begin, agent)
    except Refusal as why:
        none = no_estimate(t, why)
    except Exception as fault:
        none = f"{FAILED} ({type(fault).__name__}). Everything else stands."
    return Inhaled(agent=agent, name=t.names.drug(agent), none=none, measured=tuple(_measured(t)))


def _estimate(t: Told, dials: Sequence[ev.VaporiserSet], first_at: datetime | None, agent: str) -> Inhaled:
    _circulates(t)
    if first_at is None:
        raise Missing(
            "induction",
            "Nobody said when the animal came onto the gas.",
            "Mark induction, or enter the mask or the tube.",
        )
    if any(d.percent > 0 and _agent(t, d) != agent for d in dials):
        raise Missing("agent", "More than one agent was on.", "The model follows one agent alone.")
    if t.kg is None:
        raise Missing("weight", "The weight is not entered.", "Weigh the animal.")
    middle, typical, many, spread = animals_of(
        t.facts.kinetics.gas, t.species, float(t.kg), _circuit_l(t, first_at), agent
    )
    stretches, how = _stretches(t, dials, first_at)
    taken = solve(stretches, many, spread)
    begin = max(first_at, t.now - BACK)
    step = 5 * max(1, round((t.now + AHEAD - begin).total_seconds() / POINTS / 5))
    count = int((t.now + AHEAD - begin).total_seconds() // step) + 1
    minutes = (begin - first_at) / timedelta(minutes=1) + np.arange(count, dtype=np.float64) * (step / 60)
    course = taken.course(minutes)
    low, mid, high = course.band("alveolar")
    inspired = course.band("inspired")[1]
    now_min = (t.now - first_at) / timedelta(minutes=1)
    ahead = np.percentile(taken.alveolar(now_min + LOOKED_AT), (10, 50, 90), axis=0)
    here = ahead[:, 0]
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
        lines=tuple(_lines(t, taken, ahead)),
        cautions=tuple(dict.fromkeys((*course.words[1:], how))),
        memory=course.memory,
        working=_working(t, first_at, taken, middle, typical, course.sources, how),
    )


# ---- settings from the log


def _agent(t: Told, dial: ev.VaporiserSet) -> str:
    """By any of its names; one that the tables do not hold keeps its own, so that the refusal can say it."""
    return drug_id(dial.agent, t.facts) or dial.agent.strip()


def _on_gas_at(t: Told, dials: Sequence[ev.VaporiserSet]) -> datetime | None:
    """From when on what the vaporiser gives reaches the animal: a mask with the dial open, induction, or a tube, whichever was first.
    None where nobody entered one. A dial that was tried before it was breathed by nobody."""
    marked = [m.happened_at for m in t.marks.get("induction", ())]
    tubes = [p.happened_at for p in t.case.live(ev.TubePlaced)]
    asleep = [] if t.induced_at is None else [t.induced_at]
    found = [m for m in (*marked, *tubes, *asleep, *_masks(t, dials)) if m <= t.now]
    return min(found, default=None)


def _masks(t: Told, dials: Sequence[ev.VaporiserSet]) -> Iterable[datetime]:
    ends = [e.happened_at for e in t.case.live(ev.PreoxygenationEnded)]
    for mask in t.case.live(ev.PreoxygenationBegan):
        end = min((e for e in ends if e >= mask.happened_at), default=t.induced_at or t.now)
        opened = _opened_at(dials, mask.happened_at)
        if "mask" in mask.way and opened is not None and opened <= end:
            yield opened


def _opened_at(dials: Sequence[ev.VaporiserSet], at: datetime) -> datetime | None:
    """The first moment at which the dial is open, not before `at`."""
    if _dial_at(dials, at) > 0:
        return at
    return next((d.happened_at for d in dials if d.happened_at > at and d.percent > 0), None)


def _breathed(dials: Sequence[ev.VaporiserSet], begin: datetime | None) -> list[ev.VaporiserSet]:
    """The dials in force from a moment on."""
    if begin is None:
        return list(dials)
    return [*[d for d in dials if d.happened_at <= begin][-1:], *(d for d in dials if d.happened_at > begin)]


def _circulates(t: Told) -> None:
    """Blood carries the gas in this model as in a healthy animal: from an arrest on nothing of it holds, nor after the pulse is back."""
    if any(a.happened_at <= t.now for a in t.case.live(ev.ArrestBegan)):
        raise Contradiction(
            "circulation",
            "The circulation stopped: the model holds for a heart that beats, and not after the pulse came back.",
            "Read the gas monitor.",
        )


def _circuit_l(t: Told, begin: datetime) -> float | None:
    """The volume in which the gas is mixed: the circle's, as printed or as the hospital measured it; None without rebreathing."""
    assigned = _one_system(t, begin)
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


def _one_system(t: Told, begin: datetime) -> ev.MachineAssigned | None:
    """What served the animal from the first open dial until the tube was out. Another system holds none of the gas of the one before,
    and what the animal breathed between is not known."""
    until = t.now if t.extubated_at is None else min(t.now, t.extubated_at)
    all_ = [m for m in t.case.live(ev.MachineAssigned) if m.happened_at <= until]
    served = [*[m for m in all_ if m.happened_at <= begin][-1:], *(m for m in all_ if m.happened_at > begin)]
    if len({(m.machine.strip().casefold(), m.circuit.strip().casefold()) for m in served}) > 1:
        raise Contradiction(
            "breathing system",
            "The breathing system or the machine changed while the gas was on.",
            "The model follows one system alone.",
        )
    return served[-1] if served else None


def _stretches(t: Told, dials: Sequence[ev.VaporiserSet], begin: datetime) -> tuple[tuple[Stretch, ...], str]:
    """The settings from the first open dial on, a new stretch at every change. What the tube's end changes: room air."""
    flows = t.case.live(ev.GasSet)
    if not any(f.happened_at <= t.now for f in flows):
        raise Missing("fresh gas", "No flow of fresh gas was entered.", "Set it with the oxygen key.")
    off = t.extubated_at
    counts = _counts(t)
    changes = {begin, *(d.happened_at for d in dials), *(f.happened_at for f in flows), *(c.at for c in counts)}
    changes |= {v.happened_at for v in t.case.live(ev.VentilationSet)}
    if off is not None:
        changes.add(off)
    found: list[Stretch] = []
    hows: list[str] = []
    for at in sorted(m for m in changes if begin <= m <= t.now):
        breaths = _breaths_at(t, counts, at)
        hows.append(breaths.how)
        one = Stretch(
            start_min=(at - begin) / timedelta(minutes=1),
            dial_percent=_dial_at(dials, at),
            fresh_gas_l_min=_flow_at(flows, at),
            alveolar_l_min=breaths.l_min,
            opened=off is not None and at >= off,
        )
        if not found or replace(one, start_min=found[-1].start_min) != found[-1]:
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


def _counts(t: Told) -> tuple[_Count, ...]:
    """Counted breaths as the model follows them: a count stands for the five minutes that it begins, with the median of all that
    were counted in them (of two, the later: it may stand for long), and the one in force stays where the next differs by less
    than a tenth. A monitor counts each minute; a solution for each of its counts would cost seconds, and the band takes
    ventilation to differ by 15 % anyhow."""
    groups: list[tuple[datetime, list[float]]] = []
    for s in t.seen.get("respiratory_rate", ()):
        if not s.current or s.at > t.now:
            continue
        if not groups or s.at - groups[-1][0] >= TOGETHER:
            groups.append((s.at, []))
        groups[-1][1].append(float(s.value))
    found: list[_Count] = []
    for at, rates in groups:
        rate = median(rates) if len(rates) > 2 else rates[-1]
        if not found or abs(rate - found[-1].rate) >= LEAST_CHANGE * max(found[-1].rate, rate):
            found.append(_Count(at, rate))
    return tuple(found)


def _breaths_at(t: Told, counts: Sequence[_Count], at: datetime) -> _Breaths:
    """What reaches the alveoli: the ventilator's breaths as set, else the counted breaths at a tidal volume that is said to be
    assumed; less the animal's own dead space."""
    tables = t.facts.breathing
    dead = tables.setting("own-dead-space").number / 100
    settings = [v for v in t.case.live(ev.VentilationSet) if v.happened_at <= at]
    set_ = settings[-1] if settings and settings[-1].mode == "ventilator" else None
    if set_ is not None and set_.rate and set_.tidal_ml:
        return _Breaths(float(set_.rate) * float(set_.tidal_ml) / 1000 * (1 - dead), "breaths as the ventilator is set")
    # the count before a moment; the first one after it where none was before
    counted = [c.rate for c in counts if c.at <= at][-1:] or [c.rate for c in counts[:1]]
    rate = float(set_.rate) if set_ is not None and set_.rate else counted[0] if counted else None
    if rate is None:
        raise Missing("breaths", "Nobody counted the breaths.", "Count them, or set the ventilator's rate.")
    tidal = tables.setting(f"tidal-start-{t.species}").number
    litres = float(f"{rate * tidal * float(t.kg or 0) / 1000 * (1 - dead):.2g}")  # a guess holds no third figure
    return _Breaths(litres, GUESSED_BREATH.format(f"{tidal:g}"))


# ---- words


def _lines(t: Told, taken: Uptake, ahead: Floats) -> Iterable[GasLine]:
    """Minutes from now to levels that one asks for: half and nine tenths of the way to what is breathed in the end, and the ends
    of the MAC. A tenth of the animals are at a level by the moment at which the 90th (falling: the 10th) percentile meets it."""
    last = taken.settings[-1]
    middle = float(ahead[1, 0])
    toward = 0.0 if last.opened else float(last.dial_percent or 0)
    rising = toward > middle
    low, _, high = ahead
    for text, level in _wanted(t, taken.agent.name, middle, toward, "room air" if last.opened else "the dial"):
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
    t: Told, first: datetime, taken: Uptake, body: GasBody, agent: Agent, sources: tuple[str, ...], how: str
) -> WorkingShape:  # fmt: skip
    rows = tuple(
        WorkingInput(
            name=clock(t, first + timedelta(minutes=s.start_min)),
            text=f"dial {_two(s.dial_percent or 0)} %, fresh gas {_two(s.fresh_gas_l_min or 0)} L/min, "
            f"alveoli {_two(s.alveolar_l_min or 0)} L/min" + (", off the system" if s.opened else ""),
            mark="typed",
        )
        for s in taken.settings[-8:]
    )
    circle = "no rebreathing" if body.circuit_l is None else f"{_two(body.circuit_l)} L in the circle"
    return WorkingShape(
        title=f"{t.names.drug(agent.name)}, predicted end-tidal",
        says=f"{circle}, {_two(float(body.lung_l))} L in the lung, blood/gas {_two(float(agent.blood_gas))}; vessel-rich, muscle "
        f"and fat groups scaled to {figure(Decimal(str(body.weight_kg)))} kg; 10 to 90 % of the model's animals",
        inputs=rows,
        held=(how, COUNTS) if "tidal volume" in how else (how,),
        cited=cited(sources, t.facts.sources),
        memory=True,
        estimated=True,
    )


def _row(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(f"{v:.3g}") for v in values)


def _two(value: float) -> str:
    return figure(Decimal(str(float(value))), 2)
