"""A monitor that is heard, the patient it is on, and what goes from it into the archive."""

from __future__ import annotations

import asyncio
import hashlib
import logging
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal, Protocol

import msgspec

from spiracle.case.events import MonitorPaired
from spiracle.doors.monitor_places import Placed, SampleClock
from spiracle.doors.monitor_rooms import Meta
from spiracle.doors.monitor_time import DeviceTime
from spiracle.doors.waves.shapes import NOBODY, KeptNumber, Packet
from spiracle.monitors.heard import Heard, Number, Wave
from spiracle.sheets.live_shapes import Candidate
from spiracle.sheets.live_sheet import Kept, showing, state_of, test_data_words

Ear = asyncio.Queue[bytes | None]
HELD = "held back"  # the name of the note that says which pairing is held
LETTERS = 200  # of a message id as it is remembered; the digest is of the whole

log = logging.getLogger(__name__)


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
    def numbers(self, case: str, start: datetime, end: datetime) -> Sequence[KeptNumber]: ...


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


def told_once(heard: Heard) -> str:
    """What is remembered of a message so that the same again is taken for a repeat. Many monitors begin their ids again at 1 when they
    are switched on, so the id alone does not say it: a repeat has the same sending time and the same content. "" without an id."""
    if not heard.message_id:
        return ""
    digest = hashlib.blake2b(msgspec.json.encode(heard), digest_size=16).hexdigest()
    return f"{heard.message_id[:LETTERS]} {digest}"


def held_note(pairing: MonitorPaired, words: str, arrived: datetime) -> KeptNumber:
    """Kept with what is held back, so that a new start of the server holds it too. It stands at the moment of the pairing it is about,
    and is looked for there."""
    return KeptNumber(
        case=NOBODY, monitor=pairing.monitor, at=pairing.happened_at, arrived_at=arrived, reading="", ref=HELD, value=None, unit="",
        raw=pairing.id, why=words,
    )  # fmt: skip


def held_before(archive: Archive, pairing: MonitorPaired) -> str:
    """Why this pairing was held, by what was kept; where that cannot be read, a person has to say it again."""
    about = timedelta(seconds=1)
    try:
        found = archive.numbers(NOBODY, pairing.happened_at - about, pairing.happened_at + about)
    except Exception:
        log.exception("Whether a pairing is held could not be read")
        return (f"Whether {pairing.name or pairing.monitor} was held back cannot be read in the archive. Look whose probe it is, then "
                "pair it again or take it off.")  # fmt: skip
    return next((n.why for n in found if (n.monitor, n.ref, n.raw) == (pairing.monitor, HELD, pairing.id)), "")


def candidate(m: Monitor, bound: Bound | None, now: datetime) -> Candidate:
    """What the panel is told of a monitor that could be paired, and why not, if it could not."""
    taken = bound.meta.words if bound is not None else ""
    why = f"It is on {taken}: take it off there first." if taken else ""
    if not why and m.test:
        why = test_data_words(m.name or m.id)
    return Candidate(
        monitor=m.id, name=m.name or m.id, place=m.place, patient=m.patient, heard_at=m.heard_at or now,
        showing=showing(tuple(m.shows.values()), now), taken_by=taken, why_not=why,
    )  # fmt: skip


def deliver(said: list[tuple[Ear, bytes]]) -> None:
    """On the page's loop. An ear that is full belongs to a page that cannot keep up: it is let go and comes back for the whole."""
    for ear, line in said:
        try:
            ear.put_nowait(line)
        except asyncio.QueueFull:
            while not ear.empty():
                ear.get_nowait()
            ear.put_nowait(None)
