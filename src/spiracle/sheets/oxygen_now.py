"""The oxygen that is left now: the last reading less what charted flows took since. Predicted, and never drawn as a reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle import breathing
from spiracle.breathing import Cylinder, Left
from spiracle.breathing.oxygen import floored, litres_left
from spiracle.case import events as ev
from spiracle.case.oxygen import (
    bellows_known,
    cylinder_of,
    drive_of,
    drive_unknown,
    fresh_flow,
    in_use,
    replaced,
    standing_by,
    steps,
    supply_of,
    uncharted,
    used_readings,
    ventilator_runs,
)
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Refusal
from spiracle.sheets.calling import call_act
from spiracle.sheets.names import capital, joined
from spiracle.sheets.shapes import Advice, Due, OxygenNow
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import number, refused


def oxygen_now(t: Told) -> OxygenNow | None:
    """What is known of the supply; None while nobody has read one, and after the case has ended."""
    read = in_use(t.case)
    if t.ended_at is not None:
        return None
    if read is None:
        return _only_standby(t)
    name, by = _name(read), t.names.hand(read.by)
    beside = tuple(_beside(t, read))
    try:
        supply = supply_of(t.facts, read)
        found = left_now(t, read)
    except Refusal as why:
        return OxygenNow(
            source=read.source, name=name, read_at=read.happened_at, by=by, refusal=refused(why), notes=beside
        )
    if found is None:
        told = joined(
            (
                f"up to {supply.max_flow}" if supply.max_flow else "",
                f"{supply.percent} oxygen" if supply.percent else "",
            )
        )
        words = breathing.supply_words(
            supply, Quantity.of(fresh_flow(t.case), "L/min"), drive=_drive(t, read), ventilated=ventilator_runs(t.case)
        )
        return OxygenNow(
            source=read.source, name=name, read_at=read.happened_at, by=by, gauge=told, notes=(*words, *beside)
        )
    left, cylinder = found
    planned = planned_left(t)
    minutes = left.minutes_to_reserve
    gaps = uncharted(t.case, read.happened_at, t.now)
    whole = not gaps and not drive_unknown(t.case, read.happened_at, t.now)
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
        enough=minutes >= planned if whole and planned is not None and minutes is not None else None,
        short=left.short and left.flow.value > 0,
        question=_question(t, read, cylinder),
        notes=(*left.cautions, *_uncharted(t, gaps), *_ventilator_uncounted(t, read), *beside),
    )


def _name(read: ev.OxygenRead) -> str:
    return joined((read.source, read.cylinder), " ")


def _only_standby(t: Told) -> OxygenNow | None:
    """Nobody has read the supply in use: what stands by is shown as read, and nothing is counted down."""
    read = next(reversed(standing_by(t.case)), None)
    if read is None:
        return None
    cylinder = cylinder_of(read)
    return OxygenNow(
        source=read.source,
        name=_name(read),
        read_at=read.happened_at,
        by=t.names.hand(read.by),
        gauge=read.gauge,
        read_part=None if cylinder is None else _share(cylinder, cylinder.gauge),
        notes=("It stands by. The supply in use was not read: nothing is counted.",),
        counted=False,
    )


def _beside(t: Told, read: ev.OxygenRead) -> Iterable[str]:
    """What else was read: a source that is no longer counted, and those that stand by."""
    before = replaced(t.case)
    if before is not None:
        yield (
            f"{capital(_name(before))}, read {t.names.clock(before.happened_at)}, is no longer counted: {_name(read)} was read "
            f"after it. Read again what is in use, and say so."
        )
    for other in standing_by(t.case):
        cylinder = cylinder_of(other)
        holds = ""
        if cylinder is not None:
            gauge = cylinder.gauge.number(str(cylinder.full_pressure.unit))
            litres = litres_left(cylinder.contents.number("L"), cylinder.full_pressure.value, gauge)
            holds = f", gauge {other.gauge}, {figure(floored(litres))} L"
        yield f"Standing by: {_name(other)}{holds}, read {t.names.clock(other.happened_at)}. It is not counted."


def left_now(t: Told, read: ev.OxygenRead) -> tuple[Left, Cylinder] | None:
    """The count since this reading; None for a supply that has no gauge. Raises what a cylinder is refused for."""
    cylinder = cylinder_of(read)
    if cylinder is None:
        return None
    return breathing.left(
        t.facts.breathing, cylinder, read.happened_at, steps(t.case, read.happened_at), t.now
    ), cylinder


def _drive(t: Told, read: ev.OxygenRead) -> Quantity | None:
    """What the ventilator takes while it runs; before it runs, what this reading says it will take."""
    drive = drive_of(t.case) if ventilator_runs(t.case) else read.drive_l_min
    return None if drive is None else Quantity.of(drive, "L/min")


def _share(cylinder: Cylinder, pressure: Quantity) -> float:
    unit = str(cylinder.full_pressure.unit)
    return float(round(pressure.number(unit) / cylinder.full_pressure.value, 4))


def planned_left(t: Told) -> int | None:
    """Minutes that the procedure is still expected to take: all of them until it starts. None when nobody said how long, and when
    they are over: how long it will still take, nobody has said then."""
    planned = t.case.last(ev.ProcedurePlanned)
    if planned is None or planned.minutes is None or t.mark("procedure end") is not None:
        return None
    began = t.mark("procedure start")
    gone = 0 if began is None else int((t.now - began).total_seconds()) // 60
    return planned.minutes - gone if gone < planned.minutes else None


def _question(t: Told, read: ev.OxygenRead, cylinder: Cylinder) -> str:
    """Whether this reading fits what the one before had left; another cylinder, or another label, is no question."""
    earlier = [r for r in used_readings(t.case) if r.happened_at < read.happened_at]
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
        asked = breathing.gauge_question(t.facts.breathing, expected, cylinder)
    except Refusal:
        return ""
    return f"{asked} If it is another one, read it again with its own name or label." if asked else ""


def _uncharted(t: Told, gaps: Iterable[tuple[datetime, datetime]]) -> Iterable[str]:
    """What flows without a figure is said, never guessed into the count."""
    for since, until in gaps:
        yield f"From {t.names.clock(since)} to {t.names.clock(until)} no flow is charted: not counted."


def _ventilator_uncounted(t: Told, read: ev.OxygenRead) -> Iterable[str]:
    """A ventilator runs and nobody said what it takes: the count stands without it, and what a bellows would take is said."""
    if not drive_unknown(t.case, read.happened_at, t.now):
        return
    words = "The ventilator's drive gas is not counted: say what it takes, or 0."
    driven = with_bellows(t, read)
    if driven is not None:
        words += f" A bellows takes about {driven.l_min} (from memory)"
        reached = f" counted since {t.names.clock(driven.since)}, the reserve would be reached in {driven.minutes} min."
        words += "." if driven.minutes is None else f";{reached}"
    yield words


@dataclass(frozen=True, slots=True)
class Driven:
    """What would be left if the ventilator were a bellows: its drive [as a quantity], from when, and minutes to the reserve."""

    l_min: Quantity
    since: datetime
    minutes: int | None
    short: bool


def with_bellows(t: Told, read: ev.OxygenRead) -> Driven | None:
    """The count with the drive gas a bellows would have taken since the reading; None where breath or rate is not charted."""
    cylinder, set_ = cylinder_of(read), t.case.last(ev.VentilationSet)
    since, until = read.happened_at, t.now
    if cylinder is None or set_ is None or not drive_unknown(t.case, since, until):
        return None
    if not bellows_known(t.case, since, until):
        return None

    def bellows(tidal_ml: Decimal, rate: int) -> Decimal:
        drive = breathing.drive_gas(t.facts.breathing, Quantity.of(tidal_ml, "mL"), Quantity.of(rate, "/min"))
        return drive.value.number("L/min")

    ran = [v for v in t.case.live(ev.VentilationSet) if v.mode == "ventilator" and v.tidal_ml and v.rate]
    if not ran:
        return None
    try:
        found = breathing.left(t.facts.breathing, cylinder, since, steps(t.case, since, bellows), until)
    except Refusal:
        return None
    l_min = Quantity.of(bellows(ran[-1].tidal_ml or Decimal(0), ran[-1].rate or 0), "L/min")
    return Driven(l_min, max(since, ran[0].happened_at), found.minutes_to_reserve, found.short)


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
    elif (driven := _driven_short(t, now)) is not None:
        yield Advice(
            id="oxygen short",
            priority="high" if driven.short else "medium",
            title=f"Oxygen may last only {driven.minutes} min to the reserve: drive gas is not counted.",
            since=driven.since,
            body=f"Predicted, for a bellows that takes about {driven.l_min} (from memory). Read the gauge, and say what the "
            "ventilator takes, or 0.",
            acts=call_act(t, "oxygen is short") if driven.short else (),
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


def _driven_short(t: Told, now: OxygenNow) -> Driven | None:
    """What a bellows would leave, where that is short or ends before the work does."""
    read = in_use(t.case)
    driven = None if read is None or t.extubated_at is not None else with_bellows(t, read)
    if driven is None or driven.minutes is None:
        return None
    return driven if driven.short or (now.planned_left is not None and driven.minutes < now.planned_left) else None


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
