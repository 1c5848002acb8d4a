"""A pulse oximeter over Bluetooth, by the GATT pulse oximeter service: looked for by the address that a person named, and by no other.

All that is ever asked of a probe is to send: notifications are switched on, nothing else is written. When it goes out of range it is
looked for again, at growing intervals.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

import msgspec

from spiracle.doors.clock import Clock
from spiracle.doors.side_loop import Pause, Takes, pause, wait_before
from spiracle.monitors.heard import Heard
from spiracle.monitors.plx import CONTINUOUS, SPOT_CHECK, read_continuous, read_spot_check
from spiracle.refusals import NotOneOf

SEARCH_S = 10.0
WAITING_PACKETS = 64  # one a second is usual; more than a minute of them means that nobody keeps them

_ADDRESS = re.compile(r"[0-9A-F]{2}(:[0-9A-F]{2}){5}|[0-9A-F]{8}(-[0-9A-F]{4}){3}-[0-9A-F]{12}")
_READERS: dict[str, Callable[..., Heard]] = {CONTINUOUS: read_continuous, SPOT_CHECK: read_spot_check}


class Probe(Protocol):
    """A device that was seen, as the radio's library describes it."""

    address: str
    name: str | None


class Services(Protocol):
    def get_characteristic(self, specifier: str, /) -> object | None: ...


class Link(Protocol):
    """The part of `bleak.BleakClient` that is used. There is no way to write in it."""

    @property
    def services(self) -> Services: ...
    async def connect(self) -> None: ...
    async def disconnect(self) -> None: ...
    async def start_notify(self, char_specifier: Any, callback: Callable[[Any, bytearray], None], /) -> None: ...


class Radio(Protocol):
    """Finding a probe and linking to it."""

    faults: tuple[type[Exception], ...]

    async def find(self, address: str) -> Probe | None: ...
    def link(self, probe: Any, dropped: Callable[[], None]) -> Link: ...


class BleakRadio:
    """The computer's Bluetooth radio through bleak. The back ends can be named: the tests put an invented radio there."""

    def __init__(self, client_backend: Any = None, scanner_backend: Any = None, search_s: float = SEARCH_S) -> None:
        from bleak.exc import BleakError

        self.faults: tuple[type[Exception], ...] = (BleakError, OSError, EOFError)
        self._client_backend, self._scanner_backend, self._search_s = client_backend, scanner_backend, search_s

    async def find(self, address: str) -> Probe | None:
        from bleak import BleakScanner

        own: Any = {"backend": self._scanner_backend} if self._scanner_backend else {}
        found: Probe | None = await BleakScanner.find_device_by_address(address, timeout=self._search_s, **own)
        return found

    def link(self, probe: Any, dropped: Callable[[], None]) -> Link:
        from bleak import BleakClient

        client: Any = BleakClient(probe, disconnected_callback=lambda _: dropped(), backend=self._client_backend)
        link: Link = client
        return link


@dataclass(frozen=True)
class Named:
    """The probe a person named, and the room they said it is used in ("" if they did not)."""

    address: str
    place: str = ""


def named(text: str) -> Named:
    """`ADDRESS` or `ADDRESS,ROOM` of the command line.

    >>> named("a4:c1:38:00:00:01, Theatre 2")
    Named(address='A4:C1:38:00:00:01', place='Theatre 2')
    """
    address, _, place = text.partition(",")
    address = address.strip().upper()
    if not _ADDRESS.fullmatch(address):
        raise NotOneOf("oximeter", f"{text!r} is not the address of a Bluetooth device.",
                       "Type it as printed on the probe, like A4:C1:38:00:00:01; a room may follow after a comma.")  # fmt: skip
    return Named(address, place.strip())


class Oximeter:
    """Keeps one probe attached and hands on what it says. `state` is one line for a person."""

    def __init__(self, probe: Named, hub: Takes, clock: Clock, radio: Radio, pause: Pause = pause) -> None:
        self._probe, self._hub, self._clock, self._radio, self._pause = probe, hub, clock, radio, pause
        self._packets: deque[tuple[datetime, Callable[..., Heard], bytes]] = deque()
        self._news = asyncio.Event()
        self._gone = False
        self._lost = 0
        self._count = 0
        self._began = ""
        self.state = "not looked for yet"
        self.reading = False

    async def run(self, stop: asyncio.Event) -> None:
        """Look, attach, read, and again, until told to stop."""
        watch = asyncio.ensure_future(stop.wait())
        watch.add_done_callback(lambda _: self._news.set())
        failed = 0
        try:
            while not stop.is_set():
                why = await self._once(stop)
                failed = 1 if self.reading else failed + 1
                self.reading = False
                if not stop.is_set():
                    seconds = wait_before(failed)
                    self.state = f"{why}; looked for again in {seconds:.0f} s"
                    await self._pause(stop, seconds)
        finally:
            watch.cancel()
            self.state = "no longer looked for"

    async def _once(self, stop: asyncio.Event) -> str:
        """One attachment from search to end; the reason why it ended."""
        self.state = f"looking for {self._probe.address}"
        try:
            probe = await self._radio.find(self._probe.address)
            if probe is None:
                return f"{self._probe.address} was not found"
            if probe.address.upper() != self._probe.address:
                return f"{probe.address} answered, which nobody named"
            return await self._attached(probe, stop)
        except self._radio.faults as fault:
            return f"{self._probe.address} could not be reached ({fault})"

    async def _attached(self, probe: Probe, stop: asyncio.Event) -> str:
        self._gone = False
        self._packets.clear()
        link = self._radio.link(probe, self._dropped)
        await link.connect()
        try:
            offered = [uuid for uuid in _READERS if link.services.get_characteristic(uuid) is not None]
            if not offered:
                return f"{probe.address} has no pulse oximeter service"
            self._began = self._clock.now().isoformat()
            for uuid in offered:
                await link.start_notify(uuid, self._listener(uuid))
            self.state, self.reading = f"reading {probe.name or probe.address}", True
            await self._read(probe, stop)
        finally:
            await link.disconnect()
        return f"{self._probe.address} was lost"

    def _listener(self, uuid: str) -> Callable[[Any, bytearray], None]:
        def told(_: Any, octets: bytearray) -> None:
            if len(self._packets) < WAITING_PACKETS:
                self._packets.append((self._clock.now(), _READERS[uuid], bytes(octets[:256])))
            else:
                self._lost += 1
            self._news.set()

        return told

    def _dropped(self) -> None:
        self._gone = True
        self._news.set()

    async def _read(self, probe: Probe, stop: asyncio.Event) -> None:
        while True:
            await self._news.wait()
            self._news.clear()
            while self._packets:
                await self._hand_on(probe, *self._packets.popleft())
            if self._gone or stop.is_set():
                return

    async def _hand_on(self, probe: Probe, arrived: datetime, read: Callable[..., Heard], octets: bytes) -> None:
        """Keep one packet. An id of its own, as a probe gives none: where it attached and how many came before."""
        self._count += 1
        heard = read(octets, monitor=self._probe.address, name=probe.name or "", place=self._probe.place,
                     message_id=f"{self._probe.address} {self._began} {self._count}")  # fmt: skip
        if self._lost:
            heard = _with_problem(heard, f"{self._lost} packets before this one could not be kept, and are lost.")
            self._lost = 0
        try:
            await asyncio.to_thread(self._hub.take, heard, arrived)
        except Exception:  # one packet that could not be kept ends neither the door nor the link
            logging.getLogger(__name__).exception("A packet of %s could not be kept", self._probe.address)
            self._lost += 1


def _with_problem(heard: Heard, problem: str) -> Heard:
    return msgspec.structs.replace(heard, problems=(*heard.problems, problem))
