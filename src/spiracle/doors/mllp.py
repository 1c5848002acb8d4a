"""The door for monitors that speak HL7 over TCP: frames in, acknowledgements out, nothing else ever.

A message is acknowledged (AA) after `take` has returned, which is after it is safe on disk. Each connection is served by itself: its
messages keep their order, its reading stops while one is being taken, and what it may hold, wait for or cost is limited, so that a
slow, stalled or hostile sender holds up no other room.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import ssl
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Protocol

import msgspec

from spiracle.monitors import ack
from spiracle.monitors.ack import Verdicts
from spiracle.monitors.frames import Frame, Frames, framed
from spiracle.monitors.heard import Heard
from spiracle.monitors.oru import Said, read, too_long
from spiracle.monitors.tables import MonitorTables

log = logging.getLogger(__name__)
PORT = 2575  # registered for HL7 (from memory)
READ = 16_384  # so that no read costs the others more than some hundredths of a second, whatever is in it


class Taken(Protocol):
    """What the hub says: `ok` once the message is safe, else why it was not taken."""

    @property
    def ok(self) -> bool: ...
    @property
    def reason(self) -> str: ...


Take = Callable[[Heard, datetime], Taken]


class Limits(msgspec.Struct, frozen=True, kw_only=True):
    """What one sender may cost. All ours; times in seconds."""

    connections: int = 128
    from_one_host: int = 64
    idle_s: float = 300
    frame_s: float = 30  # a frame that was begun ends within this, however it trickles
    answer_s: float = 10  # a peer that does not read its answers is let go after this
    garbage: int = 1_048_576  # bytes outside frames before a connection is closed
    broken: int = 1_000  # frames cut off by a new start before it is
    long_bytes: int = 262_144  # a message over this is a long one: they are read one after another,
    long_total: int = 67_108_864  # and what long ones hold together stays under this
    rest_over_s: float = 0.1  # a message that took longer is followed by as long a rest


class Counts(msgspec.Struct, kw_only=True):
    """What came in, for the installer's page and the tests."""

    messages: int = 0
    answers: Counter[str] = msgspec.field(default_factory=Counter)
    garbage: int = 0
    broken_frames: int = 0
    bare_ends: int = 0
    refused_connections: int = 0
    stalled: int = 0
    crowded_out: int = 0
    faults: int = 0
    open: int = 0


class MllpServer:
    """The listening door. `take` may block: it runs in a thread of its own pool, one message of a connection at a time."""

    def __init__(
        self,
        tables: MonitorTables,
        take: Take,
        *,
        limits: Limits | None = None,
        tls: ssl.SSLContext | None = None,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.tables, self.take, self.tls, self.clock = tables, take, tls, clock
        self.limits = limits or Limits()
        self.counts = Counts()
        self._hosts: Counter[str] = Counter()
        self._tasks: set[asyncio.Task[None]] = set()
        # As many threads as connections may be open: no sender ever waits for another's. They are made when first needed.
        self._pool = ThreadPoolExecutor(self.limits.connections, thread_name_prefix="monitor")
        self._server: asyncio.Server | None = None
        self._answered = 0
        self._held: dict[Frames, int] = {}
        self._long = asyncio.Lock()

    async def start(self, host: str = "127.0.0.1", port: int = PORT) -> int:
        """Listens, and gives the port (another than asked where 0 was)."""
        self._server = await asyncio.start_server(
            self._serve, host, port, ssl=self.tls, limit=READ, backlog=self.limits.connections,
            ssl_handshake_timeout=self.limits.answer_s if self.tls is not None else None,
        )  # fmt: skip
        return int(self._server.sockets[0].getsockname()[1])

    async def stop(self) -> None:
        """Closes the door and every connection; a message that is being taken is taken to its end, unanswered: it will be repeated."""
        if self._server is not None:
            self._server.close()
        for task in tuple(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await asyncio.to_thread(self._pool.shutdown)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        host = str((writer.get_extra_info("peername") or ("",))[0])
        if (
            self.counts.open >= self.limits.connections
            or self._hosts[host] >= self.limits.from_one_host
            or task is None
        ):
            self.counts.refused_connections += 1
            writer.transport.abort()
            return
        self.counts.open += 1
        self._hosts[host] += 1
        self._tasks.add(task)
        frames = Frames(self.tables.limit("message-bytes"))
        try:
            await self._talk(reader, writer, frames)
        except (ConnectionError, TimeoutError, ssl.SSLError, asyncio.CancelledError):
            pass  # the peer is gone, or we are closing: what was not acknowledged will be sent again
        finally:
            self._tasks.discard(task)
            self._held.pop(frames, None)
            self.counts.open -= 1
            self._hosts[host] -= 1
            if not self._hosts[host]:
                del self._hosts[host]
            writer.transport.abort()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, frames: Frames) -> None:
        """Reads, takes and answers in turn: nothing more is read from this sender while one of its messages is being taken."""
        now = asyncio.get_running_loop().time
        deadline = now() + self.limits.idle_s
        while True:
            try:
                async with asyncio.timeout_at(deadline):
                    data = await reader.read(READ)
            except TimeoutError:
                self.counts.stalled += 1
                return
            was_open = frames.open
            found = self._feed(frames, data)
            for frame in found:
                await self._answer(frame, writer)
            if not data or self._noisy(frames) or self._crowded(frames):
                return
            if not frames.open:
                deadline = now() + self.limits.idle_s
            elif found or not was_open:
                deadline = now() + self.limits.frame_s

    def _feed(self, frames: Frames, data: bytes) -> list[Frame]:
        before = frames.garbage, frames.broken, frames.bare_ends
        found = frames.feed(data)
        self.counts.garbage += frames.garbage - before[0]
        self.counts.broken_frames += frames.broken - before[1]
        self.counts.bare_ends += frames.bare_ends - before[2]
        self._held[frames] = frames.held
        return found

    def _noisy(self, frames: Frames) -> bool:
        return frames.garbage > self.limits.garbage or frames.broken > self.limits.broken

    def _crowded(self, frames: Frames) -> bool:
        """Whether long messages hold too much together. Only one that is long itself is ended for it, never a usual one."""
        crowded = frames.held > self.limits.long_bytes and sum(self._held.values()) > self.limits.long_total
        self.counts.crowded_out += crowded
        return crowded

    async def _answer(self, frame: Frame, writer: asyncio.StreamWriter) -> None:
        """One message to its end: read, taken, answered. A cost over the usual is followed by as long a rest of this sender."""
        arrived, began = self.clock(), time.monotonic()
        # Long ones take turns, so that their memory is that of one; a usual message waits for none of them.
        async with self._long if len(frame.data) > self.limits.long_bytes else contextlib.nullcontext():
            said, answer = await asyncio.get_running_loop().run_in_executor(self._pool, self._handle, frame, arrived)
        self.counts.messages += 1
        self.counts.answers[answer.verdict] += 1
        if ack.wanted(said.head, answer.verdict):
            self._answered += 1
            own = f"S{int(self.clock().timestamp() * 1000)}-{self._answered}"
            writer.write(framed(ack.write(said.head, answer, self.clock(), own)))
            async with asyncio.timeout(self.limits.answer_s):
                await writer.drain()
        took = time.monotonic() - began
        if took > self.limits.rest_over_s:
            await asyncio.sleep(min(took, 1.0))

    def _handle(self, frame: Frame, arrived: datetime) -> tuple[Said, Verdicts]:
        """Reads and takes one message, in a thread. Whatever goes wrong in there is ours, is said so, and ends no connection."""
        try:
            said = too_long(frame.data, self.tables) if frame.too_long else read(frame.data, self.tables)
        except Exception:
            return self._fault(Said())
        if said.heard is None:
            return said, said.answer
        try:
            taken = self.take(said.heard, arrived)
        except Exception:
            return self._fault(said)
        if not taken.ok:
            return said, Verdicts(verdict="AE", error=ack.INTERNAL, reason=taken.reason or "not taken")
        return said, said.answer

    def _fault(self, said: Said) -> tuple[Said, Verdicts]:
        log.exception("a message of a monitor could not be taken")
        self.counts.faults += 1
        return said, Verdicts(verdict="AE", error=ack.INTERNAL, reason="it could not be kept: send it again")


@asynccontextmanager
async def serving(server: MllpServer, host: str = "127.0.0.1", port: int = PORT) -> AsyncIterator[int]:
    """The door open for the length of a block; gives its port."""
    bound = await server.start(host, port)
    try:
        yield bound
    finally:
        with contextlib.suppress(asyncio.CancelledError):
            await server.stop()


def mutual_tls(certificate: str, key: str, peers: str) -> ssl.SSLContext:
    """A context that shows our certificate and takes only senders whose certificate `peers` signed."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH, cafile=peers)
    context.load_cert_chain(certificate, key)
    context.verify_mode = ssl.CERT_REQUIRED
    return context
