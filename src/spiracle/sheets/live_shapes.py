"""What the live panel is sent: the state of a paired monitor twice a second at most, its waves as they come, each breath as read.

Three kinds of message go down one stream: `live` (a `LiveState`), `wave` (a `WaveChunk`) and `breath` (a `LiveBreath`).
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Literal

from spiracle.sheets.shapes import Priority, Shape

WaveName = Literal["co2", "pleth", "pressure"]
NumberState = Literal["good", "questionable", "gap"]
LinkState = Literal["no monitor", "waiting", "live", "stale", "lost", "held back", "replay"]
Degree = Literal["mild", "moderate", "severe"]
ProofSide = Literal["proof", "doubt", "counting"]


class LiveWave(Shape, frozen=True, kw_only=True):
    """How to draw one wave: value = sample * scale + offset, in `unit`. `low` and `high` are the scale to draw at."""

    wave: WaveName
    label: str
    unit: str
    rate_hz: float
    scale: float
    offset: float
    low: float
    high: float
    device: str


class WaveChunk(Shape, frozen=True, kw_only=True):
    """Samples on end as the device sent them, raw; null where there is none. `first` counts samples of this wave since it began
    on this stream (a jump is a gap, drawn as a gap); `at_ms` is the moment of the first, in milliseconds since 1970 by our clock."""

    wave: WaveName
    first: int
    at_ms: int
    samples: tuple[int | None, ...]


class LiveBreath(Shape, frozen=True, kw_only=True):
    """One breath as read on the CO2 wave: moments in milliseconds by our clock, texts ready to show."""

    start_ms: int
    end_ms: int
    etco2: float
    fico2: float | None
    text: str
    doubtful: bool = False


class LiveNumber(Shape, frozen=True, kw_only=True):
    """One number as the device showed it. What is charted is `value` in `unit`, with `raw`, `quality`, `site`, `method` and
    `monitor` as they stand here. A gap has a reason in `why` and no value."""

    reading: str
    label: str
    state: NumberState
    text: str
    value: Decimal | None
    unit: str
    raw: str
    monitor: str
    quality: Literal["good", "questionable", "invalid", ""]
    site: str = ""
    method: str = ""
    at: datetime | None = None
    why: str = ""
    limits: str = ""
    alarm: str = ""


class LivePressure(Shape, frozen=True, kw_only=True):
    """Systolic, mean, diastolic that belong together; an absent one stays absent."""

    sap: Decimal | None
    map: Decimal | None
    dap: Decimal | None
    method: Literal["oscillometric", "Doppler", "arterial line", "other"]
    state: NumberState
    quality: Literal["good", "questionable", "invalid", ""]
    monitor: str
    raw: str
    text: str
    at: datetime | None = None
    site: str = ""
    why: str = ""


class LiveCheck(Shape, frozen=True, kw_only=True):
    """A first look that a finding asks for, and where it comes from."""

    text: str
    source: str
    memory: bool = False


class LiveFinding(Shape, frozen=True, kw_only=True):
    """A shape in words. `until` is null while it lasts."""

    name: str
    title: str
    why: str
    degree: Degree
    priority: Priority | None
    since: datetime
    until: datetime | None
    measured: tuple[str, ...]
    checks: tuple[LiveCheck, ...]
    causes: tuple[str, ...]


class AirwayOffer(Shape, frozen=True, kw_only=True):
    """What the CO2 wave says about a tube just placed: offered to the airway card, never written by itself."""

    side: ProofSide
    breaths: int
    needed: int
    text: str
    since: datetime


class Candidate(Shape, frozen=True, kw_only=True):
    """A monitor that is heard and could be paired: where it says it stands, what it shows now, and who has it."""

    monitor: str
    name: str
    place: str
    patient: str
    heard_at: datetime
    showing: str
    taken_by: str = ""
    why_not: str = ""


class LiveState(Shape, frozen=True, kw_only=True):
    """All but the samples. `dials` are settings of a device, never measurements; `unknown` is what nobody charts, and why."""

    case: str
    as_of: datetime
    link: LinkState
    link_text: str
    monitor: str = ""
    monitor_name: str = ""
    place: str = ""
    paired_at: datetime | None = None
    skew_text: str = ""
    practice: bool = False
    held_back: str = ""
    waves: tuple[LiveWave, ...] = ()
    numbers: tuple[LiveNumber, ...] = ()
    pressure: LivePressure | None = None
    findings: tuple[LiveFinding, ...] = ()
    breath_text: str = ""
    airway: AirwayOffer | None = None
    candidates: tuple[Candidate, ...] = ()
    unknown: tuple[str, ...] = ()
    dials: tuple[str, ...] = ()
    replay_from: datetime | None = None
    replay_until: datetime | None = None
    replay_speed: float = 0.0
    replay_at: datetime | None = None
