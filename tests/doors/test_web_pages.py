"""What the web door shows: sheets, prints, live lines that tell of every entry, and the built pages."""

from __future__ import annotations

import gzip
import json
import queue
import socket
import threading
import uuid
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from looped import looped
from served import Hand, opening, post, served, wait_for
from spiracle.case.facts import Facts
from spiracle.doors.clock import SetClock
from spiracle.doors.live import BEAT, HOLDS, Live
from spiracle.doors.log_store import LogStore, open_store

# ---- sheets


def test_the_sheets_of_a_case_and_the_day(web: httpx.Client, hand: Hand) -> None:
    post(web, hand, *opening(hand))
    view = web.get(f"/api/cases/{hand.case}").json()
    assert (view["case"], view["seq"], view["collar"]["name"]) == (hand.case, 2, "Test cat")
    assert view["collar"]["weight_kg"] == 4.2
    lines = web.get("/api/board").json()
    assert hand.case in {line["case"] for part in ("now", "to_come", "ended") for line in lines[part]}
    house = web.get("/api/hospital").json()
    assert {p["id"] for p in house["staff"]} == {"tec", "two", "vet", "stu"}
    rows = web.get("/api/formulary?species=cat").json()
    assert rows and all("-cat-" in row["row"] for row in rows)
    sheet = web.get("/api/emergency", params={"species": "cat", "weight": "4.2 kg"}).json()
    assert (sheet["weight_kg"], sheet["estimated"]) == (4.2, True), "a weight of which nothing is said is an estimate"


def test_pounds_become_kilograms_a_scale_could_show(web: httpx.Client) -> None:
    """12.4 lb are 5.62 kg (0.45359237 kg a pound, NIST SP 811)."""
    sheet = web.get("/api/emergency", params={"species": "dog", "weight": "12.4 lb", "method": "owner"}).json()
    assert sheet["weight_kg"] == 5.62


@pytest.mark.parametrize("sheet", ["record", "labels", "emergency", "plan"])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sheets_on_paper(web: httpx.Client, hand: Hand, sheet: str, paper: str) -> None:
    """ISO 216 A4 is 595 x 842 points; US Letter 612 x 792 (ANSI/ASME Y14.1)."""
    import io

    from pypdf import PdfReader

    post(web, hand, *opening(hand))
    said = web.get(f"/api/cases/{hand.case}/{sheet}.pdf", params={"paper": paper})
    assert (said.status_code, said.headers["content-type"]) == (200, "application/pdf"), said.text[:200]
    box = PdfReader(io.BytesIO(said.content)).pages[0].mediabox
    assert (round(box.width), round(box.height)) in ({"a4": [(595, 842)], "letter": [(612, 792)]}[paper])


def test_an_unknown_sheet_or_paper_is_refused(web: httpx.Client, hand: Hand) -> None:
    post(web, hand, *opening(hand))
    assert web.get(f"/api/cases/{hand.case}/bill.pdf").status_code == 404
    assert web.get(f"/api/cases/{hand.case}/record.pdf?paper=a3").json()["refused"]["field"] == "paper"


def test_a_replay_gives_what_the_screen_showed(web: httpx.Client, hand: Hand, log: LogStore, facts: Facts, clock: SetClock,
                                               tmp_path: Path) -> None:  # fmt: skip
    """D15: Another process that only knows the log shows the same sheet, byte for byte."""
    note = hand.entry("NoteWritten", text="calm")
    post(web, hand, *opening(hand), note, hand.entry("EntryStruck", target=note["id"], reason="wrong animal"))
    shown = web.get(f"/api/cases/{hand.case}").content
    again = open_store(f"sqlite:///{tmp_path / 'log.sqlite'}", clock)
    with served(again, facts, clock, tmp_path) as address:
        assert httpx.get(f"{address}/api/cases/{hand.case}").content == shown
    again.close()


def test_a_sheet_is_made_anew_when_time_or_the_log_moves(web: httpx.Client, hand: Hand, clock: SetClock) -> None:
    post(web, hand, *opening(hand))
    first = web.get(f"/api/cases/{hand.case}").json()
    clock.forward(timedelta(hours=1))
    assert web.get(f"/api/cases/{hand.case}").json()["as_of"] != first["as_of"]
    post(web, hand, Hand(hand.case, at=clock.now()).entry("NoteWritten", text="calm"))
    assert web.get(f"/api/cases/{hand.case}").json()["seq"] == 3


# ---- live


class Ear:
    """One page's live line, read by a thread of its own."""

    def __init__(self, address: str, path: str) -> None:
        self.said: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.lines: list[str] = []
        self._client = httpx.Client(timeout=20)
        self._address = address + path
        self.ended = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()
        wait_for(self.heard)

    def _listen(self) -> None:
        try:
            with self._client.stream("GET", self._address) as said:
                self.headers = said.headers
                for line in said.iter_lines():
                    self.lines.append(line)
        except httpx.TransportError:
            pass
        finally:
            self.ended.set()

    def heard(self) -> list[dict[str, Any]]:
        return [json.loads(line.removeprefix("data: ")) for line in tuple(self.lines) if line.startswith("data: ")]


def test_two_pages_on_one_case_hear_each_other_within_a_second(web: httpx.Client, hand: Hand) -> None:
    address = str(web.base_url).rstrip("/")
    post(web, hand, *opening(hand))
    pages = [Ear(address, f"/api/cases/{hand.case}/live") for _ in range(2)]
    day, other = Ear(address, "/api/board/live"), Ear(address, f"/api/cases/{uuid.uuid4()}/live")
    assert [p.heard()[0] for p in pages] == [{"case": hand.case, "seq": 2}] * 2, "first the present place"
    post(web, hand, hand.entry("NoteWritten", text="calm"))
    told = {"case": hand.case, "seq": 3}
    assert wait_for(lambda: all(told in p.heard() for p in (*pages, day))) < 1
    assert len(other.heard()) == 1, "a page of another case is left in peace"
    assert pages[0].headers["content-type"].startswith("text/event-stream")
    assert "content-encoding" not in pages[0].headers
    assert pages[0].lines[0] == "event: changed"


def test_two_server_processes_on_one_database_hear_each_other_within_a_second(
    stores: Callable[[], LogStore], facts: Facts, clock: SetClock, tmp_path: Path, hand: Hand
) -> None:
    with served(stores(), facts, clock, tmp_path) as here, served(stores(), facts, clock, tmp_path) as there:
        page = Ear(there, f"/api/cases/{hand.case}/live")
        with httpx.Client(base_url=here, timeout=20) as web:
            post(web, hand, *opening(hand))
        assert wait_for(lambda: {"case": hand.case, "seq": 2} in page.heard()) < 1
        assert httpx.get(f"{there}/api/cases/{hand.case}").json()["seq"] == 2
        with httpx.Client(base_url=there, timeout=20) as web:
            assert post(web, hand, hand.entry("NoteWritten", text="calm"))[0]["seq"] == 3


def test_a_page_that_cannot_keep_up_is_let_go(log: LogStore) -> None:
    async def run() -> list[bytes]:
        live, lines = Live(log), []
        stream = live.hear("c", b"first")
        lines.append(await anext(stream))
        for n in range(1, HOLDS + 2):
            live._tell("c", n)
        async for line in stream:
            lines.append(line)
        return lines

    assert looped(run()) == [b"first"], "the line ends, so that the page comes back and asks for the whole"


def test_a_quiet_line_beats(log: LogStore) -> None:
    async def run() -> list[bytes]:
        stream = Live(log, beat_s=0.01).hear("c", b"first")
        return [await anext(stream), await anext(stream), await anext(stream)]

    assert looped(run()) == [b"first", BEAT, BEAT]
    assert BEAT.startswith(b":"), "a comment, by the standard of server-sent events (WHATWG HTML, 9.2)"


def test_an_old_place_is_not_told_again(log: LogStore) -> None:
    async def run() -> list[bytes]:
        live = Live(log, beat_s=0.01)
        stream, lines = live.hear("c", b"first"), []
        lines.append(await anext(stream))
        for n in (2, 1, 2, 3):
            live._tell("c", n)
        lines += [await anext(stream) for _ in range(2)]
        return lines

    _, told, beat = looped(run())
    assert told.count(b"event: changed\n") == 2 and b'"seq":2' in told and b'"seq":3' in told, "together, each once"
    assert beat == BEAT


def test_a_stalled_page_does_not_hold_up_the_stop(
    log: LogStore, facts: Facts, clock: SetClock, tmp_path: Path, hand: Hand
) -> None:
    """A tablet that fell asleep with its line open: the server still stops (the fixture asserts it)."""
    with served(log, facts, clock, tmp_path) as address:
        host, port = address.removeprefix("http://").split(":")
        asleep = socket.create_connection((host, int(port)))
        asleep.sendall(f"GET /api/cases/{hand.case}/live HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        assert asleep.recv(15).startswith(b"HTTP/1.1 200")
    asleep.close()


# ---- pages


@pytest.fixture
def built(tmp_path: Path) -> Path:
    """A folder as the front-end build leaves it, and a file beside it that is nobody's business."""
    folder = tmp_path / "web"
    (folder / "assets").mkdir(parents=True)
    (folder / "index.html").write_text("<!doctype html><title>front</title>", "utf-8")
    (folder / "assets" / "app-1a2b.js").write_text("export const a = 1;\n" * 200, "utf-8")
    (folder / "sw.js").write_text("self.x = 1", "utf-8")
    (tmp_path / "secret.txt").write_text("secret", "utf-8")
    return folder


def test_pages_and_their_keeping(log: LogStore, facts: Facts, clock: SetClock, built: Path) -> None:
    with served(log, facts, clock, built) as address, httpx.Client(base_url=address) as web:
        front = web.get("/")
        assert "front" in front.text and front.headers["cache-control"] == "no-cache"
        assert web.get(f"/case/{uuid.uuid4()}/plan").text == front.text, "every place in the app is the front page"
        script = web.get("/assets/app-1a2b.js")
        assert "immutable" in script.headers["cache-control"]
        assert script.headers["content-type"].startswith("text/javascript")
        assert script.headers["content-encoding"] == "gzip"
        worker = web.get("/sw.js")
        assert (worker.headers["cache-control"], worker.headers["service-worker-allowed"]) == ("no-cache", "/")
        assert web.get("/assets/app-old.js").status_code == 404


@pytest.mark.parametrize("path", ["/../secret.txt", "/%2e%2e/secret.txt", "/assets/..%2f..%2fsecret.txt", "//etc/passwd",
                                  "/%00.js", "/assets/%2e%2e%2f%2e%2e%2fsecret.txt"])  # fmt: skip
def test_nothing_outside_the_pages_is_served(
    log: LogStore, facts: Facts, clock: SetClock, built: Path, path: str
) -> None:
    """Asked with a bare socket: a polite client would tidy the path up first."""
    with served(log, facts, clock, built) as address:
        host, port = address.removeprefix("http://").split(":")
        with socket.create_connection((host, int(port))) as line:
            line.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n".encode())
            said = b"".join(iter(lambda: line.recv(65536), b""))
    assert b"secret" not in said.split(b"\r\n\r\n", 1)[1].replace(b"secret.txt", b"")
    assert b"root:" not in said


def test_without_built_pages_it_says_so_with_the_cautions(web: httpx.Client) -> None:
    said = web.get("/")
    assert said.status_code == 200
    assert "not built" in said.text
    assert "veterinarian" in said.text, "the standing cautions are on every entrance"


def test_every_answer_carries_its_guards(web: httpx.Client) -> None:
    for address in ("/", "/api/hospital", "/api/nothing"):
        headers = web.get(address).headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy and "script-src 'self';" in policy and "object-src 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "server" not in headers
    assert web.get("/api/hospital").headers["cache-control"] == "no-store"


def test_a_long_answer_is_packed_where_the_browser_can_unpack(web: httpx.Client) -> None:
    with web.stream("GET", "/api/formulary?species=dog") as said:
        raw = b"".join(said.iter_raw())
    assert said.headers["content-encoding"] == "gzip"
    plain = web.get("/api/formulary?species=dog", headers={"accept-encoding": "identity"}).content
    assert gzip.decompress(raw) == plain
    assert len(raw) * 4 < len(plain)
