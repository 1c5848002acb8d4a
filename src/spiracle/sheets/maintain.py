"""The maintenance sheet: the ribbon of readings, the five-minute row, what is running, budgets, fluids, trouble."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.running import is_fluid, over_now
from spiracle.case.syringes import Infusion, bag_of
from spiracle.quantity import figure
from spiracle.sheets.bands import short, total_until
from spiracle.sheets.chart import EVERY, chart, tick_before
from spiracle.sheets.gas_now import gas_now
from spiracle.sheets.infusion_cards import empty_at, running_cards
from spiracle.sheets.levels import levels_now
from spiracle.sheets.mac_card import mac_card
from spiracle.sheets.names import joined, unit_text
from spiracle.sheets.oxygen_now import oxygen_now
from spiracle.sheets.plan_sheet import orderer
from spiracle.sheets.readings import READINGS, RIBBON, ReadingShape
from spiracle.sheets.shapes import (
    Advice,
    Budget,
    LimitRow,
    MaintainSheet,
    Num,
    PadLine,
    Priority,
    Running,
    Trouble,
    Vital,
)
from spiracle.sheets.told import Seen, Told
from spiracle.sheets.ventilator_card import maintain_card
from spiracle.sheets.words_during import pressure_figures

# What no monitor sees, in the order in which hand and eye go over the head of the animal.
SIGN_LINES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("eye", "Eye", ("down", "middle", "up")),
    ("jaw", "Jaw", ("loose", "some", "tight")),
    ("pulse", "Pulse by finger", ("strong", "fair", "weak")),
    ("gums", "Gums", ("pink", "pale", "blue or dark")),
)
NUMBER_LINES = ("heart_rate", "spo2", "pressure", "etco2", "respiratory_rate", "temperature", "agent_et")
PRESSURES = ("map", "sap", "dap")
PLOTTED = frozenset({"heart_rate", "map", "sap", "dap"})
DEVICE_FRESH = timedelta(minutes=5)
# The cell that a line about airway or breathing marks.
MARKED = {"no co2": "etco2", "no breaths": "respiratory_rate", "no breath seen": "respiratory_rate", "too deep": "spo2"}


def maintain(
    t: Told, limits: tuple[LimitRow, ...], budgets: tuple[Budget, ...], advice: tuple[Advice, ...] = (), *,
    expected: bool = False,
) -> MaintainSheet:  # fmt: skip
    row_at = row_due(t)
    dial = t.case.last(ev.VaporiserSet)
    gas = t.case.last(ev.GasSet)
    return MaintainSheet(
        ribbon=ribbon(t, limits, advice),
        chart=chart(t, plotted_limits(t)),
        row_at=row_at,
        row_lines=row_lines(t),
        row_filled=row_filled(t, row_at),
        running=tuple(running(t, i) for i in t.infusions if i.running),
        vaporiser=Num(text=figure(dial.percent), unit="%", mark="typed", at=dial.happened_at, by=t.names.hand(dial.by)) if dial else None,
        vaporiser_agent=t.names.drug(dial.agent) if dial else "",
        oxygen=Num(text=figure(gas.oxygen_l_min), unit="L/min", mark="typed", at=gas.happened_at, by=t.names.hand(gas.by)) if gas else None,
        other_gas=gas.other if gas and gas.other_l_min != 0 else "",
        other_l_min=_other_flow(t, gas),
        oxygen_left=oxygen_now(t),
        ventilator=maintain_card(t),
        expected=expected,
        levels=levels_now(t) if expected else (),
        inhaled=gas_now(t) if expected else None,
        mac=mac_card(t),
        budgets=budgets,
        fluids_in=fluids_in(t),
        losses=losses(t),
        troubles=troubles(t),
    )  # fmt: skip


# ---- the ribbon


def _other_flow(t: Told, gas: ev.GasSet | None) -> Num | None:
    """What runs beside the oxygen, so that setting the oxygen anew does not forget it."""
    if gas is None or not gas.other or not gas.other_l_min:
        return None
    return Num(text=figure(gas.other_l_min), unit="L/min", mark="typed", at=gas.happened_at, by=t.names.hand(gas.by))


def ribbon(t: Told, limits: tuple[LimitRow, ...], advice: tuple[Advice, ...] = ()) -> tuple[Vital, ...]:
    """Same cells, same order, always. A reading that nobody saw has no value; the page ages the others."""
    by_reading = {row.reading: row for row in limits}
    urgent = {MARKED.get(a.id, a.id.removeprefix("limit ")): a.priority for a in reversed(advice)}
    return tuple(_cell(t, READINGS[name], by_reading.get(name), urgent) for name in RIBBON)


def _cell(t: Told, shape: ReadingShape, limit: LimitRow | None, urgent: Mapping[str, Priority]) -> Vital:
    seen = t.current(shape.reading)
    if shape.reading == "heart_rate" and seen is None:
        seen = t.current("pulse_rate")
    title = shape.title
    dial = t.case.last(ev.VaporiserSet)
    if shape.reading == "agent_et" and dial is not None:
        title = f"{short(dial.agent, t.names.drug(dial.agent))} Et"
    return Vital(
        reading=shape.reading,
        title=title,
        unit=shape.printed_unit,
        limit=_limit_text(t, shape.reading, limit, dial),
        value=_num(t, seen) if seen else None,
        extra=_extra(t, shape.reading, seen),
        foot=_foot(t, shape.reading, seen),
        priority=urgent.get(shape.reading) or (_pressure_priority(urgent) if shape.reading == "map" else None),
        stale_after_s=600 if shape.reading in {"map", "temperature"} else 300,
    )


def _num(t: Told, s: Seen) -> Num:
    return Num(text=s.text, mark=s.mark, at=s.at, by=s.monitor if s.device and s.monitor else t.names.hand(s.by))


def _pressure_priority(urgent: Mapping[str, Priority]) -> Priority | None:
    """The cell of the mean stands for the other two figures of a pressure, where no mean was taken."""
    return urgent.get("sap") or urgent.get("dap")


def _limit_text(t: Told, reading: str, limit: LimitRow | None, dial: ev.VaporiserSet | None) -> str:
    if reading == "agent_et":
        return f"dial {figure(dial.percent)}" if dial is not None else ""
    return short_limit(limit) if limit is not None else ""


def short_limit(limit: LimitRow) -> str:
    """A limit small enough for a cell: where it should stay, never where it is.

    >>> short_limit(LimitRow(reading="spo2", text="", low=94)), short_limit(LimitRow(reading="etco2", text="", low=35, high=55))
    ('over 94', '35–55')
    """
    if limit.low is not None and limit.high is not None:
        return f"{limit.low:g}–{limit.high:g}"
    if limit.low is not None:
        return f"over {limit.low:g}"
    return f"under {limit.high:g}" if limit.high is not None else ""


def _extra(t: Told, reading: str, seen: Seen | None) -> str:
    """Beside a mean the systolic over the diastolic of the same moment; nothing is mixed from two moments."""
    if reading != "map" or seen is None:
        return ""
    parts = [s.text for name in ("sap", "dap") for s in t.seen.get(name, ()) if s.event_id == seen.event_id]
    return "/".join(parts)


def _foot(t: Told, reading: str, seen: Seen | None) -> str:
    if reading == "map" and seen is not None:
        line = t.case.line(seen.event_id)
        if line is not None and isinstance(line.event, ev.PressureTaken):
            e = line.event
            return joined((e.method, f"cuff {figure(e.cuff_cm)} cm" if e.cuff_cm is not None else ""), " · ")
    if reading == "etco2":
        inspired = t.current("fico2")
        return f"in {inspired.text}" if inspired is not None else ""
    if reading == "map":
        alone = t.current("sap")
        return f"systolic {alone.text}" if alone is not None else ""
    return ""


def plotted_limits(t: Told) -> tuple[LimitRow, ...]:
    """The dashed lines of the chart: ordered limits of what is plotted, and nothing that nobody ordered."""
    standing = {limit.reading: limit for limit in t.case.live(ev.LimitOrdered) if limit.reading in PLOTTED}
    return tuple(
        LimitRow(
            reading=limit.reading,
            text=f"order {joined((figure(b) for b in (limit.below, limit.above) if b is not None), ' to ')}",
            low=_float(limit.below),
            high=_float(limit.above),
            unit=READINGS[limit.reading].printed_unit,
            action=limit.action,
            whose=t.names.hand(orderer(limit, t.facts)),
        )
        for limit in standing.values()
    )


# ---- the five-minute row


def row_due(t: Told) -> datetime | None:
    """The line that asks to be filled: the last five-minute line as long as no person looked, else the next one.

    What a monitor alone filled still wants eye, jaw, pulse and gums.
    """
    if not t.asleep or t.induced_at is None:
        return None
    last = tick_before(t.now)
    if last <= t.induced_at:
        return last + EVERY
    return last + EVERY if _looked(t, last) else last


def _looked(t: Told, row_at: datetime) -> bool:
    """Whether somebody wrote a sign, or a number by hand, into the row."""
    taken: tuple[ev.ReadingTaken | ev.PressureTaken, ...] = (
        *t.case.live(ev.ReadingTaken),
        *t.case.live(ev.PressureTaken),
    )
    by_hand = {e.id for e in taken if e.row_at == row_at and e.source == "hand"}
    signs = {name for name, _, _ in SIGN_LINES}
    return any(line in signs or id_ in by_hand for line, _, id_ in row_filled(t, row_at))


def row_filled(t: Told, row_at: datetime | None) -> tuple[tuple[str, str, str], ...]:
    """What stands in one row: line, words or figure, and the entry's id (a second touch strikes the first)."""
    if row_at is None:
        return ()
    filled: dict[str, tuple[str, str, str]] = {}
    for sign in t.case.live(ev.SignSeen):
        if sign.row_at == row_at:
            filled[sign.sign] = (sign.sign, sign.finding, sign.id)
    for name in NUMBER_LINES:
        for seen in t.seen.get(name, ()):
            if seen.row_at == row_at and not seen.struck and not seen.artefact:
                filled[name] = (name, seen.text, seen.event_id)
    for line in t.case.every(ev.PressureTaken):
        e = line.event
        if isinstance(e, ev.PressureTaken) and e.row_at == row_at and line.struck is None and line.artefact is None:
            filled["pressure"] = ("pressure", pressure_figures(e), e.id)
    return tuple(filled.values())


def row_lines(t: Told) -> tuple[PadLine, ...]:
    """The four signs, then each number that no device has given within one interval. Never prefilled."""
    last_sign: dict[str, str] = {}
    for sign in t.case.live(ev.SignSeen):
        last_sign[sign.sign] = sign.finding
    signs = [PadLine(id=i, title=title, choices=choices, last=last_sign.get(i, "")) for i, title, choices in SIGN_LINES]
    return (*signs, *(number_line(t, name) for name in NUMBER_LINES if not _device_gives(t, name)))


def _device_gives(t: Told, name: str) -> bool:
    readings = PRESSURES if name == "pressure" else (name,)
    return any(s.device and t.now - s.at <= DEVICE_FRESH for r in readings if (s := t.current(r)) is not None)


def number_line(t: Told, name: str) -> PadLine:
    """A number to type, with the bounds that refuse it and the distance from the last that asks again."""
    if name == "pressure":
        return _pressure_line(t)
    shape, seen = READINGS[name], t.current(name)
    bounds = t.facts.circulation.bounds(name, t.species)
    ask_low, ask_high = bounds.ask(seen.value if seen else None)
    return PadLine(
        id=name,
        title=shape.title,
        unit=unit_text(bounds.unit),
        last=seen.text if seen else "",
        low=_float(bounds.low),
        high=_float(bounds.high),
        ask_low=_float(ask_low),
        ask_high=_float(ask_high),
        places=bounds.places,
    )


def _pressure_line(t: Told) -> PadLine:
    """One line for the three figures of one measurement: from the lowest diastolic to the highest systolic possible."""
    last = next((p for p in reversed(t.case.every(ev.PressureTaken)) if p.struck is None and p.artefact is None), None)
    low, high = t.facts.circulation.bounds("dap", t.species), t.facts.circulation.bounds("sap", t.species)
    said = pressure_figures(last.event) if last is not None and isinstance(last.event, ev.PressureTaken) else ""
    return PadLine(
        id="pressure",
        title="Pressure",
        unit=unit_text(high.unit),
        last=said,
        low=_float(low.low),
        high=_float(high.high),
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


# ---- running, fluids, trouble


def running(t: Told, i: Infusion) -> Running:
    started = i.started
    total = i.volume_ml(total_until(t, i)).quantize(Decimal("0.1"))
    dose = None
    if i.dose_rate is not None:
        dose = Num(text=figure(i.dose_rate), unit=unit_text(i.dose_unit), mark="typed", estimated=t.estimated)
    own, *parts = running_cards(t, i)
    return Running(
        infusion=started.infusion,
        drug=started.drug,
        name=_running_name(t, i),
        syringe_class=t.facts.drugs.class_of(started.drug),
        fluid=is_fluid(t.facts, started.drug),
        rate=Num(text=figure(i.rate_ml_h), unit="mL/h", mark="typed", at=i.since),
        dose_rate=dose,
        since=started.happened_at,
        total=Num(text=figure(total), unit="mL"),
        ends_at=empty_at(t, i),
        over_order=over_now(t.case, t.facts, i, t.now),
        card=own,
        bag=started.bag,
        parts=tuple(parts),
    )


ends_at = empty_at


def _running_name(t: Told, i: Infusion) -> str:
    """A bag is called by what is in it."""
    bag = bag_of(t.case, i.started.bag)
    name = t.names.drug(i.started.drug)
    if bag is None:
        return name
    return f"{name} with {', '.join(t.names.drug(p.drug) for p in bag.mixed.parts)}"


def fluid_total_ml(t: Told) -> Decimal:
    """All that went in: running fluids and infusions, boluses and flushes, and the volume of every push."""
    ran = sum((i.volume_ml(total_until(t, i)) for i in t.infusions), Decimal(0))
    bolus = sum((f.volume_ml for f in t.case.live(ev.FluidGiven)), Decimal(0))
    pushed = sum((g.volume_ml or Decimal(0) for g in t.given), Decimal(0))
    return ran + bolus + pushed


def fluids_in(t: Told) -> Num | None:
    total = fluid_total_ml(t)
    if not total:
        return None
    return Num(text=figure(total.quantize(Decimal("0.1"))), unit="mL", estimated=t.estimated)


def losses(t: Told) -> Num | None:
    lost = sum((f.volume_ml for f in t.case.live(ev.FluidLost)), Decimal(0))
    return Num(text=figure(lost), unit="mL") if lost else None


def troubles(t: Told) -> tuple[Trouble, ...]:
    """Each trouble with what was done about it; one without an end is still there."""
    done: dict[str, list[str]] = {}
    for e in t.case.live(ev.TroubleTreated):
        done.setdefault(e.trouble, []).append(e.action)
    ended = {e.trouble: e for e in t.case.live(ev.TroubleEnded)}
    return tuple(
        Trouble(
            trouble=b.trouble,
            kind=b.kind,
            seen=b.seen,
            from_at=b.happened_at,
            to_at=ended[b.trouble].happened_at if b.trouble in ended else None,
            treatment=tuple(done.get(b.trouble, ())),
            response=ended[b.trouble].response if b.trouble in ended else "",
        )
        for b in t.case.live(ev.TroubleBegan)
    )
