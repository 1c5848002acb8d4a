"""What goes into the archive of waves and what comes back. Samples are the device's own whole numbers, never filtered, never
resampled: value = sample * scale + offset, in `unit`. Every time is by our clock and carries its zone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

import msgspec
import numpy as np
import numpy.typing as npt

NUMBERS = "numbers"  # the name under which the numbers of a case are kept beside its waves; no wave may be called so
NOBODY = ""  # the case of what a monitor sends before a person has paired it

Broke = Literal["start", "gap", "overlap", "format", "clock", "damage"]


class Packet(msgspec.Struct, frozen=True, kw_only=True):
    """Samples on end, as they came: at most a minute of them, 32 bits each, None where the device had none.

    `case` is "" while the monitor is nobody's. `first_at` is the moment of the first sample, kept to the microsecond: where samples
    are on end it must count on from the packet before, not follow the jitter of arrival, or every packet becomes a run of its own.
    `seq` is the device's count of the first sample, where it sends one. `arrived_at` is kept to the millisecond, rounded down.
    `gap` says why samples are missing, where the device said so.
    """

    case: str
    monitor: str
    wave: str
    unit: str
    rate_hz: float
    scale: float
    offset: float
    first_at: datetime
    arrived_at: datetime
    samples: tuple[int | None, ...]
    seq: int | None = None
    gap: str = ""

    @property
    def until(self) -> datetime:
        """The moment at which the sample after the last one is due."""
        return self.first_at + timedelta(microseconds=round(len(self.samples) * 1e6 / self.rate_hz))


class KeptNumber(msgspec.Struct, frozen=True, kw_only=True):
    """One number as the device gave it. `at` is the moment it stands for, `raw` what was sent, `value` and `unit` the log's (None and
    "" where it is no number of ours). `arrived_at` is kept to the millisecond, rounded down."""

    case: str
    monitor: str
    at: datetime
    arrived_at: datetime
    reading: str
    ref: str
    value: Decimal | None
    unit: str
    raw: str
    quality: str = ""
    flags: tuple[str, ...] = ()
    site: str = ""
    method: str = ""
    limits: str = ""
    alarm: str = ""
    why: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class Run:
    """Samples without a break, from one device in one format. A new run begins after a gap, at an overlap, at another rate, scale,
    offset, unit or device, where the device's clock has drifted too far from ours to count on, and after a stretch that is damaged
    and cannot be read; `broke` says which.

    `samples` (int32) holds 0 where `missing` is true. `starts` is the index at which each packet of the run began, `arrived_ms`
    when that packet arrived, in milliseconds since 1970.
    """

    monitor: str
    wave: str
    unit: str
    rate_hz: float
    scale: float
    offset: float
    first_at: datetime
    samples: npt.NDArray[np.int32]
    missing: npt.NDArray[np.bool_]
    starts: npt.NDArray[np.int64]
    arrived_ms: npt.NDArray[np.int64]
    broke: Broke = "start"
    seq: int | None = None

    @property
    def until(self) -> datetime:
        return self.first_at + timedelta(microseconds=round(len(self.samples) * 1e6 / self.rate_hz))

    @property
    def values(self) -> npt.NDArray[np.float64]:
        """Samples in `unit`, nan where one is missing: what the breath reader takes."""
        found: npt.NDArray[np.float64] = np.where(self.missing, np.nan, self.samples * self.scale + self.offset)
        return found


class Damaged(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch of one wave of one device that was kept and cannot be read: something in it is not as it was written. `until` is the
    moment after its last sample (or number); what else was kept of that time is whole and is given."""

    wave: str
    monitor: str
    first_at: datetime
    until: datetime
    says: str


@dataclass(frozen=True, eq=False, slots=True)
class Window:
    """What a window of a wave has: the runs that are whole, and the stretches that are damaged."""

    runs: tuple[Run, ...]
    damaged: tuple[Damaged, ...]


class WaveHeld(msgspec.Struct, frozen=True, kw_only=True):
    """How much of one wave of one device a case has. `wave` is "numbers" for the numbers; `samples` then counts numbers.
    `bytes` is what the packed minutes take and the small rows not packed yet."""

    wave: str
    monitor: str
    first_at: datetime
    until: datetime
    samples: int
    bytes: int


class WaveBreak(msgspec.Struct, frozen=True, kw_only=True):
    """The first place of a wave where the archive is not as it was written. `place` counts packed blobs from 1; 0 is a row that
    is not packed yet."""

    case: str
    wave: str
    place: int
    says: str


class Note(msgspec.Struct, frozen=True, kw_only=True):
    """A line that travels with an exported wave: an entry, a finding. `seconds` is None for a moment."""

    at: datetime
    text: str
    seconds: float | None = None


class Played(msgspec.Struct, frozen=True, kw_only=True):
    """What a replay gives next: `offset_s` seconds after its beginning, a packet, or numbers of one moment."""

    offset_s: float
    packet: Packet | None = None
    numbers: tuple[KeptNumber, ...] = ()
