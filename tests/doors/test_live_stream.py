"""From the monitor's socket to the page's stream and back out of the archive: a real server, HL7 over TCP, server-sent events.

The numbered tests are the conformance tests of the exchange notes; the messages are written by the writer that plays recordings.
"""

from __future__ import annotations

import asyncio
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest

from postgres import free_port
from served import _answers, wait_for
from spiracle.case import events as ev
from spiracle.doors.mllp import MllpServer
from spiracle.doors.monitor_state import Taken
from spiracle.doors.oru_write import OutNumber, OutWave, Sender, write
from spiracle.doors.serve import Server, config
from spiracle.doors.side_loop import SideLoop
from spiracle.doors.web import build_app
from spiracle.monitors.frames import framed
from spiracle.monitors.heard import Heard
from ward import Ward, a_ward, breath

ONE = "0123456789ABCDEF"
TWO = "0123456789ABCDE0"


@dataclass
class Line:
    """A monitor's connection: one message, one answer."""

    ward: Ward
    socket: socket.socket
    eui: str = ONE
    got: bytes = b""

    def message(self, id_: str, first: int = 0, n: int = 20, **more: Any) -> bytes:
        who = {k: more.pop(k) for k in ("patient_id", "place", "test") if k in more}
        now = self.ward.clock.now()
        wave = OutWave(term="co2-wave", unit="mm[Hg]", rate_hz=Decimal(100), scale=Decimal("0.1"),
                       samples=tuple(breath(i) for i in range(first, first + n)))  # fmt: skip
        return write(self.ward.facts.monitors, Sender(eui64=self.eui, **who), id_, now, more.pop("numbers", ()),
                     (wave,) if n else (), waves_at=now - timedelta(seconds=n / 100))  # fmt: skip

    def send(self, message: bytes) -> None:
        self.socket.sendall(framed(message))

    def answer(self) -> str:
        while b"\x1c\r" not in self.got:  # several answers may come in one piece
            part = self.socket.recv(4096)
            assert part, "the line was closed without an answer"
            self.got += part
        said, _, self.got = self.got.partition(b"\x1c\r")
        return next(x for x in said.decode().split("\r") if x.startswith("MSA")).split("|")[1]

    def say(self, id_: str, *args: Any, **more: Any) -> str:
        self.ward.clock.forward(timedelta(seconds=0.2))
        self.send(self.message(id_, *args, **more))
        return self.answer()


class House:
    """The server with both its doors, and what pages hear."""

    def __init__(self, ward: Ward, base: str, mllp: int, stack: ExitStack) -> None:
        self.ward, self.base, self.mllp, self.stack = ward, base, mllp, stack

    def monitor(self, eui: str = ONE) -> Line:
        link = self.stack.enter_context(socket.create_connection(("127.0.0.1", self.mllp), timeout=20))
        return Line(self.ward, link, eui)

    def page(self, path: str) -> Page:
        return self.stack.enter_context(Page.open(self.base + path))


class Page:
    """A page's stream, read by a thread as it comes."""

    def __init__(self, response: httpx.Response) -> None:
        self.said: list[tuple[str, dict[str, Any]]] = []
        self._lines = response.iter_lines()
        self.ended = threading.Event()
        threading.Thread(target=self._read, daemon=True).start()

    @classmethod
    @contextmanager
    def open(cls, url: str) -> Iterator[Page]:
        with httpx.Client(timeout=30) as client, client.stream("GET", url) as response:
            yield cls(response)

    def _read(self) -> None:
        name = ""
        try:
            for line in self._lines:
                if line.startswith("event: "):
                    name = line.removeprefix("event: ")
                elif line.startswith("data: "):
                    self.said.append((name, json.loads(line.removeprefix("data: "))))
        except (httpx.TransportError, httpx.StreamError, RuntimeError):
            pass
        finally:
            self.ended.set()

    def all(self, name: str) -> list[dict[str, Any]]:
        return [said for kind, said in tuple(self.said) if kind == name]

    @property
    def state(self) -> dict[str, Any]:
        found = self.all("live")
        return found[-1] if found else {}

    @property
    def samples(self) -> list[int | None]:
        return [x for chunk in self.all("wave") for x in chunk["samples"]]


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    with a_ward(tmp_path) as made:
        yield made


@pytest.fixture
def house_(ward: Ward, tmp_path: Path) -> Iterator[House]:
    app = build_app(ward.store, ward.facts, ward.clock, pages=tmp_path / "none", hub=ward.hub, archive=ward.archive)
    port, bound = free_port(), []
    server = Server(config(app, port=port))

    def take(heard: Heard, at: datetime) -> Taken:
        return ward.hub.take(heard, at)  # the ward's hub of the moment: it may have begun anew

    door = MllpServer(ward.facts.monitors, take, clock=ward.clock.now)

    async def listen(stop: asyncio.Event) -> None:
        bound.append(await door.start(port=0))
        await stop.wait()
        await door.stop()

    side = SideLoop("mllp", listen)
    side.start()
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    base = f"http://127.0.0.1:{port}"
    wait_for(lambda: bound and _answers(base))
    with ExitStack() as stack:
        yield House(ward, base, bound[0], stack)
    assert side.stop()
    server.should_exit = True
    thread.join(10)
    assert not thread.is_alive(), "the server did not stop"


def test_what_a_monitor_sends_is_what_the_page_gets_and_what_is_kept(house_: House) -> None:
    """To the sample: sent, received, kept."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    page, monitor = house_.page(f"/api/cases/{case}/live"), house_.monitor()
    numbers = (
        OutNumber(term="spo2", value="97", unit="%"),
        OutNumber(term="heart-rate", value="168", unit="/min", limits="90-240"),
    )
    wait_for(lambda: page.state)
    assert [monitor.say(str(n), n * 20, numbers=numbers) for n in range(60)] == ["AA"] * 60
    sent = [breath(i) for i in range(1200)]
    wait_for(lambda: len(page.samples) == 1200)
    assert page.samples == sent == ward.kept(case)
    assert [c["first"] for c in page.all("wave")] == list(range(0, 1200, 20))
    wait_for(lambda: len(page.state.get("numbers", ())) == 2)
    heart, spo2 = page.state["numbers"]
    assert (heart["text"], heart["limits"], spo2["value"]) == ("168", "90-240", 97)
    breaths = page.all("breath")
    assert [b["etco2"] for b in breaths] == [40.0] * len(breaths) and len(breaths) >= 2
    assert page.all("changed"), "the case's own line goes on beside it"


def test_3_and_13_repeats_over_the_wire(house_: House) -> None:
    """The same control id five times: one set of values, five AA."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    monitor = house_.monitor()
    message = monitor.message("T0001")
    for _ in range(5):
        monitor.send(message)
    assert [monitor.answer() for _ in range(5)] == ["AA"] * 5
    assert len(ward.kept(case)) == 20


def test_13_killed_after_it_was_kept_and_before_it_was_answered(house_: House) -> None:
    """The line breaks before the answer; the hub begins anew; the sender repeats: one copy, and an answer."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    broken = house_.monitor()
    message = broken.message("T0001")
    broken.send(message)
    wait_for(lambda: len(ward.kept(case)) == 20)
    broken.socket.close()
    ward.restart()
    again = house_.monitor()
    again.send(message)
    assert again.answer() == "AA"
    assert len(ward.kept(case)) == 20


def test_13_killed_before_it_was_kept(house_: House) -> None:
    """Half a message, and the line is gone: nothing is kept, nothing was answered; the whole of it comes again and is taken."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    broken = house_.monitor()
    message = broken.message("T0001")
    broken.socket.sendall(framed(message)[:-40])
    broken.socket.close()
    again = house_.monitor()
    again.send(message)
    assert again.answer() == "AA"
    assert len(ward.kept(case)) == 20


def test_d7_swapped_monitors_are_held_back(house_: House) -> None:
    """D7: two rooms whose monitors were exchanged, each still naming its own patient: neither page shows the other's values."""
    ward = house_.ward
    rex, bijou = ward.patient(), ward.patient("Bijou", "H-7")
    ward.pair(rex, TWO, name="Monitor 2")
    ward.pair(bijou, ONE, name="Monitor 1")
    pages = [house_.page(f"/api/cases/{c}/live") for c in (rex, bijou)]
    for eui, patient, value in ((ONE, "H-6", "97"), (TWO, "H-7", "82")):
        numbers = (OutNumber(term="spo2", value=value, unit="%"),)
        assert house_.monitor(eui).say("1", patient_id=patient, numbers=numbers) == "AA"
    wait_for(lambda: all(p.state.get("held_back") for p in pages))
    assert "H-7" in pages[0].state["held_back"] and "H-6" in pages[1].state["held_back"]
    assert all(p.samples == [] and not any(s["numbers"] for s in p.all("live")) for p in pages)
    assert ward.kept(rex) == ward.kept(bijou) == []


def test_10_test_traffic_is_turned_away_from_a_live_case(house_: House) -> None:
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    assert house_.monitor().say("1", test=True) == "AE"
    assert ward.archive.cases() == ()


def test_11_a_correction_keeps_the_first_value(house_: House) -> None:
    """OBX-11 C: the panel shows the corrected value, the archive has both."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    page, monitor = house_.page(f"/api/cases/{case}/live"), house_.monitor()
    at = ward.clock.now()
    for n, (value, status) in enumerate((("92", "F"), ("95", "C"))):
        monitor.say(str(n), n=0, numbers=(OutNumber(term="spo2", value=value, unit="%", status=status, at=at),))
    wait_for(lambda: [x["text"] for x in page.state.get("numbers", ())] == ["95"])
    kept = ward.archive.numbers(case, at - timedelta(hours=1), at + timedelta(hours=1))
    assert [(str(n.value), n.flags[0]) for n in kept] == [("92", "validated"), ("95", "corrected")]


def test_a_hostile_sender_beside_a_good_one(house_: House) -> None:
    """Noise, half a frame and nothing more: the other room's page gets every sample."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    page = house_.page(f"/api/cases/{case}/live")
    bad = [house_.monitor(TWO) for _ in range(8)]
    for n, line in enumerate(bad):
        line.socket.sendall(b"\x0bMSH|^~\\&|" if n % 2 else bytes(range(256)) * 200)
    monitor = house_.monitor()
    assert [monitor.say(str(n), n * 20) for n in range(20)] == ["AA"] * 20
    wait_for(lambda: len(page.samples) == 400)
    assert page.samples == [breath(i) for i in range(400)]


def test_a_gap_stays_a_gap(house_: House) -> None:
    """D12: two seconds that never came: the count jumps by two hundred, and nothing is drawn or kept in between."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    page, monitor = house_.page(f"/api/cases/{case}/live"), house_.monitor()
    for n in range(10):
        monitor.say(f"a{n}", n * 20)
    ward.clock.forward(timedelta(seconds=2))
    for n in range(20, 30):
        monitor.say(f"b{n}", n * 20)
    wait_for(lambda: len(page.samples) == 400)
    firsts = [c["first"] for c in page.all("wave")]
    assert firsts == [*range(0, 200, 20), *range(400, 600, 20)]
    assert ward.kept(case) == [breath(i) for i in (*range(200), *range(400, 600))]
    runs = ward.archive.read(case, "co2", ward.clock.now() - timedelta(hours=1), ward.clock.now())
    assert [len(r.samples) for r in runs] == [200, 200] and runs[1].broke == "gap"


def test_monitors_are_listed_for_the_one_who_pairs(house_: House) -> None:
    assert (
        house_.monitor().say(
            "1", place=("OR", "", "3"), numbers=(OutNumber(term="heart-rate", value="88", unit="/min"),)
        )
        == "AA"
    )
    wait_for(lambda: httpx.get(house_.base + "/api/monitors").json()[0]["showing"])
    (found,) = httpx.get(house_.base + "/api/monitors").json()
    assert (found["monitor"], found["showing"], found["taken_by"]) == (ONE, "HR 88", "")


# ---- replay


def test_a_case_plays_again(house_: House) -> None:
    """Sixty times as fast: every sample, the breaths and the numbers, and never as now."""
    ward = house_.ward
    case = ward.patient()
    ward.pair(case, ONE)
    start, monitor = ward.clock.now(), house_.monitor()
    for n in range(50):
        monitor.say(str(n), n * 20, numbers=(OutNumber(term="spo2", value="97", unit="%"),))
    end = ward.clock.now()
    ward.clock.forward(timedelta(hours=3))
    ward.tell(case, ev.MonitorUnpaired, monitor=ONE, reason="case over")
    page = house_.page(f"/api/cases/{case}/replay?from={start.isoformat().replace('+', '%2B')}&speed=60")
    wait_for(lambda: len(page.samples) == 1000)
    assert page.samples == [breath(i) for i in range(1000)]
    wait_for(lambda: page.state["replay_at"] == page.state["replay_until"])
    state = page.state
    assert (state["link"], state["replay_speed"]) == ("replay", 60)
    assert state["numbers"][0]["text"] == "97" and "nothing here is now" in state["link_text"]
    assert state["as_of"][:19] == end.isoformat()[:19], "by the clock of then"
    assert [b["etco2"] for b in page.all("breath")] == [40.0, 40.0]


@pytest.mark.parametrize(
    ("asked", "status", "field"),
    [("", 422, "from"), ("from=yesterday", 422, "from"), ("from=2026-05-04T09:00:00", 422, "from"),
     ("from=2026-05-04T08:00:00Z&speed=61", 422, "speed"), ("from=2026-05-04T08:00:00Z&speed=0", 422, "speed"),
     ("from=2026-05-04T08:00:00Z&speed=fast", 422, "speed"), ("from=2026-05-04T08:00:00Z", 404, "replay")],
)  # fmt: skip
def test_what_cannot_be_played_is_refused_by_name(house_: House, asked: str, status: int, field: str) -> None:
    case = house_.ward.patient()
    found = httpx.get(f"{house_.base}/api/cases/{case}/replay?{asked}")
    assert (found.status_code, found.json()["refused"]["field"]) == (status, field)
