"""Advice on a relief valve that may be shut: from the pressure in the system, and from blood flow that falls with it.

Values alone, no waveform. Once the pattern was seen the line stays until the pressure falls back: a window that moves on,
or a setting that was written meanwhile, opens no valve.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.quantity import figure
from spiracle.sheets.airway_proof import tube_went_in
from spiracle.sheets.calling import call_act
from spiracle.sheets.shapes import Advice
from spiracle.sheets.told import Seen, Told

FRESH = timedelta(minutes=10)  # as for the limits: an older value is not now
OPEN = "Open the relief valve; take the system off the tube if the chest stays full. Then look for kink, plug, bite or air."


def setting(t: Told, id_: str) -> Decimal:
    return Decimal(t.facts.breathing.setting(id_).value)


def minutes(t: Told, id_: str) -> timedelta:
    return timedelta(minutes=float(setting(t, id_)))


def valve_advice(t: Told) -> tuple[Advice, ...]:
    """Pressure up and blood flow down is VALVE?; else a pressure that stays after a breath is judged by itself."""
    return tuple(_valve(t)) or tuple(_base(t))


# ---- pressure up, blood flow down


@dataclass(frozen=True, slots=True)
class _Shut:
    """The pattern as it was first seen: from which pressure it rose, and how blood flow fell."""

    since: datetime
    lowest: Seen
    base: Decimal
    fallen: str


@dataclass(frozen=True, slots=True)
class _Line:
    """Values of one reading in their order, sought by time."""

    values: Sequence[Seen]
    times: Sequence[datetime]

    def last(self, at: datetime) -> Seen | None:
        """The value that is now, at that moment."""
        i = bisect_right(self.times, at)
        return self.values[i - 1] if i and at - self.times[i - 1] <= FRESH else None

    def before(self, last: Seen, since: datetime) -> Sequence[Seen]:
        return self.values[bisect_left(self.times, since) : bisect_left(self.times, last.at)]


def _line(t: Told, reading: str) -> _Line:
    values = [s for s in t.seen.get(reading, ()) if s.current]
    return _Line(values, [s.at for s in values])


def _valve(t: Told) -> Iterable[Advice]:
    for reading, row, name in (
        ("peak_pressure", "valve-peak-rise", "Peak"),
        ("peep", "valve-base-rise", "Pressure after a breath"),
    ):
        last = _line(t, reading).last(t.now)
        shut = None if last is None else _shut(t, reading, setting(t, row))
        if last is None or shut is None:
            continue
        yield Advice(
            id="valve",
            priority="high",
            title=f"VALVE? {name} {shut.lowest.text} to {last.text} cmH₂O, {shut.fallen}.",
            since=shut.since,
            body=OPEN,
            acts=call_act(t, "airway pressure up, blood pressure down"),
        )
        return


def _shut(t: Told, reading: str, rise: Decimal) -> _Shut | None:
    """The pattern that holds now: it begins where both are seen, and ends where the pressure has fallen back."""
    air, flows = _line(t, reading), _flows(t)
    went_in = tube_went_in(t)
    moments = sorted({*air.times, *(s.at for _, line in flows for s in line.values)})
    found: _Shut | None = None
    for at in moments:
        last = air.last(at)
        if last is None or (went_in is not None and at < went_in):
            continue
        if found is not None and (last.value - found.base < rise or _explained(t, reading, found, last, at)):
            found = None
        if found is None:
            found = _begun(t, reading, air, flows, last, at, rise)
    return found


def _begun(
    t: Told, reading: str, air: _Line, flows: Sequence[tuple[str, _Line]], last: Seen, at: datetime, rise: Decimal
) -> _Shut | None:
    since = last.at - minutes(t, "watch-window")
    lowest = _lowest(air, last, since)
    if lowest is None or last.value - lowest.value < rise:
        return None
    base, set_ = lowest.value, _ventilator(t, last.at)
    if reading == "peak_pressure" and set_ is not None and set_.happened_at > since:
        lowest = _lowest(air, last, set_.happened_at)  # a breath that was set anew has another peak
        if lowest is None:
            return None
        base = lowest.value
    if reading == "peep" and set_ is not None and set_.peep_cmh2o is not None:
        base = max(base, min(set_.peep_cmh2o, setting(t, "peep-read-ask")))  # a usual one that was set is no fault
    if last.value - base < rise:
        return None
    fallen = _fallen(t, flows, at)
    return None if fallen is None else _Shut(last.at, lowest, base, fallen)


def _lowest(air: _Line, last: Seen, since: datetime) -> Seen | None:
    return min(air.before(last, since), key=lambda s: s.value, default=None)


def _explained(t: Told, reading: str, shut: _Shut, last: Seen, at: datetime) -> bool:
    """Set anew since, to no less than is read, and blood flow has come back: only a peak can be explained so."""
    set_ = _ventilator(t, at)
    if reading != "peak_pressure" or set_ is None or set_.happened_at <= shut.since:
        return False
    return (
        set_.peak_cmh2o is not None and last.value <= set_.peak_cmh2o and _fallen(t, _flows(t), at, shut.since) is None
    )


def _ventilator(t: Told, at: datetime) -> ev.VentilationSet | None:
    """What was set at that moment, if a ventilator breathed for it: a hand on the bag explains no pressure."""
    set_ = next((s for s in reversed(t.case.live(ev.VentilationSet)) if s.happened_at <= at), None)
    return set_ if set_ is not None and set_.mode == "ventilator" else None


def _flows(t: Told) -> tuple[tuple[str, _Line], ...]:
    """Mean, pulse pressure of one measurement, systolic (all a Doppler gives): each by itself tells of blood flow."""
    low = {s.event_id: s.value for s in t.seen.get("dap", ()) if s.current}
    systolic = _line(t, "sap")
    pulses = [_pulse(s, low[s.event_id]) for s in systolic.values if s.event_id in low]
    return (
        ("mean", _line(t, "map")),
        ("pulse pressure", _Line(pulses, [s.at for s in pulses])),
        ("systolic", systolic),
    )


def _pulse(systolic: Seen, diastolic: Decimal) -> Seen:
    value = systolic.value - diastolic
    return replace(systolic, value=value, text=figure(value))


def _fallen(t: Told, flows: Sequence[tuple[str, _Line]], at: datetime, since: datetime | None = None) -> str | None:
    """The first of the flows that lies under its highest of the window (that of `since`, if given)."""
    share = setting(t, "valve-flow-fall")
    for name, line in flows:
        last = line.last(at)
        if last is None:
            continue
        begin = (last.at if since is None else since) - minutes(t, "watch-window")
        highest = max(line.before(last, begin), key=lambda s: s.value, default=None)
        if highest is not None and (highest.value - last.value) * 100 >= share * highest.value:
            return f"{name} {highest.text} to {last.text} mmHg"
    return None


# ---- pressure that stays after a breath, by itself


def _base(t: Told) -> Iterable[Advice]:
    """No first value and no blood pressure are needed to see it: more than a usual PEEP that nobody set, or far more."""
    seen = _line(t, "peep").last(t.now)
    if seen is None:
        return
    ask, high = (t.facts.breathing.setting(f"peep-read-{end}") for end in ("ask", "high"))
    set_ = _ventilator(t, t.now)
    peep = None if set_ is None else set_.peep_cmh2o
    over = high if seen.value > high.value else ask
    if seen.value <= ask.value or (over is ask and peep is not None and seen.value <= peep):
        return
    told = "" if peep is None else f", set {figure(peep)}"
    yield Advice(
        id="peep high",
        priority="high" if over is high else "medium",
        title=f"VALVE? Pressure after a breath {seen.text} cmH₂O{told}: over {over.quantity}.",
        since=seen.at,
        body=OPEN,
        acts=call_act(t, f"pressure after a breath {seen.text} cmH₂O") if over is high else (),
    )
