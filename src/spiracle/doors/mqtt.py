"""A hospital's MQTT broker as a monitor door: what monitors publish for one site, each message kept once and in its order.

Spiracle only listens. A message of quality 1 is acknowledged to the broker when it is kept and not before, and the session outlives
the link: what comes while we are away is sent again. aiomqtt does the talking.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import unquote, urlsplit

from spiracle.doors.clock import Clock
from spiracle.doors.side_loop import Pause, Takes, pause, wait_before
from spiracle.monitors.order import Turn, Window
from spiracle.monitors.tables import MonitorTables
from spiracle.monitors.topic import Said, in_order, is_name, read, topic_of, topics_of
from spiracle.refusals import Missing, NotAllowed, NotOneOf

HOLD_S = 0.5  # an earlier message is waited for so long, then what there is goes on
STREAMS = 1024  # of more, the one silent longest is forgotten
QUEUE = 4096  # messages that may wait to be kept; a message over that is not acknowledged and comes again, or shows as a gap
KEEPALIVE_S = 10
PORTS = {"mqtt": 1883, "mqtts": 8883}


@dataclass(frozen=True)
class Broker:
    host: str
    port: int
    tls: bool
    user: str = ""


def broker(url: str, near: bool) -> Broker:
    """The broker of `--mqtt URL`: mqtts://host, or mqtt://host without encryption where `near` says that is allowed.

    >>> broker("mqtts://spiracle@broker.example:8884", near=False)
    Broker(host='broker.example', port=8884, tls=True, user='spiracle')
    """
    shape = "Write it as mqtts://USER@HOST:PORT."
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise NotOneOf("mqtt", f"{url!r} is not the address of a broker.", shape) from None
    if parts.scheme not in PORTS or not parts.hostname or parts.path.strip("/") or parts.query or parts.fragment:
        raise NotOneOf("mqtt", f"{url!r} is not the address of a broker.", shape)
    if parts.password is not None:
        raise NotAllowed("mqtt", "a password on the command line can be read by everyone on this computer.",
                         "Put it into the environment as SPIRACLE_MQTT_PASSWORD.")  # fmt: skip
    if parts.scheme == "mqtt" and not near:
        raise NotAllowed("mqtt", f"{parts.hostname} is another machine, and mqtt:// is not encrypted.",
                         "Use mqtts://, or add --trust-network if the network is yours.")  # fmt: skip
    return Broker(parts.hostname, port or PORTS[parts.scheme], parts.scheme == "mqtts", unquote(parts.username or ""))


def site_of(name: str | None) -> str:
    """The site's name as it stands in the topics; there is no site to assume."""
    if not name:
        raise Missing(
            "mqtt-site", "was not given, and a broker may serve several hospitals.", "Name the site of the topics."
        )
    if not is_name(name):
        raise NotOneOf(
            "mqtt-site", f"{name!r} cannot be a part of a topic.", "Use up to 64 characters without /, + and #."
        )
    return name


class MqttDoor:
    """Listens at one broker for one site. `state` is one line for a person; `status` says of each device whether its gateway is there."""

    def __init__(
        self, where: Broker, site: str, tables: MonitorTables, hub: Takes, clock: Clock, password: str = "", pause: Pause = pause,
        hold_s: float = HOLD_S,
    ) -> None:  # fmt: skip
        self._where, self._site, self._tables, self._hub, self._clock = where, site_of(site), tables, hub, clock
        self._password, self._pause, self._hold_s = password, pause, hold_s
        self._windows: OrderedDict[str, Window[_Waiting]] = OrderedDict()
        self.status: OrderedDict[str, str] = OrderedDict()
        self.state = "not connected yet"
        self.stale = self.strange = 0
        self._listened = False

    @property
    def repeated(self) -> int:
        """Messages that came again and were not kept again."""
        return sum(window.repeated for window in self._windows.values())

    async def run(self, stop: asyncio.Event) -> None:
        """Connect, listen, and again, until told to stop."""
        import aiomqtt

        failed = 0
        while not stop.is_set():
            self._listened = False
            try:
                self.state = f"connecting to {self._where.host}"
                await self._listen(stop)
            except (aiomqtt.MqttError, OSError, ValueError) as fault:
                failed = 1 if self._listened else failed + 1
                seconds = wait_before(failed)
                self.state = f"{self._where.host} is not there ({fault}); tried again in {seconds:.0f} s"
                self._windows_after_a_cut()
                await self._pause(stop, seconds)
        self.state = "not connected"

    def _windows_after_a_cut(self) -> None:
        """What waited was not acknowledged: it comes again, and is then no repeat."""
        for window in self._windows.values():
            for turn in window.flush():
                window.forget(turn.item.said.id)

    async def _listen(self, stop: asyncio.Event) -> None:
        async with _client(self._where, self._site, self._password) as client:
            client.acknowledge_by_hand()
            await client.subscribe([(topic, 1) for topic in topics_of(self._site)])
            self.state, self._listened = f"listening at {self._where.host} for {self._site}", True
            told = asyncio.ensure_future(stop.wait())
            coming = asyncio.ensure_future(anext(client.messages))
            try:
                while not stop.is_set():
                    wait = self._hold_s if self._held() else None
                    done, _ = await asyncio.wait({told, coming}, timeout=wait, return_when=asyncio.FIRST_COMPLETED)
                    if coming in done:
                        await self._message(client, coming.result())
                        coming = asyncio.ensure_future(anext(client.messages))
                    elif not done:
                        await self._flush(client)
                await self._flush(client)
            finally:
                told.cancel()
                coming.cancel()

    def _held(self) -> int:
        return sum(window.held for window in self._windows.values())

    async def _message(self, client: Any, message: Any) -> None:
        topic = topic_of(str(message.topic))
        payload = message.payload if isinstance(message.payload, bytes) else b""
        said = read(self._tables, topic, payload, bool(message.retain)) if topic is not None else None
        if topic is None or said is None or topic.site != self._site:
            self.strange += 1
        elif said.stale:
            self.stale += 1
        elif topic.kind == "status":
            self._told_status(topic.device, said.status)
        else:
            await self._in_turn(client, str(message.topic), _Waiting(said, message.mid, message.qos, self._clock.now()))
            return
        client.acknowledge(message.mid, message.qos)

    def _told_status(self, device: str, status: str) -> None:
        self.status[device] = status or "not understood"
        self.status.move_to_end(device)
        if len(self.status) > STREAMS:
            self.status.popitem(last=False)

    async def _in_turn(self, client: Any, stream: str, waiting: _Waiting) -> None:
        window = self._window(stream)
        before = window.repeated
        turns = window.put(waiting.said.seq, waiting.said.id, waiting)
        if window.repeated > before:
            client.acknowledge(waiting.mid, waiting.qos)
        await self._hand_on(client, window, turns)

    def _window(self, stream: str) -> Window[_Waiting]:
        window = self._windows.setdefault(stream, Window())
        self._windows.move_to_end(stream)
        while len(self._windows) > STREAMS:
            self._windows.popitem(last=False)  # what waits in it is not acknowledged: the broker sends it again
        return window

    async def _flush(self, client: Any) -> None:
        for window in list(self._windows.values()):
            await self._hand_on(client, window, window.flush())

    async def _hand_on(self, client: Any, window: Window[_Waiting], turns: Iterable[Turn[_Waiting]]) -> None:
        for turn in turns:
            waiting = turn.item
            heard = in_order(waiting.said, turn.missing, turn.note)
            try:
                if heard is not None:
                    await asyncio.to_thread(self._hub.take, heard, waiting.arrived)
            except Exception:  # not kept, so not acknowledged: the broker sends it again
                logging.getLogger(__name__).exception("A message of %s could not be kept", waiting.said.topic.device)
                window.forget(waiting.said.id)
                continue
            client.acknowledge(waiting.mid, waiting.qos)


@dataclass(frozen=True)
class _Waiting:
    """A message on its way to being kept, and what the broker needs to hear once it is."""

    said: Said
    mid: int
    qos: int
    arrived: datetime


def _client(where: Broker, site: str, password: str) -> Any:
    """aiomqtt's client, with acknowledgement left to us: it has no public door for that, its own client underneath has."""
    import ssl

    import aiomqtt

    class Client(aiomqtt.Client):
        def acknowledge_by_hand(self) -> None:
            self._client.manual_ack_set(True)

        def acknowledge(self, mid: int, qos: int) -> None:
            if qos:
                self._client.ack(mid, qos)

    return Client(
        where.host, where.port, username=where.user or None, password=password or None, keepalive=KEEPALIVE_S, clean_session=False,
        identifier=f"spiracle-{re.sub('[^0-9A-Za-z]', '-', site)}", max_queued_incoming_messages=QUEUE,
        tls_context=ssl.create_default_context() if where.tls else None,
    )  # fmt: skip
