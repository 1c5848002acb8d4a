"""The anaesthetic chart as data. Time runs one way; what was struck or judged an artefact stays; a gap stays a gap.

The interval of five minutes is the trade's charting interval (monitoring guidelines name it as common practice); a gap
is a stretch of more than two intervals in which nothing usable was charted; late is more than one interval.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from spiracle.case import events as ev
from spiracle.case.events import PressureTaken
from spiracle.quantity import figure
from spiracle.sheets.bands import bands
from spiracle.sheets.names import joined, where, with_unit
from spiracle.sheets.readings import CHART_ROWS, READINGS
from spiracle.sheets.shapes import (
    Chart,
    ChartGap,
    ChartMark,
    ChartPoint,
    ChartPressure,
    ChartRow,
    LimitRow,
)
from spiracle.sheets.told import Seen, Told
from spiracle.sheets.words import words
from spiracle.sheets.words_during import pressure_figures

EVERY = timedelta(minutes=5)
GAP = 2 * EVERY
LATE = EVERY
AHEAD = timedelta(minutes=10)
BEFORE = timedelta(minutes=15)
LOW, TOPS = 40.0, (160.0, 200.0, 240.0, 300.0)
GAP_NAMES = {"pressure": "no pressure", "heart_rate": "no rate"}


def chart(t: Told, limits: tuple[LimitRow, ...] = ()) -> Chart:
    """The whole chart of a case: from induction (or the first value) to ten minutes past the last."""
    rate = rate_points(t)
    pressures = chart_pressures(t)
    moments = sorted(
        s.at for name in (*CHART_ROWS, "heart_rate", "pulse_rate", "map", "sap") for s in t.seen.get(name, ())
    )
    start, end = _span(t, moments)
    plotted = [p.value for p in rate if not p.struck and not p.artefact]
    plotted += [x for p in pressures if not p.struck and not p.artefact for x in (p.sap, p.map, p.dap) if x is not None]
    top, bottom = max(plotted, default=LOW), min(plotted, default=LOW)
    return Chart(
        from_at=start,
        to_at=end,
        every_min=int(EVERY.total_seconds() // 60),
        low=LOW if bottom >= LOW else 0.0,
        high=next((h for h in TOPS if top <= h), TOPS[-1]),
        rate=rate,
        pressures=pressures,
        rows=tuple(_row(t, name) for name in CHART_ROWS if t.seen.get(name)),
        bands=bands(t),
        given=_given(t),
        events=_events(t),
        gaps=gaps(t),
        limits=limits,
    )


def _span(t: Told, plotted: list[datetime]) -> tuple[datetime, datetime]:
    """From induction (or values shortly before it) in whole intervals.

    The right edge runs ten minutes ahead of now while the animal sleeps; afterwards it ends at the last value.
    """
    if t.induced_at is not None:
        plotted = [at for at in plotted if at >= t.induced_at - BEFORE]
    start = min((x for x in (t.induced_at, *plotted[:1]) if x is not None), default=t.now)
    if t.asleep:
        return tick_before(start), tick_before(max(t.now, *plotted, start)) + AHEAD + EVERY
    last = max((start, *plotted, *((t.woken_at,) if t.woken_at is not None else ())))
    return tick_before(start), tick_before(last) + EVERY


def tick_before(at: datetime) -> datetime:
    """The five-minute line at or before a moment."""
    return at.replace(minute=at.minute - at.minute % 5, second=0, microsecond=0)


def late(happened: datetime, recorded: datetime) -> bool:
    return recorded - happened > LATE


def late_minutes(happened: datetime, recorded: datetime) -> int:
    """Whole minutes between happening and entry, when that is late; else none."""
    return int((recorded - happened).total_seconds() // 60) if late(happened, recorded) else 0


def point(t: Told, s: Seen) -> ChartPoint:
    return ChartPoint(
        event_id=s.event_id,
        at=s.at,
        value=float(s.value),
        text=s.text,
        mark=s.mark,
        by=s.monitor if s.device and s.monitor else t.names.hand(s.by),
        struck=s.struck,
        artefact=s.artefact,
        late=late(s.at, s.recorded_at),
        recorded_at=s.recorded_at,
    )


def rate_points(t: Told) -> tuple[ChartPoint, ...]:
    """Heart rate, and pulse rate where no heart rate was seen in the same interval."""
    beats = t.seen.get("heart_rate", ())
    taken = {tick_before(s.at) for s in beats if s.current}
    pulses = [s for s in t.seen.get("pulse_rate", ()) if tick_before(s.at) not in taken]
    return tuple(point(t, s) for s in sorted((*beats, *pulses), key=lambda s: (s.at, s.event_id)))


def chart_pressures(t: Told) -> tuple[ChartPressure, ...]:
    """Each pressure as measured. A Doppler's single figure stays one; nothing is worked out to fill the others."""
    found = []
    for line in t.case.every(PressureTaken):
        e = line.event
        assert isinstance(e, PressureTaken)  # noqa: S101
        found.append(
            ChartPressure(
                event_id=e.id,
                at=e.happened_at,
                sap=_float(e.sap),
                map=_float(e.map),
                dap=_float(e.dap),
                method=e.method,
                text=pressure_figures(e),
                mark="measured" if e.source == "device" else "typed",
                by=e.monitor if e.source == "device" and e.monitor else t.names.hand(e.by),
                struck=line.struck is not None,
                artefact=line.artefact is not None or e.quality == "invalid",
                late=late(e.happened_at, e.recorded_at),
                recorded_at=e.recorded_at,
            )
        )
    found += _single_pressures(t)
    return tuple(sorted(found, key=lambda p: (p.at, p.event_id)))


def _single_pressures(t: Told) -> Iterable[ChartPressure]:
    """A mean or systolic that came alone, as a reading of its own."""
    whole = {line.event.id for line in t.case.every(PressureTaken)}
    for name in ("sap", "map", "dap"):
        for s in t.seen.get(name, ()):
            if s.event_id in whole:
                continue
            yield ChartPressure(
                event_id=s.event_id,
                at=s.at,
                method="other",
                text=f"{READINGS[name].title.lower()} {s.text}",
                mark=s.mark,
                by=t.names.hand(s.by),
                struck=s.struck,
                artefact=s.artefact,
                late=late(s.at, s.recorded_at),
                recorded_at=s.recorded_at,
                **{name: float(s.value)},
            )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _row(t: Told, name: str) -> ChartRow:
    shape = READINGS[name]
    return ChartRow(
        reading=name,
        title=shape.title,
        unit=shape.printed_unit,
        points=tuple(point(t, s) for s in t.seen.get(name, ())),
    )


def _given(t: Told) -> tuple[ChartMark, ...]:
    """Every drug given, struck ones too, named once and then by amount."""
    marks: list[ChartMark] = []
    last = ""
    for line in t.case.every(ev.DrugGiven):
        e = line.event
        assert isinstance(e, ev.DrugGiven)  # noqa: S101
        amount = with_unit(e.amount, e.unit)
        name = t.names.drug(e.drug)
        text = amount if name == last and line.struck is None else f"{name} {amount}"
        volume = f"{figure(e.volume_ml)} mL" if e.volume_ml is not None else ""
        detail = joined((volume, e.route, where(e.side, e.site), t.names.hand(e.giver or e.by)))
        marks.append(
            ChartMark(event_id=e.id, at=e.happened_at, text=text, detail=detail, struck=line.struck is not None)
        )
        last = name if line.struck is None else last
    return tuple(marks)


NUMBERED = (
    ev.TimeMarked,
    ev.TubePlaced,
    ev.AirwayProven,
    ev.Positioned,
    ev.TroubleBegan,
    ev.TroubleEnded,
    ev.HelpCalled,
    ev.HelpArrived,
    ev.ArrestBegan,
    ev.ArrestEnded,
    ev.Extubated,
    ev.HandedOver,
    ev.VentilationSet,
    ev.FluidLost,
)


def _events(t: Told) -> tuple[ChartMark, ...]:
    """What happened besides values and drugs, numbered in the order of happening; struck ones keep no number."""
    lines = [line for kind in NUMBERED for line in t.case.every(kind)]
    lines.sort(key=lambda line: (line.event.happened_at, line.event.recorded_at, line.event.id))
    marks, number = [], 0
    for line in lines:
        number += line.struck is None
        marks.append(
            ChartMark(
                event_id=line.event.id,
                at=line.event.happened_at,
                text=words(line.event, t.names),
                number=number if line.struck is None else None,
                struck=line.struck is not None,
            )
        )
    return tuple(marks)


def gaps(t: Told) -> tuple[ChartGap, ...]:
    """Stretches of more than two intervals asleep in which no usable rate or no usable pressure was charted.

    A gap belongs to what was watched: a case in which no pressure was ever taken has a missing element, not a gap.
    """
    if t.induced_at is None:
        return ()
    end = t.woken_at or t.now
    reasons = {g.element: g.reason for g in t.case.live(ev.GapExplained)}
    found = []
    for element, name, readings in WATCHED:
        times = sorted({s.at for r in readings for s in t.seen.get(r, ()) if s.current and t.induced_at <= s.at <= end})
        if not times:
            continue
        for a, b in pairwise((*times, end)):
            if b - a > GAP:
                why = reasons.get(gap_id(t, element, a), "")
                found.append(ChartGap(from_at=a, to_at=b, text=joined((name, why), ": ")))
    return tuple(sorted(found, key=lambda g: (g.from_at, g.text)))


WATCHED = (
    ("F1", "no rate", ("heart_rate", "pulse_rate")),
    ("F4", "no pressure", ("sap", "map", "dap")),
)


def gap_id(t: Told, element: str, from_at: datetime) -> str:
    """How a gap of the chart is named when it is explained: element and the clock of its last value."""
    return f"{element} {t.names.clock(from_at)}"
