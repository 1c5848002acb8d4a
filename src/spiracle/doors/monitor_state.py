"""A monitor that is heard, the patient it is on, and what goes from it into the archive."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, Protocol

from spiracle.case.events import MonitorPaired
from spiracle.doors.monitor_places import Placed, SampleClock
from spiracle.doors.monitor_rooms import Meta
from spiracle.doors.monitor_time import DeviceTime
from spiracle.doors.waves.shapes import KeptNumber, Packet
from spiracle.monitors.heard import Heard, Number, Wave
from spiracle.sheets.live_sheet import Kept, state_of


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a message. Whatever it is, what had to be kept is on disk."""

    how: Literal["kept", "repeat", "unpaired", "held back", "test data"]
    case: str = ""
    words: str = ""

    @property
    def ok(self) -> bool:
        """Whether the sender has done its part; what is not, it is told why."""
        return self.how != "test data"

    @property
    def reason(self) -> str:
        return "" if self.ok else self.words


class Archive(Protocol):
    def append(
        self, packets: Sequence[Packet], numbers: Sequence[KeptNumber], message_id: str = ""
    ) -> Future[bool]: ...


@dataclass(slots=True)
class Bound:
    """The patient a monitor is on. `held` stands until a person pairs it anew or takes it off."""

    meta: Meta
    pairing: MonitorPaired
    held: str = ""


@dataclass(slots=True)
class Monitor:
    """A monitor that is heard, paired or not."""

    id: str
    time: DeviceTime
    name: str = ""
    place: str = ""
    patient: str = ""
    heard_at: datetime | None = None
    test: bool = False
    clocks: dict[tuple[int | None, str, str], SampleClock] = field(default_factory=dict)
    recent: OrderedDict[str, Future[Taken]] = field(default_factory=OrderedDict)
    shows: dict[tuple[str, ...], Kept] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)


@dataclass(frozen=True, slots=True)
class Arrival:
    """A message on its way to the pages, after it is kept."""

    monitor: Monitor
    bound: Bound
    heard: Heard
    arrived: datetime
    waves: tuple[tuple[Wave, Placed], ...]
    numbers: tuple[tuple[Number, datetime], ...]
    done: Future[Taken]
    held: str = ""
    unkept: str = ""


def as_repeat(first: Future[Taken]) -> Future[Taken]:
    """Answered as the first was, once the first is safe."""
    again: Future[Taken] = Future()

    def copy(done: Future[Taken]) -> None:
        fault = done.exception()
        if fault is not None:
            again.set_exception(fault)
        else:
            again.set_result(Taken("repeat", done.result().case, done.result().words))

    first.add_done_callback(copy)
    return again


def packet(case: str, monitor: str, wave: Wave, placed: Placed, arrived: datetime) -> Packet:
    return Packet(
        case=case, monitor=monitor, wave=wave.wave or wave.ref or str(wave.code), unit=wave.unit, rate_hz=wave.rate_hz,
        scale=wave.scale, offset=wave.offset, first_at=placed.first_at, arrived_at=arrived, samples=wave.samples[placed.skip :],
        seq=None if wave.seq is None else wave.seq + placed.skip, gap=wave.gap or wave.why,
    )  # fmt: skip


def kept_number(case: str, monitor: str, n: Number, at: datetime, arrived: datetime) -> KeptNumber:
    _, quality, why = state_of(n)
    return KeptNumber(
        case=case, monitor=monitor, at=at, arrived_at=arrived, reading=n.reading, ref=n.ref, value=n.value, unit=n.unit, raw=n.raw,
        quality=quality or n.standing, flags=(n.standing, *(("setting",) if n.setting else ()), *n.flags), site=n.site, method=n.method,
        limits=n.limits, alarm=n.alarm, why=n.why or why,
    )  # fmt: skip
