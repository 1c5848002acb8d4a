"""The door for HL7 over TCP, on real sockets: framing at every split, answers after taking, and senders that do harm."""

from __future__ import annotations

import asyncio
import ssl
import threading
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest
import trustme

from looped import looped
from monitor_talk import MSH, SPO2, message, monitor_tables, worked
from spiracle.doors.mllp import Limits, MllpServer, mutual_tls, serving
from spiracle.monitors.frames import Frames, framed
from spiracle.monitors.heard import Heard

NOW = datetime(2026, 3, 12, 10, 15, 1, tzinfo=UTC)


@dataclass
class Answer:
    ok: bool = True
    reason: str = ""


@dataclass
class Shelf:
    """Where what was heard is put, each message of a monitor once, as the hub does it."""

    kept: dict[tuple[str, str], Heard] = field(default_factory=dict)
    order: list[str] = field(default_factory=list)
    refuse: str = ""
    hold: dict[str, threading.Event] = field(default_factory=dict)

    def take(self, heard: Heard, arrived: datetime) -> Answer:
        assert arrived == NOW
        if heard.monitor in self.hold:
            assert self.hold[heard.monitor].wait(30)
        if self.refuse:
            return Answer(False, self.refuse)
        self.order.append(heard.message_id)
        self.kept.setdefault((heard.monitor, heard.message_id), heard)
        return Answer()


class Peer:
    """A sender: writes bytes, reads whole answers."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    async def send(self, *parts: bytes) -> None:
        for part in parts:
            self.writer.write(part)
            await self.writer.drain()

    async def answer(self) -> list[str]:
        """The segments of the next answer."""
        data = await self.reader.readuntil(b"\x1c\r")
        assert data.startswith(b"\x0b")
        return data[1:-2].decode().split("\r")

    async def verdict(self) -> tuple[str, str]:
        msa = next(line for line in await self.answer() if line.startswith("MSA|"))
        _, code, control = msa.split("|")[:3]
        return code, control


def run(
    shelf: Shelf,
    talk: Callable[[MllpServer, Callable[[], Awaitable[Peer]]], Awaitable[None]],
    limits: Limits | None = None,
) -> MllpServer:
    """A server with this shelf behind it, for the length of one conversation."""

    async def main() -> MllpServer:
        server = MllpServer(monitor_tables(), shelf.take, limits=limits, clock=lambda: NOW)
        async with serving(server, port=0) as port:

            async def peer() -> Peer:
                return Peer(*await asyncio.open_connection("127.0.0.1", port))

            async with asyncio.timeout(60):
                await talk(server, peer)
        return server

    return looped(main())


def numbered(n: int, monitor: str = "0123456789ABCDEF") -> bytes:
    return framed(message(SPO2, msh=MSH.replace("T0001", f"T{n:04}")).replace(b"0123456789ABCDEF", monitor.encode()))


def test_1_a_frame_split_at_every_byte_gives_its_message_once() -> None:
    """Conformance test 1, the parser alone: every place of one cut, with garbage before and between."""
    data = b"noise" + framed(b"one") + b"\r\n" + framed(b"two") + framed(b"three")
    for cut in range(len(data) + 1):
        frames = Frames(100)
        found = [f.data for f in frames.feed(data[:cut]) + frames.feed(data[cut:])]
        assert found == [b"one", b"two", b"three"]
        assert frames.garbage == len(b"noise\r\n")
    frames = Frames(100)
    assert [f.data for i in range(len(data)) for f in frames.feed(data[i : i + 1])] == [b"one", b"two", b"three"]


@pytest.mark.parametrize(
    ("data", "found", "garbage", "broken", "bare"),
    [
        (b"\x0bone\x1c\x0btwo\x1c\r", [b"one", b"two"], 0, 0, 1),  # no 0x0D after the first
        (b"\x0bhalf\x0btwo\x1c\r", [b"two"], 4, 1, 0),  # a start inside a frame
        (b"\x1c\r\x0bone\x1c\r", [b"one"], 2, 0, 0),
        (b"\x0b\x1c\r\x0bone\x1c\r", [b"", b"one"], 0, 0, 0),
        (b"\x0bone\x1cjunk\x0btwo\x1c\r", [b"one", b"two"], 4, 0, 1),
    ],
)
def test_1_what_is_not_a_frame_is_counted(
    data: bytes, found: list[bytes], garbage: int, broken: int, bare: int
) -> None:
    for size in (1, 2, 3, len(data)):
        frames = Frames(100)
        got = [f.data for i in range(0, len(data), size) for f in frames.feed(data[i : i + size])]
        assert (got, frames.garbage, frames.broken, frames.bare_ends) == (found, garbage, broken, bare)


def test_1_a_message_over_the_limit_is_told_once_and_the_next_one_is_read() -> None:
    data = framed(b"x" * 300) + framed(b"next")
    for size in (1, 7, 64, 101, len(data)):
        frames = Frames(100)
        got = [f for i in range(0, len(data), size) for f in frames.feed(data[i : i + size])]
        assert [f.too_long for f in got] == [True, False]
        assert got[1].data == b"next"
        assert frames.held == 0


def test_1_every_split_over_a_socket_is_answered_once_in_order() -> None:
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        data = numbered(0)
        for cut in range(1, len(data), 7):
            await one.send(data[:cut])
            await one.send(data[cut:])
            assert await one.verdict() == ("AA", "T0000")
        await one.send(b"noise" + numbered(1) + numbered(2) + numbered(3))
        assert [await one.verdict() for _ in range(3)] == [("AA", f"T{n:04}") for n in (1, 2, 3)]
        await one.send(numbered(4)[:-1], numbered(5))  # the first without its 0x0D
        assert [await one.verdict() for _ in range(2)] == [("AA", "T0004"), ("AA", "T0005")]

    server = run(shelf, talk)
    assert shelf.order[-5:] == ["T0001", "T0002", "T0003", "T0004", "T0005"]
    assert (server.counts.garbage, server.counts.bare_ends, server.counts.faults) == (5, 1, 0)


def test_2_the_worked_message_is_taken_and_acknowledged() -> None:
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(framed(worked()))
        msh, msa = (await one.answer())[:2]
        assert msa == "MSA|AA|T0001"
        assert msh.split("|")[2:6] == ["SPIRACLE", "", "TESTGW^0123456789ABCDEF^EUI-64", "TESTHOSP"]
        assert msh.split("|")[8] == "ACK^R01^ACK"

    run(shelf, talk)
    assert len(shelf.kept["0123456789ABCDEF", "T0001"].numbers) == 8


def test_3_five_repeats_are_one_set_of_values_and_five_answers() -> None:
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(*[framed(worked())] * 3)
        other = await peer()
        await other.send(*[framed(worked())] * 2)
        assert [await p.verdict() for p in (one, one, one, other, other)] == [("AA", "T0001")] * 5

    run(shelf, talk)
    assert list(shelf.kept) == [("0123456789ABCDEF", "T0001")]


def test_4_a_message_without_a_zone_is_kept_and_answered_ae_with_the_reason() -> None:
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(framed(message(SPO2, msh=MSH.replace("20260312101500+0000", "20260312101500"))))
        segments = await one.answer()
        assert segments[1] == "MSA|AE|T0001"
        assert segments[2].startswith("ERR|||101^")
        assert "zone" in segments[2]

    run(shelf, talk)
    assert shelf.kept["0123456789ABCDEF", "T0001"].sent_at is None


@pytest.mark.parametrize(
    ("data", "verdict", "control"),
    [
        (message(SPO2, msh=MSH.replace("ORU^R01^ORU_R01", "ADT^A01")), "AR", "T0001"),
        (message(SPO2, "junk"), "AE", "T0001"),
        (message(SPO2).replace(b"\r", b"\n"), "AE", ""),
        (b"hello", "AE", ""),
        (b"", "AE", ""),
    ],
)
def test_what_is_not_taken_is_answered_with_its_reason_and_the_connection_lives(
    data: bytes, verdict: str, control: str
) -> None:
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(framed(data), framed(worked()))
        assert await one.verdict() == (verdict, control)
        assert await one.verdict() == ("AA", "T0001")

    run(shelf, talk)
    assert len(shelf.order) == 1


def test_13_no_aa_where_it_was_not_kept() -> None:
    shelf = Shelf(refuse="the disk is full")

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(framed(worked()))
        segments = await one.answer()
        assert segments[1] == "MSA|AE|T0001"
        assert "the disk is full" in segments[2]

    run(shelf, talk)


def test_13_a_fault_of_ours_is_an_ae_and_ends_no_connection() -> None:
    def take(heard: Heard, arrived: datetime) -> Answer:
        raise OSError("gone")

    async def main() -> None:
        server = MllpServer(monitor_tables(), take)
        async with serving(server, port=0) as port, asyncio.timeout(60):
            one = Peer(*await asyncio.open_connection("127.0.0.1", port))
            for _ in range(2):
                await one.send(framed(worked()))
                assert await one.verdict() == ("AE", "T0001")
        assert server.counts.faults == 2

    looped(main())


def test_an_answer_that_is_not_wanted_is_not_sent() -> None:
    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(framed(message(SPO2, msh=MSH.replace("|NE|AL|", "|NE|NE|"))), numbered(2))
        assert await one.verdict() == ("AA", "T0002")

    shelf = Shelf()
    run(shelf, talk)
    assert shelf.order == ["T0001", "T0002"]


def test_22_a_message_of_five_megabytes_is_taken_and_one_over_the_limit_is_refused_at_once() -> None:
    wave = "OBX|2|NA|151700^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|{}|266016^MDC_DIM_MMHG^MDC|||||R"
    rate = "OBX|3|NM|0^MDC_ATTR_SAMP_RATE^MDC|1.4.1.5.1|100|264608^MDC_DIM_PER_SEC^MDC|||||R"
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(framed(message(wave.format("^".join(["41.5"] * 1_000_000)), rate)))
        assert await one.verdict() == ("AA", "T0001")
        await one.send(framed(message(wave.format("^".join(["41.5"] * 1_500_000)), rate)), numbered(2))
        assert await one.verdict() == ("AE", "T0001")
        assert await one.verdict() == ("AA", "T0002")

    run(shelf, talk)
    assert shelf.order == ["T0001", "T0002"]


def test_a_stalled_sender_delays_no_other() -> None:
    """Half a frame, and then silence: the other room is answered; and the silent one is let go when its time is up."""
    shelf = Shelf()

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        stalled = [await peer() for _ in range(10)]
        for one in stalled:
            await one.send(numbered(1)[:40])
        other = await peer()
        await other.send(numbered(2))
        assert await other.verdict() == ("AA", "T0002")
        assert [await one.reader.read() for one in stalled] == [b""] * 10

    server = run(shelf, talk, Limits(frame_s=1))
    assert server.counts.stalled == 10
    assert shelf.order == ["T0002"]


def test_a_message_that_is_long_in_the_taking_delays_no_other_room() -> None:
    gate = threading.Event()
    shelf = Shelf(hold={"00000000000000AA": gate})

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        slow, other = await peer(), await peer()
        await slow.send(numbered(1, "00000000000000AA"), numbered(2, "00000000000000AA"))
        await other.send(*[numbered(n) for n in range(3, 30)])
        assert [await other.verdict() for _ in range(3, 30)] == [("AA", f"T{n:04}") for n in range(3, 30)]
        assert shelf.order == [f"T{n:04}" for n in range(3, 30)]
        gate.set()
        assert [await slow.verdict() for _ in range(2)] == [("AA", "T0001"), ("AA", "T0002")]

    run(shelf, talk)
    assert shelf.order[-2:] == ["T0001", "T0002"]


def test_a_sender_of_nothing_but_noise_is_let_go() -> None:
    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        noisy, other = await peer(), await peer()
        noisy.writer.write(b"x" * 300_000)
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await noisy.answer()
        await other.send(numbered(1))
        assert await other.verdict() == ("AA", "T0001")

    server = run(Shelf(), talk, Limits(garbage=100_000))
    assert server.counts.garbage > 100_000


def test_connections_over_the_cap_are_turned_away_and_the_others_are_served() -> None:
    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        first = [await peer() for _ in range(3)]
        for n, one in enumerate(first):
            await one.send(numbered(n))
            assert await one.verdict() == ("AA", f"T{n:04}")
        fourth = await peer()
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await fourth.answer()
        await first[0].send(numbered(9))
        assert await first[0].verdict() == ("AA", "T0009")

    server = run(Shelf(), talk, Limits(connections=3))
    assert server.counts.refused_connections == 1


def test_long_messages_that_crowd_are_ended_and_a_usual_one_never_is() -> None:
    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        usual = await peer()
        await usual.send(numbered(1)[:50])
        hoarder = await peer()
        hoarder.writer.write(b"\x0b" + b"x" * 400_000)
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await hoarder.answer()
        await usual.send(numbered(1)[50:])
        assert await usual.verdict() == ("AA", "T0001")

    server = run(Shelf(), talk, Limits(long_bytes=50_000, long_total=200_000))
    assert server.counts.crowded_out == 1


def test_nothing_but_acknowledgements_is_ever_sent() -> None:
    """Read only: whatever a sender says, all it hears are ACK messages, one for each of its own."""

    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        one = await peer()
        await one.send(b"junk", framed(b"\x06"), framed(worked()), framed(b"MSH|^~\\&|"), b"tail")
        one.writer.write_eof()
        heard = (await one.reader.read()).split(b"\x1c\r")
        assert heard.pop() == b""
        assert [h[:9] for h in heard] == [b"\x0bMSH|^~\\&"] * 3
        assert all(b"|ACK^R01^ACK|" in h for h in heard)

    run(Shelf(), talk)


def test_with_certificates_on_both_sides_a_stranger_is_not_let_in(tmp_path: Path) -> None:
    def certificate(name: str) -> tuple[str, str]:
        """A certificate and its key, signed by nobody the others know (`trustme`, made for tests)."""
        made, key = tmp_path / f"{name}.pem", tmp_path / f"{name}.key"
        house = trustme.CA()
        own = house.issue_cert("localhost")
        own.private_key_pem.write_to_path(str(key))
        made.write_bytes(b"".join(blob.bytes() for blob in own.cert_chain_pems) + house.cert_pem.bytes())
        return str(made), str(key)

    ours, monitor, stranger = certificate("ours"), certificate("monitor"), certificate("stranger")
    shelf = Shelf()

    async def talk(port: int, own: tuple[str, str]) -> tuple[str, str]:
        context = ssl.create_default_context(cafile=ours[0])
        context.load_cert_chain(*own)
        one = Peer(*await asyncio.open_connection("127.0.0.1", port, ssl=context, server_hostname="localhost"))
        await one.send(framed(worked()))
        return await one.verdict()

    async def main() -> None:
        server = MllpServer(monitor_tables(), shelf.take, tls=mutual_tls(*ours, peers=monitor[0]), clock=lambda: NOW)
        async with serving(server, port=0) as port, asyncio.timeout(60):
            with pytest.raises((ssl.SSLError, ConnectionError, asyncio.IncompleteReadError)):
                await talk(port, stranger)
            assert await talk(port, monitor) == ("AA", "T0001")

    looped(main())
    assert len(shelf.order) == 1


def test_a_sender_of_nothing_but_starts_is_let_go_and_delays_no_other() -> None:
    async def talk(server: MllpServer, peer: Callable[[], Awaitable[Peer]]) -> None:
        hostile, other = await peer(), await peer()
        hostile.writer.write(b"\x0b" * 200_000)
        await other.send(numbered(1))
        assert await other.verdict() == ("AA", "T0001")
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await hostile.answer()

    server = run(Shelf(), talk)
    assert server.counts.broken_frames > 1_000
