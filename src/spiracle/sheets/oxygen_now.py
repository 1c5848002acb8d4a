"""The oxygen that is left now: the last reading less what charted flows took since. Predicted, and never drawn as a reading."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle import breathing
from spiracle.breathing import Cylinder, Left
from spiracle.case import events as ev
from spiracle.case.oxygen import cylinder_of, steps, supply_of
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Refusal
from spiracle.sheets.calling import call_act
from spiracle.sheets.names import joined
from spiracle.sheets.shapes import Advice, Due, OxygenNow
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import number, refused


def oxygen_now(t: Told) -> OxygenNow | None:
    """What is known of the supply; None while nobody has read one, and after the case has ended."""
    read = t.case.last(ev.OxygenRead)
    if read is None or t.ended_at is not None:
        return None
    name, by = joined((read.source, read.cylinder), " "), t.names.hand(read.by)
    try:
        supply = supply_of(t.facts, read)
        found = left_now(t, read)
    except Refusal as why:
        return OxygenNow(source=read.source, name=name, read_at=read.happened_at, by=by, refusal=refused(why))
    flow = _flow(t)
    if found is None:
        told = joined(
            (
                f"up to {supply.max_flow}" if supply.max_flow else "",
                f"{supply.percent} oxygen" if supply.percent else "",
            )
        )
        words = breathing.supply_words(supply, flow, drive=_drive(read))
        return OxygenNow(source=read.source, name=name, read_at=read.happened_at, by=by, gauge=told, notes=words)
    left, cylinder = found
    planned = planned_left(t)
    minutes = left.minutes_to_reserve
    return OxygenNow(
        source=read.source,
        name=name,
        read_at=read.happened_at,
        by=by,
        gauge=read.gauge,
        litres=number(left.litres, "oxygen left by count", t.facts.sources, mark=left.mark.value, at=read.happened_at),
        minutes=None if minutes is None else number(Quantity.of(minutes, "min"), mark="predicted", memory=True),
        part=float(left.fraction),
        read_part=_share(cylinder, cylinder.gauge),
        reserve=_share(cylinder, t.facts.breathing.setting("oxygen-reserve").quantity),
        flow=str(left.flow),
        reserve_at=left.reserve_at,
        empty_at=left.empty_at,
        planned_left=planned,
        enough=None if planned is None or minutes is None else minutes >= planned,
        short=left.short and left.flow.value > 0,
        question=_question(t, read, cylinder),
        notes=(*left.cautions, *_uncounted(t, read, left)),
    )


def left_now(t: Told, read: ev.OxygenRead) -> tuple[Left, Cylinder] | None:
    """The count since this reading; None for a supply that has no gauge. Raises what a cylinder is refused for."""
    cylinder = cylinder_of(read)
    if cylinder is None:
        return None
    return breathing.left(
        t.facts.breathing, cylinder, read.happened_at, steps(t.case, read.happened_at), t.now
    ), cylinder


def _flow(t: Told) -> Quantity:
    gas = t.case.last(ev.GasSet)
    return Quantity.of(Decimal(0) if gas is None else gas.oxygen_l_min, "L/min")


def _drive(read: ev.OxygenRead) -> Quantity | None:
    return Quantity.of(read.drive_l_min, "L/min") if read.drive_l_min else None


def _share(cylinder: Cylinder, pressure: Quantity) -> float:
    unit = str(cylinder.full_pressure.unit)
    return float(round(pressure.number(unit) / cylinder.full_pressure.value, 4))


def planned_left(t: Told) -> int | None:
    """Minutes that the procedure is still expected to take: all of them until it starts. None when nobody said how long."""
    planned = t.case.last(ev.ProcedurePlanned)
    if planned is None or planned.minutes is None or t.mark("procedure end") is not None:
        return None
    began = t.mark("procedure start")
    gone = 0 if began is None else int((t.now - began).total_seconds()) // 60
    return max(planned.minutes - gone, 0)


def _question(t: Told, read: ev.OxygenRead, cylinder: Cylinder) -> str:
    """Whether this reading fits what the one before had left; another cylinder, or another label, is no question."""
    earlier = [r for r in t.case.live(ev.OxygenRead) if r.happened_at < read.happened_at]
    if not earlier or cylinder_of(earlier[-1]) is None:
        return ""
    before = earlier[-1]
    same = (before.cylinder, before.contents_l, before.full_pressure) == (
        read.cylinder,
        read.contents_l,
        read.full_pressure,
    )
    then = cylinder_of(before)
    if not same or then is None:
        return ""
    try:
        expected = breathing.left(
            t.facts.breathing, then, before.happened_at, steps(t.case, before.happened_at), read.happened_at
        )
        return breathing.gauge_question(t.facts.breathing, expected, cylinder)
    except Refusal:
        return ""


def _uncounted(t: Told, read: ev.OxygenRead, left: Left) -> Iterable[str]:
    """What flows without a figure is said, never guessed into the count."""
    mask, ended = t.case.last(ev.PreoxygenationBegan), t.case.last(ev.PreoxygenationEnded)
    if mask is not None and mask.flow_l_min is None:
        until = t.now if ended is None or ended.happened_at < mask.happened_at else ended.happened_at
        set_before = any(g.happened_at <= mask.happened_at for g in t.case.live(ev.GasSet))
        if until > read.happened_at and not set_before:
            yield "Oxygen by mask was charted without its flow: it is not counted."
    yield from _ventilator_uncounted(t, read, left)


def _ventilator_uncounted(t: Told, read: ev.OxygenRead, left: Left) -> Iterable[str]:
    """A ventilator runs and nobody said what it takes: the count stands without it, and what a bellows would take is said."""
    set_ = t.case.last(ev.VentilationSet)
    if set_ is None or set_.mode != "ventilator" or read.drive_l_min is not None:
        return
    words = "The ventilator's drive gas is not counted: say what it takes, or 0."
    if set_.tidal_ml is not None and set_.rate is not None:
        drive = breathing.drive_gas(t.facts.breathing, Quantity.of(set_.tidal_ml, "mL"), Quantity.of(set_.rate, "/min"))
        words += f" A bellows takes about {drive.value} (from memory)"
        l_min = left.flow.number("L/min") + drive.value.number("L/min")
        above = _above_reserve(t, read, left)
        words += (
            f", and the reserve would be reached in {figure(above // l_min)} min."
            if above is not None and l_min > 0
            else "."
        )
    yield words


def _above_reserve(t: Told, read: ev.OxygenRead, left: Left) -> Decimal | None:
    cylinder = cylinder_of(read)
    if cylinder is None:
        return None
    reserve = t.facts.breathing.setting("oxygen-reserve").quantity.number(str(cylinder.full_pressure.unit))
    kept = cylinder.contents.number("L") * reserve / cylinder.full_pressure.value
    return max(left.litres.value.number("L") - kept, Decimal(0))


# ---- what falls due, and what is advised


def oxygen_due(t: Told) -> Iterable[Due]:
    """When the count reaches the reserve, while oxygen flows."""
    now = oxygen_now(t)
    if now is None or now.reserve_at is None or now.short or not _flows(t, now):
        return  # short of it there is advice, and one condition has one line
    yield Due(id="oxygen", title="Oxygen to the reserve", detail=f"predicted, at {now.flow}; gauge {now.gauge} at "
              f"{t.names.clock(now.read_at)}", at=now.reserve_at, from_at=now.read_at, phase="prepare")  # fmt: skip


def oxygen_advice(t: Told) -> Iterable[Advice]:
    """A10: the reserve is near, or nearer than the end of the work; a reading that does not fit the count."""
    now = oxygen_now(t)
    if now is None or now.source != "cylinder" or now.litres is None:
        return
    flows = _flows(t, now)
    if flows and now.short:
        at = f" at {t.names.clock(now.reserve_at)}" if now.reserve_at is not None and now.reserve_at > t.now else " now"
        yield Advice(
            id="oxygen short",
            priority="high",
            title=f"Oxygen: the reserve is reached{at}, by count.",
            since=_short_since(t, now),
            body="Predicted from the last reading and the charted flows. Read the gauge, change the cylinder, keep oxygen flowing.",
            acts=call_act(t, "oxygen is short"),
        )
    elif flows and now.enough is False and now.minutes is not None:
        yield Advice(
            id="oxygen short",
            priority="medium",
            title=f"Oxygen lasts {now.minutes.text} min to the reserve; {now.planned_left} min are still planned.",
            since=now.read_at,
            body="Predicted. Have the next cylinder at the machine.",
        )
    if now.question:
        yield Advice(id="oxygen gauge", priority="medium", title="The gauge does not fit the count.", since=now.read_at,
                     body=now.question)  # fmt: skip


def _flows(t: Told, now: OxygenNow) -> bool:
    """Something flows by what is charted. Once the tube is out a flow charted before counts for nothing here: few chart its end."""
    changes = [*t.case.live(ev.GasSet), *t.case.live(ev.PreoxygenationBegan), *t.case.live(ev.PreoxygenationEnded)]
    last = max((c.happened_at for c in changes), default=None)
    if t.extubated_at is not None and (last is None or last < t.extubated_at):
        return False
    return bool(now.flow) and now.flow != "0 L/min"


def _short_since(t: Told, now: OxygenNow) -> datetime:
    """Since when it is short: so long before the reserve as the tables call it short, never before the reading."""
    if now.reserve_at is None:
        return now.read_at
    return max(now.reserve_at - timedelta(minutes=t.facts.breathing.setting("oxygen-short").number), now.read_at)
