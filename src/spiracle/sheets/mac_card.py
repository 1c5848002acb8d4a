"""MAC of this animal now as a range, what moved it, and the measured end-tidal over it. A number, never a name for a depth."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.pushes import drug_id
from spiracle.case.running import comes_to
from spiracle.case.streams import streams
from spiracle.kinetics.gas_tables import GasTables
from spiracle.kinetics.mac import Acting, mac_now, multiple
from spiracle.kinetics.mac import MacNow as Range
from spiracle.kinetics.mac import MacPart as Part
from spiracle.quantity import Quantity, figure, round_significant, unit
from spiracle.refusals import Refusal
from spiracle.sheets.shapes import MacNow, MacPart, MacPoint, Num
from spiracle.sheets.told import Seen, Told
from spiracle.sheets.worked_shape import cited

TREND = 12  # at one every five minutes
HOUR = timedelta(minutes=60)  # how far the trend looks back, and the oldest temperature that corrects anything
FRESH = timedelta(minutes=10)  # the oldest end-tidal that is set over MAC; ours, as is the hour


def mac_card(t: Told) -> MacNow | None:
    """None while the dial is closed, or for an agent without a published MAC in this species."""
    dial = t.case.last(ev.VaporiserSet)
    if dial is None or dial.percent <= 0 or not t.asleep:
        return None
    agent = drug_id(dial.agent, t.facts)
    tables = t.facts.kinetics.gas
    warm = t.current("temperature")
    try:
        now = mac_now(
            tables, t.species, agent, _celsius(tables, _of_the_hour(warm, t.now)), tuple(_acting_at(t, t.now))
        )
    except Refusal:
        return None
    seen = t.current("agent_et")
    seen = seen if seen is not None and _agent_at(t, seen.at) == agent else None
    told = now.parts[1:]
    return MacNow(
        agent=t.names.drug(agent),
        range_text=f"{_two(now.low)} to {_two(now.high)} % end-tidal",
        multiple=_multiple(seen, now) if seen is not None and t.now - seen.at <= FRESH else None,
        parts=tuple(
            MacPart(text=p.says, change=_change(p.left.low, p.left.high), memory=p.memory,
                    cited=cited(p.sources, t.facts.sources))
            for p in (now.parts[0], *(x for x in told if x.counted))
        ),
        not_counted=(
            *(() if seen is None else _too_old(t, seen)),
            *(_why_not(t, p, tables, warm) for p in told if not p.counted),
        ),
        trend=tuple(_trend(t, tables, agent)),
        says=now.words[0],
        memory=now.memory,
        cited=cited(now.sources, t.facts.sources),
    )  # fmt: skip


def _celsius(tables: GasTables, seen: Seen | None) -> float | None:
    """The temperature, where MAC was followed to it; a colder animal's is named as not counted by leaving it out."""
    if seen is None:
        return None
    value = float(seen.value)
    return value if tables.number("mac-coldest") <= value <= 45 else None


def _of_the_hour(seen: Seen | None, at: datetime) -> Seen | None:
    """A temperature of more than an hour before a moment says nothing about it."""
    return seen if seen is not None and at - seen.at <= HOUR else None


def _too_old(t: Told, seen: Seen) -> Iterable[str]:
    """In place of a multiple: an end-tidal of long ago over a MAC of now would be the number of no moment."""
    if t.now - seen.at > FRESH:
        yield f"End-tidal {seen.text} %: last measured {_minutes_ago(t, seen)} min ago, so no multiple."


def _minutes_ago(t: Told, seen: Seen) -> int:
    return int((t.now - seen.at) // timedelta(minutes=1))


def _why_not(t: Told, part: Part, tables: GasTables, warm: Seen | None) -> str:
    """The room's words; a temperature that was taken, but lies past what MAC was followed to, is not called missing."""
    if part.name != "temperature" or warm is None:
        return part.says
    if _of_the_hour(warm, t.now) is None:
        return f"Temperature {warm.text} °C: last measured {_minutes_ago(t, warm)} min ago, not corrected for cold."
    if _celsius(tables, warm) is None:
        return f"{warm.text} °C is outside what MAC was followed to: not corrected for cold."
    return part.says


def _agent_at(t: Told, at: datetime) -> str:
    """The agent whose dial was set last by then: a reading belongs to it, and to no other's MAC."""
    dials = [v for v in t.case.live(ev.VaporiserSet) if v.happened_at <= at]
    return drug_id(dials[-1].agent, t.facts) if dials else ""


def _multiple(seen: Seen, now: Range) -> Num:
    found = multiple(float(seen.value), now)
    return Num(text=f"{_two(found.low)} to {_two(found.high)}", unit="× MAC", mark="worked", at=seen.at)


def _trend(t: Told, tables: GasTables, agent: str) -> Iterable[MacPoint]:
    """Each measured end-tidal of this agent over the range of its own moment: its temperature, and the pumps that ran then."""
    of_it = [
        s for s in t.seen.get("agent_et", ()) if s.current and t.now - s.at <= HOUR and _agent_at(t, s.at) == agent
    ]
    for seen in of_it[-TREND:]:
        warm = _of_the_hour(t.before("temperature", seen.at + timedelta(microseconds=1)), seen.at)
        try:
            then = mac_now(tables, t.species, agent, _celsius(tables, warm), tuple(_acting_at(t, seen.at)))
            found = multiple(float(seen.value), then)
        except Refusal:
            continue
        yield MacPoint(at=seen.at, text=f"{_two(found.low)} to {_two(found.high)}", low=found.low, high=found.high,
                       mark=seen.mark)  # fmt: skip


def _acting_at(t: Told, at: datetime) -> Iterable[Acting]:
    """Every drug that ran beside the gas at a moment, all pumps together, per kilogram."""
    rates: dict[str, Quantity] = {}
    for s in streams(t.case, t.facts):
        stopped = s.infusion.stopped
        steps = [rate for when, rate in s.steps if when <= at]
        if s.holds is None or not t.kg or not steps or (stopped is not None and stopped.happened_at <= at):
            continue
        try:
            one = comes_to(steps[-1], s.holds, unit("mcg/kg/min"), t.kg)
        except Refusal:
            continue
        rates[s.drug] = rates[s.drug] + one if s.drug in rates else one
    return [
        Acting(drug=d, rate=Quantity(round_significant(r.value, 3), r.unit)) for d, r in rates.items() if r.value > 0
    ]


def _change(low: float, high: float) -> str:
    """What is left of MAC: nothing for a part that takes none, and for the MAC itself."""
    if low > 1 or high > 1 or (low == high == 1):
        return ""
    return f"× {_two(low)} to {_two(high)}"


def _two(value: float) -> str:
    return figure(Decimal(str(value)), 2)
