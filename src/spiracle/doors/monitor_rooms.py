"""One patient's panel as it grows: numbers as last heard, waves as they come, breaths as read. Lives on the hub's own thread."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from math import isfinite, isnan
from typing import Protocol, cast

import msgspec
import numpy as np
import numpy.typing as npt

from spiracle.case.events import AirwayProven, MonitorPaired
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.pairing import pairings
from spiracle.case.standing import dosing_weight_kg, ended_at, opened
from spiracle.case.tube import went_in
from spiracle.doors.monitor_places import Placed
from spiracle.monitors.heard import Number, Wave
from spiracle.quantity import figure
from spiracle.refusals import Refusal
from spiracle.sheets.live_shapes import AirwayOffer, Candidate, LiveBreath, LiveFinding, LiveWave, WaveChunk, WaveName
from spiracle.sheets.live_sheet import AHEAD, FORGOTTEN, Kept, Link, Picture, co2_stands, live_state
from spiracle.sheets.on_wave import OnWave
from spiracle.sheets.readings import READINGS

SHOWN: dict[str, str] = {"co2": "CO₂", "pleth": "Pleth", "pressure": "Pressure"}
BACKLOG = timedelta(seconds=12)  # what a page that opens gets at once, so that its sweep is not empty
MOST_NUMBERS = 200
BEFORE_PAIRING = timedelta(seconds=2)  # by how much a corrected time may be wrong
# What no wave of its kind can be, by unit: a gas has at most the pressure of the air around it, a transducer's flush is under 1000 mmHg.
PHYSICAL = {
    ("co2", "mm[Hg]"): (-100.0, 800.0), ("co2", "kPa"): (-13.0, 107.0), ("co2", "%"): (-13.0, 107.0),
    ("pressure", "mm[Hg]"): (-1000.0, 1000.0), ("pressure", "kPa"): (-133.0, 133.0),
}  # fmt: skip
LARGEST = 1e9  # of a wave without such a span
_ENCODER = msgspec.json.Encoder(decimal_format="number")


def sent(event: str, what: msgspec.Struct) -> bytes:
    """One message of a server-sent stream."""
    return b"event: " + event.encode() + b"\ndata: " + _ENCODER.encode(what) + b"\n\n"


@dataclass(frozen=True, slots=True)
class Meta:
    """What the log says of a case, as far as its panel has to know it."""

    case: str
    pairings: tuple[MonitorPaired, ...]
    practice: bool
    number: str
    name: str
    room: str
    species: str
    kg: float | None
    tube_at: datetime | None
    proven: bool
    over: bool

    @property
    def words(self) -> str:
        return " ".join(w for w in (self.name, self.number) if w) or f"case {self.case[:8]}"


def meta_of(id_: str, case: Case) -> Meta:
    first, kg, tube = opened(case), dosing_weight_kg(case), went_in(case)
    proven = case.last(AirwayProven)
    return Meta(
        case=id_, pairings=pairings(case), practice=first is not None and first.practice,
        number=first.number if first else "", name=first.name if first else "", room=first.room if first else "",
        species=first.species if first else "", kg=None if kg is None else float(kg), tube_at=tube,
        proven=tube is not None and proven is not None and proven.happened_at >= tube,
        over=first is None or ended_at(case) is not None,
    )  # fmt: skip


def paired_since(pairing: MonitorPaired, arrived: datetime) -> datetime:
    """What was measured before this is not this patient's (D7). A pairing that lies ahead of what arrives now tells that our clock was
    set back; then only what is new as it arrives is taken."""
    return min(pairing.happened_at, arrived) - BEFORE_PAIRING


def judged(number: Number, facts: Facts) -> Number:
    """A number that cannot be (outside the bounds the log has for it) is invalid, and says why."""
    if number.reading not in READINGS or number.value is None or number.setting:
        return number
    try:
        bounds = facts.circulation.bounds(number.reading, unit=number.unit)
    except Refusal:
        return number  # another unit than the chart's; it is refused there by name
    if number.value.is_finite() and bounds.low <= number.value <= bounds.high:
        return number
    why = f"{number.raw or number.value} cannot be: {figure(bounds.low)} to {figure(bounds.high)} {bounds.unit}"
    return msgspec.structs.replace(number, standing="invalid", why=why)


def absurd(wave: Wave) -> str:
    """Why a wave is held: its scale is no number, or what it gives is outside anything physical. Empty where neither is so."""
    name = SHOWN.get(wave.wave, wave.ref or "A wave")
    if not (isfinite(wave.scale) and isfinite(wave.offset) and isfinite(wave.rate_hz) and wave.rate_hz > 0):
        return f"{name}: its scale, offset or rate is no number; it is not shown and not kept."
    low, high = PHYSICAL.get((wave.wave, wave.unit), (-LARGEST, LARGEST))
    seen = [s for s in wave.samples if s is not None]
    if not seen:
        return ""
    ends = [s * wave.scale + wave.offset for s in (min(seen), max(seen))]
    if low <= min(ends) and max(ends) <= high:
        return ""
    return (
        f"{name}: {min(ends):.3g} to {max(ends):.3g} {unit_words(wave.unit)} cannot be; it is not shown and not kept."
    )


class Reader(Protocol):
    """Reads the breaths of one CO2 wave."""

    findings: tuple[LiveFinding, ...]
    breath_text: str
    airway: AirwayOffer | None
    trouble: str

    def goes_on(self, wave: Wave, at: datetime, fresh: bool) -> bool: ...
    def feed(self, values: npt.NDArray[np.float64], first_at: datetime, missing: int) -> list[LiveBreath]: ...
    def case_is(self, meta: Meta) -> None: ...


class ReaderMaker(Protocol):
    """A reader of a wave that begins at a moment; what was kept of it before goes in first."""

    def __call__(self, wave: Wave, monitor: str, at: datetime, meta: Meta, facts: Facts) -> Reader: ...


@dataclass(slots=True)
class Drawn:
    """How one wave is drawn now. `low` and `high` follow what comes, by steps."""

    monitor: str
    live: LiveWave
    window: deque[tuple[datetime, float, float]] = field(default_factory=deque)


class Room:
    """`dirty`: the page does not know the newest state yet."""

    def __init__(self, meta: Meta, facts: Facts, make_reader: ReaderMaker | None) -> None:
        self.meta, self._facts, self._make_reader = meta, facts, make_reader
        self.links: dict[str, Link] = {}
        self.numbers: dict[tuple[str, ...], Kept] = {}
        self.waves: dict[str, Drawn] = {}
        self.reader: Reader | None = None
        self.backlog: deque[tuple[datetime, bytes]] = deque()
        self.dirty = True
        self.asked: object = None  # what the advice made of the wave when the page was last told to look
        self.sent_at = 0.0  # by a clock that only goes forward, for the pace alone
        self.unkept = self.absurd = ""
        self.co2_until: datetime | None = None  # the end of the last sample of CO2 that there was
        self.case_is(meta)

    def case_is(self, meta: Meta) -> None:
        """The case has grown: pairings may have come and gone. What a monitor that went had shown goes with it."""
        was, self.meta, self.dirty = self.meta, meta, True
        on = {p.monitor: p for p in meta.pairings}
        for gone in set(self.links) - set(on):
            self._forget(gone)
        for monitor, pairing in on.items():
            link = self.links.get(monitor)
            if link is None or link.paired_at != pairing.happened_at:
                if link is not None:
                    self._forget(monitor)
                self.links[monitor] = Link(monitor, pairing.name, pairing.place, pairing.happened_at)
        self.links = {m: self.links[m] for m in on}  # the first paired first
        if self.reader is not None and was is not meta:
            self.reader.case_is(meta)

    def _forget(self, monitor: str) -> None:
        self.links.pop(monitor, None)
        self.numbers = {k: v for k, v in self.numbers.items() if v.monitor != monitor}
        for name in [n for n, d in self.waves.items() if d.monitor == monitor]:
            del self.waves[name]
            self.backlog.clear()
            if name == "co2":
                self.reader = self.co2_until = None

    # ---- what comes

    def heard(self, monitor: str, at: datetime, **said: str) -> None:
        """The link of a monitor: heard now, and what stands against it."""
        link = self.links.get(monitor)
        if link is None:
            return
        fresh = replace(link, heard_at=at, **said)  # type: ignore[arg-type]
        if replace(fresh, heard_at=link.heard_at) != link:
            self.dirty = True
        if fresh.held and not link.held:
            self.numbers = {k: v for k, v in self.numbers.items() if v.monitor != monitor}
            self.backlog.clear()
        self.links[monitor] = fresh

    def number(self, number: Number, monitor: str, at: datetime, arrived: datetime | None = None) -> None:
        key = (monitor, number.reading or number.ref or str(number.code), number.channel, number.site, number.method)
        last = self.numbers.get(key)
        ahead = last is not None and arrived is not None and last.at > arrived + AHEAD  # our clock was set back since
        if last is not None and at < last.at and not ahead:
            return  # of two that cross on the way the later moment is shown; both are kept
        if len(self.numbers) >= MOST_NUMBERS and key not in self.numbers:
            self.numbers = {k: v for k, v in self.numbers.items() if at - v.at <= FORGOTTEN}
            if len(self.numbers) >= MOST_NUMBERS:
                return
        self.numbers[key] = Kept(number, monitor, at)
        self.dirty = True

    def wave(self, wave: Wave, monitor: str, placed: Placed) -> list[bytes]:
        """The messages that one packet makes: its samples, and every breath that ended in it."""
        if wave.wave not in SHOWN:
            return []
        drawn = self.waves.get(wave.wave)
        if drawn is not None and drawn.monitor != monitor:
            return []  # two devices with one kind of wave: the first paired is drawn, both are kept
        samples = wave.samples[placed.skip :] if placed.skip else wave.samples
        if not samples:
            return []
        values = np.array(samples, dtype=np.float64)
        values *= wave.scale
        values += wave.offset
        self._draw(wave, monitor, values, placed.first_at)
        chunk = WaveChunk(
            wave=cast(WaveName, wave.wave), first=placed.first, at_ms=ms(placed.first_at), samples=samples
        )
        out = [sent("wave", chunk)]
        if wave.wave == "co2":
            out += [sent("breath", b) for b in self._read(wave, monitor, values, placed)]
        for one in out:
            self.backlog.append((placed.first_at, one))
        while self.backlog and abs(placed.first_at - self.backlog[0][0]) > BACKLOG:
            self.backlog.popleft()
        return out

    def _read(self, wave: Wave, monitor: str, values: npt.NDArray[np.float64], placed: Placed) -> list[LiveBreath]:
        there = np.flatnonzero(np.isfinite(values))
        if there.size:
            self.co2_until = placed.first_at + timedelta(seconds=(int(there[-1]) + 1) / wave.rate_hz)
        if self._make_reader is None:
            return []
        if self.reader is None or not self.reader.goes_on(wave, placed.first_at, placed.fresh):
            self.reader = self._make_reader(wave, monitor, placed.first_at, self.meta, self._facts)
        before = (self.reader.findings, self.reader.breath_text, self.reader.airway)
        breaths = self.reader.feed(values, placed.first_at, placed.missing)
        if before != (self.reader.findings, self.reader.breath_text, self.reader.airway):
            self.dirty = True
        return breaths

    def _draw(self, wave: Wave, monitor: str, values: npt.NDArray[np.float64], at: datetime) -> None:
        drawn = self.waves.get(wave.wave)
        if drawn is None or (drawn.live.rate_hz, drawn.live.scale, drawn.live.offset) != (
            wave.rate_hz,
            wave.scale,
            wave.offset,
        ):
            link = self.links.get(monitor)
            live = LiveWave(
                wave=cast(WaveName, wave.wave), label=SHOWN[wave.wave], unit=unit_words(wave.unit), rate_hz=wave.rate_hz,
                scale=wave.scale, offset=wave.offset, low=0.0, high=1.0, device=link.called if link else monitor,
            )  # fmt: skip
            drawn = self.waves[wave.wave] = Drawn(monitor, live)
            self.dirty = True
        low, high = float(np.fmin.reduce(values)), float(np.fmax.reduce(values))
        if not isnan(low):
            drawn.window.append((at, low, high))
        while drawn.window and abs(at - drawn.window[0][0]) > BACKLOG:
            drawn.window.popleft()
        scale = drawn_between(wave.wave, wave.unit, drawn.window, (drawn.live.low, drawn.live.high))
        if scale != (drawn.live.low, drawn.live.high):
            drawn.live = msgspec.structs.replace(drawn.live, low=scale[0], high=scale[1])
            self.dirty = True

    # ---- what goes out

    def state(self, now: datetime, candidates: Iterable[Candidate]) -> bytes:
        return sent("live", live_state(self.picture(candidates), now))

    def on_wave(self, now: datetime) -> OnWave | None:
        """What the CO2 wave shows for the advice; None once it has stopped, or while its monitor is not believed."""
        reader, drawn = self.reader, self.waves.get("co2")
        if reader is None or drawn is None or self.co2_until is None or not co2_stands(self.co2_until, now):
            return None
        link = self.links.get(drawn.monitor)
        if link is None or link.held or link.refused:
            return None
        return OnWave(airway=reader.airway, findings=tuple(f for f in reader.findings if f.until is None))

    def asks_anew(self, now: datetime) -> bool:
        """Whether what the advice makes of the wave has changed since this was last asked."""
        wave = self.on_wave(now)
        asks = None if wave is None else wave.asks
        if asks == self.asked:
            return False
        self.asked = asks
        return True

    def picture(self, candidates: Iterable[Candidate]) -> Picture:
        reader = self.reader
        held = {x.monitor for x in self.links.values() if x.held or x.refused}
        seen = reader is not None and "co2" in self.waves and self.waves["co2"].monitor not in held
        said = [w for w in (self.unkept, self.absurd, reader.trouble if reader is not None and seen else "") if w]
        return Picture(
            case=self.meta.case, practice=self.meta.practice, links=tuple(self.links.values()), numbers=tuple(self.numbers.values()),
            waves=tuple(d.live for n in SHOWN if (d := self.waves.get(n)) is not None and d.monitor not in held),
            findings=reader.findings if reader is not None and seen else (),
            breath_text=reader.breath_text if reader is not None and seen else "",
            airway=reader.airway if reader is not None and seen else None,
            candidates=tuple(candidates), unknown=tuple(said), co2_until=self.co2_until if "co2" in self.waves else None,
        )  # fmt: skip


TOPS = {
    "co2": {"mm[Hg]": (60.0, 80.0, 120.0), "kPa": (8.0, 12.0, 16.0), "%": (8.0, 12.0, 16.0)},
    "pressure": {"mm[Hg]": (150.0, 200.0, 300.0), "kPa": (20.0, 27.0, 40.0)},
}


def drawn_between(
    wave: str, unit: str, window: Iterable[tuple[datetime, float, float]], now: tuple[float, float]
) -> tuple[float, float]:
    """The scale a wave is drawn at. A pressure of a gas or of blood stands on a scale of round steps, so that heights can be compared;
    a plethysmogram has no unit and fills its strip."""
    seen = list(window)
    if not seen:
        return now
    low, high = min(w[1] for w in seen), max(w[2] for w in seen)
    tops = TOPS.get(wave, {}).get(unit)
    if tops is not None:
        return 0.0, next((t for t in tops if high <= t), tops[-1])
    span = high - low
    if span <= 0:
        return now if now[0] <= low <= now[1] else (low - 1.0, high + 1.0)
    inside = now[0] <= low and high <= now[1] and span > 0.5 * (now[1] - now[0])
    return now if inside else (low - 0.1 * span, high + 0.1 * span)


def unit_words(unit: str) -> str:
    return {"mm[Hg]": "mmHg", "cm[H2O]": "cmH₂O", "1": "", "{arb'U}": ""}.get(unit, unit)


def ms(at: datetime) -> int:
    return round(at.timestamp() * 1000)
