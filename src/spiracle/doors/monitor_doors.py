"""The doors that monitors come in by, as they are asked for at the start: HL7 over TCP, a broker, oximeters by radio. Each has a thread
of its own. Nothing leaves by them but acknowledgements."""

from __future__ import annotations

import asyncio
import os
import threading
from collections.abc import Sequence
from dataclasses import dataclass

from spiracle.doors.clock import Clock
from spiracle.doors.monitor_hub import MonitorHub
from spiracle.doors.side_loop import SideLoop
from spiracle.monitors.tables import MonitorTables
from spiracle.refusals import NotAllowed, NotAQuantity


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line asked for. `mllp` is HOST:PORT, `mqtt` an address, `oximeters` ADDRESS or ADDRESS,ROOM."""

    mllp: str = ""
    mqtt: str = ""
    mqtt_site: str = ""
    oximeters: tuple[str, ...] = ()


def host_and_port(text: str) -> tuple[str, int]:
    """
    >>> host_and_port("127.0.0.1:2575"), host_and_port("[::1]:2575")
    (('127.0.0.1', 2575), ('::1', 2575))
    """
    host, _, port = text.rpartition(":")
    if not host or not port.isascii() or not port.isdigit() or not 0 <= int(port) <= 65535:
        raise NotAQuantity("mllp", f"{text[:60]!r} is not HOST:PORT.", "Write it like 127.0.0.1:2575.")
    return host.strip("[]"), int(port)


class Doors:
    """All of them open, or none: a port that is taken ends the start with its name."""

    def __init__(self) -> None:
        self._open: list[SideLoop] = []
        self.said: list[str] = []

    def open(self, loop: SideLoop, said: str) -> None:
        loop.start()
        self._open.append(loop)
        self.said.append(said)

    def stop(self) -> None:
        for loop in reversed(self._open):
            loop.stop()


def open_doors(asked: Asked, tables: MonitorTables, hub: MonitorHub, clock: Clock, trust_network: bool) -> Doors:
    from spiracle.doors.serve import loopback, need_loopback

    doors = Doors()
    if asked.mllp:
        host, port = host_and_port(asked.mllp)
        need_loopback(host, trust_network)
        _mllp(doors, host, port, tables, hub, clock)
    if asked.mqtt:
        from spiracle.doors.mqtt import MqttDoor, broker, site_of

        where = broker(asked.mqtt, near=trust_network or loopback(_host_of(asked.mqtt)))
        door = MqttDoor(
            where, site_of(asked.mqtt_site), tables, hub, clock, os.environ.get("SPIRACLE_MQTT_PASSWORD", "")
        )
        doors.open(SideLoop("broker", door.run), f"Monitors may publish at {where.host} for {asked.mqtt_site}.")
    _oximeters(doors, asked.oximeters, hub, clock)
    return doors


def _mllp(doors: Doors, host: str, port: int, tables: MonitorTables, hub: MonitorHub, clock: Clock) -> None:
    from spiracle.doors.mllp import MllpServer

    server = MllpServer(tables, hub.take, clock=clock.now)
    bound: list[int] = []
    fault: list[OSError] = []

    async def run(stop: asyncio.Event) -> None:
        try:
            bound.append(await server.start(host, port))
        except OSError as found:
            fault.append(found)
            return
        finally:
            listening.set()
        await stop.wait()
        await server.stop()

    listening = threading.Event()
    loop = SideLoop("mllp", run)
    doors.open(loop, "")
    listening.wait(10)
    doors.said.pop()
    if fault or not bound:
        raise NotAllowed("mllp", f"{host}:{port} cannot be listened at ({fault[0] if fault else 'no answer'}).",
                         "Choose a port that is free.")  # fmt: skip
    doors.said.append(f"Monitors may send HL7 to {host}:{bound[0]}.")


def _oximeters(doors: Doors, asked: Sequence[str], hub: MonitorHub, clock: Clock) -> None:
    if not asked:
        return
    from spiracle.doors.ble import BleakRadio, Oximeter, named

    for text in asked:
        probe = named(text)
        door = Oximeter(probe, hub, clock, BleakRadio())
        doors.open(SideLoop(probe.address, door.run), f"Looking for the oximeter {probe.address}.")


def _host_of(url: str) -> str:
    from urllib.parse import urlsplit

    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""
