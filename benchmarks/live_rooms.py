"""Fifty rooms at once: each monitor sends 100 Hz of CO2 and of plethysmogram and a dozen numbers a second as HL7 over TCP into one
server process that keeps all of it on disk; fifty pages listen. From the moment the last sample of a packet was due at the sensor to
the moment it stood in the page's stream; and what was sent, received and kept is counted to the sample.

`python benchmarks/live_rooms.py [ROOMS] [SECONDS] [HZ] [PACKET_MS]`
"""

from __future__ import annotations

import asyncio
import gc
import json
import math
import random
import re
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from measuring import Result
from spiracle.doors.demo import hospital_path
from spiracle.doors.oru_write import OutNumber, OutWave, Sender, write
from spiracle.doors.tables import load_facts
from spiracle.doors.waves.archive import open_archive
from spiracle.monitors.frames import framed

NUMBERS = (("heart-rate", "96", "/min"), ("spo2", "97", "%"), ("pulse-oximeter", "96", "/min"), ("resp-rate-co2", "12", "/min"),
           ("co2-et", "41", "mm[Hg]"), ("co2-insp", "0", "mm[Hg]"), ("temp-esoph", "37.2", "Cel"), ("nibp-sys", "110", "mm[Hg]"),
           ("nibp-mean", "78", "mm[Hg]"), ("nibp-dia", "60", "mm[Hg]"), ("pulse-cuff", "95", "/min"), ("temp", "37.0", "Cel"),
           )  # fmt: skip
WARM_S = 5.0


@dataclass
class Load:
    """One room: its monitor and its page."""

    n: int
    case: str = field(default_factory=lambda: str(uuid.uuid4()))
    sent: int = 0
    acked: int = 0
    received: int = 0
    due: list[tuple[int, float]] = field(default_factory=list)  # samples sent so far, and when the last of them was due
    late: list[float] = field(default_factory=list)
    refused: int = 0

    @property
    def monitor(self) -> str:
        return f"{0xACDE480000000000 + self.n:016X}"


def post(base: str, case: str, *events: dict[str, object]) -> None:
    body = json.dumps({"events": events}).encode()
    request = urllib.request.Request(f"{base}/api/cases/{case}/events", body, {"Content-Type": "application/json"})  # noqa: S310
    answers = json.loads(urllib.request.urlopen(request).read())["answers"]  # noqa: S310
    assert all(a["written"] for a in answers), answers


def entry(case: str, event: str, **fields: object) -> dict[str, object]:
    now = datetime.now(UTC).isoformat()
    return {"event": event, "id": str(uuid.uuid4()), "case": case, "happened_at": now, "recorded_at": now, "by": "nkw", "device": "bench",
            **fields}  # fmt: skip


def open_rooms(base: str, rooms: list[Load]) -> None:
    for room in rooms:
        post(base, room.case, entry(room.case, "CaseOpened", species="dog", name=f"Bench {room.n}", practice=True),
             entry(room.case, "MonitorPaired", monitor=room.monitor, name=f"Monitor {room.n}", seen="alone in the room"))  # fmt: skip


async def monitor(room: Load, port: int, seconds: float, hz: int, packet_s: float, tables: object) -> None:
    """Sends in turn, as a monitor does: the next message after the answer to the last one, and what is late goes at once."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    sender, per = Sender(eui64=room.monitor, place=("OR", "", str(room.n))), round(hz * packet_s)
    co2 = [round(410 * max(0.0, math.sin(i / hz * 1.2)) ** 0.3) for i in range(20 * hz)]
    pleth = [round(2000 + 1000 * math.sin(i / hz * 10)) for i in range(20 * hz)]
    began, at, second = time.perf_counter() + random.random() * packet_s, 0, -1
    zero = datetime.now(UTC)
    while at < seconds * hz:
        due = began + (at + per) / hz
        await asyncio.sleep(max(0.0, due - time.perf_counter()))
        span = [i % (20 * hz) for i in range(at, at + per)]
        waves = (
            OutWave(
                term="co2-wave",
                unit="mm[Hg]",
                rate_hz=Decimal(hz),
                samples=tuple(co2[i] for i in span),
                scale=Decimal("0.1"),
            ),
            OutWave(term="pleth-wave", unit="1", rate_hz=Decimal(hz), samples=tuple(pleth[i] for i in span)),
        )
        now = (at + per) // hz
        numbers = tuple(OutNumber(term=t, value=v, unit=u) for t, v, u in NUMBERS) if now != second else ()
        second, start = now, zero + timedelta(seconds=at / hz)
        at += per
        message = write(
            tables, sender, f"{room.n}-{at}", start + timedelta(seconds=per / hz), numbers, waves, waves_at=start
        )  # type: ignore[arg-type]
        room.sent += per
        room.due.append((room.sent, due))
        writer.write(framed(message))
        await reader.readuntil(b"\x1c\r")
        room.acked += per
    writer.close()


async def page(room: Load, port: int, hz: int, warm: float) -> None:
    """Counts the CO2 samples that come down the page's stream, and how long after their moment."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1 << 22)
    writer.write(f"GET /api/cases/{room.case}/live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    seen = 0
    while True:
        line = await reader.readline()
        if not line:
            return
        if not line.startswith(b'data: {"wave":"co2"'):
            continue
        now = time.perf_counter()
        room.received += line.count(b",", line.index(b"[")) + 1
        while seen < len(room.due) and room.due[seen][0] <= room.received:
            if room.due[seen][0] > warm * hz:
                room.late.append(now - room.due[seen][1])
            seen += 1


async def drive(
    rooms: list[Load], web: int, mllp: int, seconds: float, hz: int, packet_s: float, tables: object
) -> None:
    pages = [asyncio.create_task(page(r, web, hz, WARM_S)) for r in rooms]
    await asyncio.sleep(1)
    await asyncio.gather(*(monitor(r, mllp, seconds, hz, packet_s, tables) for r in rooms))
    for _ in range(100):
        if all(r.received >= r.sent for r in rooms):
            break
        await asyncio.sleep(0.05)
    for p in pages:
        p.cancel()


@dataclass(frozen=True)
class Driven:
    """What came of it. Times in milliseconds."""

    p50: float
    p99: float
    most: float
    sent: int
    acked: int
    received: int
    kept: int
    server_s: float
    seconds: float


def driven(count: int = 50, seconds: float = 60, hz: int = 100, packet_s: float = 0.15) -> Driven:
    tables = load_facts(hospital_path()).monitors
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/bench.sqlite"
        command = [sys.executable, "-m", "spiracle.doors.cli", "serve", "--database", url, "--hospital", str(hospital_path()),
                   "--port", "0", "--mllp", "127.0.0.1:0"]  # fmt: skip
        server = subprocess.Popen([*command[:-3], str(free_port()), *command[-2:]], stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            mllp = int(re.search(r":(\d+)\.", server.stdout.readline())[1])  # type: ignore[index]
            web = int(re.search(r":(\d+)/", server.stdout.readline())[1])  # type: ignore[index]
            base = f"http://127.0.0.1:{web}"
            wait_for(base)
            rooms = [Load(n) for n in range(count)]
            open_rooms(base, rooms)
            gc.disable()
            before = cpu_s(server.pid)
            asyncio.run(drive(rooms, web, mllp, seconds, hz, packet_s, tables))
            used = cpu_s(server.pid) - before
        finally:
            server.terminate()
            server.wait()
            gc.enable()
        archive = open_archive(url, background=False)
        kept = sum(h.samples for r in rooms for h in archive.waves(r.case) if h.wave == "co2")
        archive.close()
    late = sorted(x for r in rooms for x in r.late)
    pick = lambda q: 1000 * late[min(int(q * len(late)), len(late) - 1)]  # noqa: E731
    total = lambda name: sum(getattr(r, name) for r in rooms)  # noqa: E731
    return Driven(
        pick(0.5), pick(0.99), pick(1.0), total("sent"), total("acked"), total("received"), kept, used, seconds
    )


def free_port() -> int:
    import socket

    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def wait_for(base: str) -> None:
    for _ in range(200):
        try:
            urllib.request.urlopen(base + "/api/monitors").read()  # noqa: S310
        except OSError:
            time.sleep(0.05)
        else:
            return


def cpu_s(pid: int) -> float:
    parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(parts[11]) + int(parts[12])) / 100


def results() -> list[Result]:
    d = driven()
    counts = f"{d.sent:,} CO2 samples sent, {d.received:,} received, {d.kept:,} kept"
    return [
        Result(
            "50 rooms, sensor to page, p99",
            d.p99,
            "ms",
            goal=300,
            note=f"median {d.p50:.0f} ms, most {d.most:.0f} ms; {counts}",
        ),
        Result("50 rooms, share of one core", 100 * d.server_s / d.seconds, "%"),
    ]


if __name__ == "__main__":
    args = [float(a) for a in sys.argv[1:]]
    found = driven(int(args[0]) if args else 50, args[1] if len(args) > 1 else 60, int(args[2]) if len(args) > 2 else 100,
                   args[3] / 1000 if len(args) > 3 else 0.15)  # fmt: skip
    print(found)
