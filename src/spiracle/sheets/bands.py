"""What ran over a stretch of time: oxygen, vaporiser dial, infusions, fluids, warming; and the totals of what ran in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Literal, TypeVar

from msgspec.structs import replace

from spiracle.case import events as ev
from spiracle.case.events import Event
from spiracle.case.running import comes_to, is_fluid
from spiracle.case.streams import Stream, streams_of
from spiracle.case.syringes import Infusion, bag_of
from spiracle.quantity import figure, unit
from spiracle.refusals import Refusal
from spiracle.sheets.names import capital, joined, with_unit
from spiracle.sheets.shapes import BandPart, ChartBand
from spiracle.sheets.told import Told

Kind = Literal["vaporiser", "fluid", "infusion", "gas", "warming"]
E = TypeVar("E", bound=Event)


def bands(t: Told) -> tuple[ChartBand, ...]:
    """In the order of a paper chart: gas, dial, fluids, infusions, warming."""
    return (*_gas(t), *_dials(t), *_infused(t, fluid=True), *_infused(t, fluid=False), *_warming(t))


def stepped(
    events: Sequence[E], end: datetime | None, text: Callable[[E], str], off: Callable[[E], bool]
) -> tuple[BandPart, ...]:
    """Each setting holds until the next one; an `off` setting ends the one before and draws nothing itself."""
    parts = []
    for place, event in enumerate(events):
        after = events[place + 1].happened_at if place + 1 < len(events) else end
        if not off(event):
            parts.append(BandPart(event_id=event.id, from_at=event.happened_at, to_at=after, text=text(event)))
    return tuple(parts)


def _gas(t: Told) -> tuple[ChartBand, ...]:
    set_ = t.case.live(ev.GasSet)
    if not set_:
        return ()
    parts = stepped(set_, t.ended_at, lambda e: f"{figure(e.oxygen_l_min)} L/min", lambda e: not e.oxygen_l_min)
    running = bool(set_[-1].oxygen_l_min) and t.ended_at is None
    return (ChartBand(id="oxygen", title="Oxygen", kind="gas", parts=parts, running=running),)


def _dials(t: Told) -> tuple[ChartBand, ...]:
    by_agent: dict[str, list[ev.VaporiserSet]] = defaultdict(list)
    for event in t.case.live(ev.VaporiserSet):
        by_agent[event.agent].append(event)
    end = t.mark("agent off") or t.woken_at
    found = []
    for agent, set_ in by_agent.items():
        stop = end if end is not None and end >= set_[-1].happened_at else None
        parts = stepped(set_, stop, lambda e: f"{figure(e.percent)} %", lambda e: not e.percent)
        running = bool(set_[-1].percent) and stop is None
        title = f"{short(agent, t.names.drug(agent))} dial"
        found.append(ChartBand(id=f"dial {agent}", title=title, kind="vaporiser", parts=parts, running=running))
    return tuple(found)


SHORT = {
    "isoflurane": "Iso",
    "sevoflurane": "Sevo",
    "desflurane": "Des",
    "isotonic_crystalloid": "Crystalloid",
    "colloid_hes": "Starch",
    "packed_red_cells": "Red cells",
    "whole_blood": "Whole blood",
    "fresh_frozen_plasma": "Plasma",
    "hypertonic_saline": "Salt 7.5 %",
    "forced warm air": "Warm air",
}
NARROW = 12  # what fits beside a row of a printed chart


def short(id_: str, name: str) -> str:
    """The trade's short form for a narrow chart; a long name without one is cut and shows that it was.

    >>> short("isoflurane", "Isoflurane"), short("dexmedetomidine", "Dexmedetomidine"), short("fentanyl", "Fentanyl")
    ('Iso', 'Dexmedetomi…', 'Fentanyl')
    >>> short("warm air blanket", "warm air blanket")
    'Warm air…'
    """
    found = capital(SHORT.get(id_.lower(), name))
    if len(found) <= NARROW:
        return found
    cut = found[: NARROW - 1]
    return f"{cut.rpartition(' ')[0] or cut}…"


def _infused(t: Told, *, fluid: bool) -> tuple[ChartBand, ...]:
    found = []
    for infusion in t.infusions:
        if is_fluid(t.facts, infusion.started.drug) is not fluid:
            found += [] if fluid else _bag_parts(t, infusion)
            continue
        kind: Kind = "fluid" if fluid else "infusion"
        until = total_until(t, infusion)
        found.append(
            ChartBand(
                id=infusion.started.infusion,
                title=short(infusion.started.drug, t.names.drug(infusion.started.drug)),
                kind=kind,
                parts=_steps(t, infusion),
                total_text=f"{figure(infusion.volume_ml(until).quantize(Decimal('0.1')))} mL in",
                running=infusion.running,
            )
        )
    return tuple(found)


def _bag_parts(t: Told, infusion: Infusion) -> list[ChartBand]:
    """Each drug of a bag as a band of its own, with its dose at every rate."""
    bag = bag_of(t.case, infusion.started.bag)
    parts = [] if bag is None else [s for s in streams_of(t.case, t.facts, infusion) if s.part is not None]
    return [
        ChartBand(
            id=f"{s.id} {s.drug}",
            title=short(s.drug, t.names.drug(s.drug)),
            kind="infusion",
            parts=_doses(t, s),
            total_text=_ran_in(s, total_until(t, infusion)),
            running=infusion.running,
        )
        for s in parts
    ]


def _doses(t: Told, s: Stream) -> tuple[BandPart, ...]:
    return tuple(
        replace(p, text=_dose_text(t, s, rate)) for p, (_, rate) in zip(_steps(t, s.infusion), s.steps, strict=True)
    )


def _dose_text(t: Told, s: Stream, rate: Decimal) -> str:
    """A drug's dose at a rate of its bag, in the unit of its order."""
    order = t.orders.get(s.order)
    if order is None or t.kg is None or s.holds is None:
        return f"in {figure(rate)} mL/h"
    try:
        dose = comes_to(rate, s.holds, unit(order.unit), t.kg)
    except Refusal:
        return f"in {figure(rate)} mL/h"
    return f"{figure(dose.value, 4)} {dose.unit}"


def _ran_in(s: Stream, until: datetime) -> str:
    amount = s.amount(until)
    return "" if amount is None else f"{figure(amount.value, 3)} {amount.unit} in"


def total_until(t: Told, infusion: Infusion) -> datetime:
    """Until the stop, else until now: a total of something that still runs grows with the clock."""
    return infusion.stopped.happened_at if infusion.stopped is not None else t.now


def _steps(t: Told, infusion: Infusion) -> tuple[BandPart, ...]:
    stop = infusion.stopped.happened_at if infusion.stopped is not None else None
    ids: list[ev.InfusionStarted | ev.InfusionChanged] = [infusion.started]
    ids += [c for c in t.case.live(ev.InfusionChanged) if c.infusion == infusion.started.infusion]
    parts = []
    for place, event in enumerate(ids):
        after = ids[place + 1].happened_at if place + 1 < len(ids) else stop
        dose = with_unit(event.dose_rate, event.dose_unit) if event.dose_rate is not None else ""
        text = joined((f"{figure(event.rate_ml_h)} mL/h", dose), " · ")
        parts.append(BandPart(event_id=event.id, from_at=event.happened_at, to_at=after, text=text))
    return tuple(parts)


def _warming(t: Told) -> tuple[ChartBand, ...]:
    by_device: dict[str, list[ev.WarmingSet]] = defaultdict(list)
    for event in t.case.live(ev.WarmingSet):
        by_device[event.device_used].append(event)
    found = []
    for device, set_ in by_device.items():
        parts = stepped(set_, t.ended_at, lambda e: e.setting or "on", lambda e: e.setting == "off")
        running = set_[-1].setting != "off" and t.ended_at is None
        found.append(
            ChartBand(id=f"warming {device}", title=short(device, device), kind="warming", parts=parts, running=running)
        )
    return tuple(found)
