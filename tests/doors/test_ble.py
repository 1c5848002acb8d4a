"""A probe over Bluetooth, through bleak's own client and scanner.

Only the radio is invented: `Air` stands where the operating system's Bluetooth would be, behind bleak's interface for back ends.
Packets: data-exchange vectors worked by hand (SpO2 97 is 0x0061, pulse 182 is 0x00B6, SFLOAT without exponent).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, ClassVar

import pytest
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakError

from heard_by import PATIENCE_S, Shelf
from looped import looped
from spiracle.doors.ble import BleakRadio, Named, Oximeter, named
from spiracle.doors.clock import SetClock
from spiracle.doors.side_loop import SideLoop
from spiracle.monitors.plx import CONTINUOUS, SERVICE, SPOT_CHECK
from spiracle.refusals import NotOneOf

OURS, NEXT_DOOR = "A4:C1:38:00:00:01", "A4:C1:38:00:00:02"
QUESTIONABLE = bytes.fromhex("046100B6000040")
NOW = datetime(2026, 3, 12, 10, 15, tzinfo=UTC)


class Air:
    """Which probes are in range, what they offer, and everything that was done to them."""

    in_range: ClassVar[list[str]] = []
    offers: ClassVar[tuple[str, ...]] = (CONTINUOUS,)
    attached: ClassVar[list[str]] = []
    written: ClassVar[list[str]] = []
    packets: ClassVar[list[bytes]] = []
    drops: ClassVar[bool] = False

    @classmethod
    def fresh(
        cls, in_range: list[str], packets: list[bytes], offers: tuple[str, ...] = (CONTINUOUS,), drops: bool = False
    ) -> None:
        cls.in_range, cls.packets, cls.offers, cls.drops = in_range, packets, offers, drops
        cls.attached, cls.written = [], []


class Scanner(BaseBleakScanner):
    def __init__(self, detection_callback: Any, service_uuids: Any, scanning_mode: Any, **_: Any) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        asyncio.get_running_loop().call_soon(self.tell)

    def tell(self) -> None:
        for address in Air.in_range:
            told = AdvertisementData(local_name=f"probe {address[-2:]}", manufacturer_data={}, service_data={},
                                     service_uuids=[SERVICE], tx_power=None, rssi=-50, platform_data=())  # fmt: skip
            device = self.create_or_update_device(address, address, told.local_name, None, told)
            self.call_detection_callbacks(device, told)

    async def stop(self) -> None: ...


class Client(BaseBleakClient):
    connected = False

    @property
    def mtu_size(self) -> int:
        return 23

    @property
    def is_connected(self) -> bool:
        return self.connected

    async def connect(self, pair: bool, **_: Any) -> None:
        assert not pair
        Air.attached.append(self.address)
        self.connected = True
        self.services = BleakGATTServiceCollection()
        service = BleakGATTService(None, 1, SERVICE)
        self.services.add_service(service)
        for handle, uuid in enumerate(Air.offers, start=2):
            self.services.add_characteristic(
                BleakGATTCharacteristic(None, handle, uuid, ["notify"], lambda: 20, service)
            )

    async def disconnect(self) -> None:
        self.connected = False

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: Callable[[bytearray], None], **_: Any
    ) -> None:
        for packet in Air.packets:
            callback(bytearray(packet))
        if Air.drops and self._disconnected_callback:
            self.connected = False
            asyncio.get_running_loop().call_soon(self._disconnected_callback)

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None: ...
    async def pair(self, *_: Any, **__: Any) -> None:
        Air.written.append("pair")

    async def unpair(self) -> None:
        Air.written.append("unpair")

    async def read_gatt_char(self, characteristic: Any, **_: Any) -> bytearray:
        raise BleakError("not offered")

    async def read_gatt_descriptor(self, descriptor: Any, **_: Any) -> bytearray:
        raise BleakError("not offered")

    async def write_gatt_char(self, characteristic: Any, data: Any, response: bool) -> None:
        Air.written.append("characteristic")

    async def write_gatt_descriptor(self, descriptor: Any, data: Any) -> None:
        Air.written.append("descriptor")


class Waits:
    """Writes down how long the door would have waited, and stops it after so many waits."""

    def __init__(self, stop_after: int) -> None:
        self.seconds: list[float] = []
        self.stop_after = stop_after

    async def __call__(self, stop: asyncio.Event, seconds: float) -> None:
        self.seconds.append(seconds)
        await asyncio.sleep(0)
        if len(self.seconds) >= self.stop_after:
            stop.set()


def door(shelf: Shelf, waits: Waits, probe: Named | None = None) -> Oximeter:
    wanted = probe or Named(OURS, "Theatre 2")
    there = wanted.address in Air.in_range  # who is not there is not waited for
    radio = BleakRadio(client_backend=Client, scanner_backend=Scanner, search_s=PATIENCE_S if there else 0)
    return Oximeter(wanted, shelf, SetClock(NOW), radio, waits)


def run(oximeter: Oximeter) -> None:
    async def all_of_it() -> None:
        await oximeter.run(asyncio.Event())

    looped(all_of_it())


def test_what_the_probe_says_is_handed_on_with_its_place_and_name() -> None:
    Air.fresh([NEXT_DOOR, OURS], [QUESTIONABLE], drops=True)
    shelf, waits = Shelf(), Waits(1)
    run(door(shelf, waits))
    heard = shelf.next()
    assert (heard.monitor, heard.name, heard.place) == (OURS, "probe 01", "Theatre 2")
    assert [(n.reading, n.value, n.standing) for n in heard.numbers] == [
        ("spo2", Decimal(97), "questionable"), ("pulse_rate", Decimal(182), "questionable"),
    ]  # fmt: skip


def test_a_probe_that_nobody_named_never_attaches() -> None:
    """Hazard D7: the probe of the next room is in range, and ours is not."""
    Air.fresh([NEXT_DOOR], [QUESTIONABLE])
    shelf, waits = Shelf(), Waits(3)
    run(door(shelf, waits))
    assert (Air.attached, shelf.all) == ([], [])


def test_nothing_is_written_to_a_probe() -> None:
    Air.fresh([OURS], [QUESTIONABLE] * 3, offers=(CONTINUOUS, SPOT_CHECK), drops=True)
    run(door(Shelf(), Waits(2)))
    assert Air.attached == [OURS, OURS]
    assert Air.written == []


def test_out_of_range_is_looked_for_at_growing_intervals() -> None:
    Air.fresh([], [])
    waits = Waits(9)
    run(door(Shelf(), waits))
    assert waits.seconds == [1, 2, 4, 8, 16, 32, 60, 60, 60]


def test_a_lost_link_is_taken_up_again_and_no_packet_is_told_twice() -> None:
    Air.fresh([OURS], [QUESTIONABLE, QUESTIONABLE], drops=True)
    shelf, waits = Shelf(), Waits(3)
    run(door(shelf, waits))
    assert waits.seconds == [1, 1, 1]
    assert len(shelf.all) == 6
    assert len({heard.message_id for heard in shelf.all}) == 6


def test_a_device_without_the_service_gives_nothing() -> None:
    Air.fresh([OURS], [QUESTIONABLE], offers=("00002a37-0000-1000-8000-00805f9b34fb",))
    shelf, waits = Shelf(), Waits(1)
    run(door(shelf, waits))
    assert (shelf.all, Air.attached) == ([], [OURS])


def test_broken_packets_are_told_and_end_nothing() -> None:
    Air.fresh([OURS], [b"", QUESTIONABLE[:4], QUESTIONABLE], drops=True)
    shelf = Shelf()
    run(door(shelf, Waits(1)))
    assert [len(heard.numbers) for heard in shelf.all] == [0, 0, 2]
    assert [bool(heard.problems) for heard in shelf.all] == [True, True, False]


def test_packets_that_cannot_be_kept_are_told_with_the_next() -> None:
    class Full(Shelf):
        def take(self, heard: Any, arrived: datetime) -> object:
            if not self.all and not getattr(self, "was_full", False):
                self.was_full = True
                raise OSError("no room")
            return super().take(heard, arrived)

    Air.fresh([OURS], [QUESTIONABLE, QUESTIONABLE], drops=True)
    shelf = Full()
    run(door(shelf, Waits(1)))
    assert [heard.problems for heard in shelf.all] == [("1 packets before this one could not be kept, and are lost.",)]


def test_the_door_runs_beside_and_ends_when_told() -> None:
    Air.fresh([OURS], [QUESTIONABLE])
    shelf = Shelf()

    async def beside(stop: asyncio.Event) -> None:
        await door(shelf, Waits(99)).run(stop)

    side = SideLoop("oximeter", beside)
    side.start()
    assert shelf.next().monitor == OURS
    assert side.stop(within_s=30)


@pytest.mark.parametrize("text", ["", "probe", "A4:C1:38:00:00", "A4-C1-38-00-00-01", "A4:C1:38:00:00:0G", "*"])
def test_only_an_address_names_a_probe(text: str) -> None:
    with pytest.raises(NotOneOf, match="oximeter"):
        named(text)
