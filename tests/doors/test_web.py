"""The web door by real requests to a real server: entries in, sheets out, live lines, and what is turned away."""

from __future__ import annotations

import asyncio
import gzip
import json
import queue
import socket
import threading
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from conftest import NOW, Hand, served, wait_for

from spiracle.case.facts import Facts
from spiracle.doors.clock import SetClock
from spiracle.doors.live import BEAT, HOLDS, Live
from spiracle.doors.log_store import LogStore, open_store
from spiracle.doors.serve import need_loopback
from spiracle.refusals import NotAllowed


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOW)


@pytest.fixture
def log(tmp_path: Path, clock: SetClock) -> Iterator[LogStore]:
    store = open_store(f"sqlite:///{tmp_path / 'log.sqlite'}", clock)
    yield store
    store.close()


@pytest.fixture
def web(log: LogStore, facts: Facts, clock: SetClock, tmp_path: Path) -> Iterator[httpx.Client]:
    with (
        served(log, facts, clock, tmp_path / "no pages") as address,
        httpx.Client(base_url=address, timeout=20) as client,
    ):
        yield client


@pytest.fixture
def hand() -> Hand:
    return Hand(str(uuid.uuid4()))


def post(web: httpx.Client, hand: Hand, *events: dict[str, Any], to: str = "events") -> list[dict[str, Any]]:
    said = web.post(f"/api/cases/{hand.case}/{to}", json={"events": list(events)})
    assert said.status_code == 200, said.text
    answers: list[dict[str, Any]] = said.json()["answers"]
    assert len(answers) == len(events)
    return answers


def opening(hand: Hand) -> list[dict[str, Any]]:
    return [hand.entry("CaseOpened", species="cat", name="Test cat"),
            hand.entry("Weighed", weight_kg=4.2, method="scale", confirmed=True)]  # fmt: skip


def stored(web: httpx.Client, hand: Hand) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = web.get(f"/api/cases/{hand.case}/log").json()
    return found


# ---- entries


def test_entries_are_written_in_order_and_answer_with_their_place(web: httpx.Client, hand: Hand) -> None:
    first, second = opening(hand)
    answers = post(web, hand, first, second)
    assert [(a["id"], a["written"], a["seq"], a["refused"]) for a in answers] == [
        (first["id"], True, 1, None),
        (second["id"], True, 2, None),
    ]
    assert [(n["seq"], n["event"]["event"], n["event"]["id"]) for n in stored(web, hand)] == [
        (1, "CaseOpened", first["id"]),
        (2, "Weighed", second["id"]),
    ]
    assert stored(web, hand)[1]["arrived_at"].startswith("2026-05-04T09:00:00")
    assert [n["seq"] for n in web.get(f"/api/cases/{hand.case}/log?after=1").json()] == [2]


def test_a_repeat_answers_as_the_first_time(web: httpx.Client, hand: Hand, clock: SetClock) -> None:
    """D10: Even when the entry would no longer be let in: it was, and the tablet only lost the answer."""
    events = [*opening(hand), hand.entry("RecordSigned", role="technician"),
              hand.entry("RecordSigned", role="veterinarian", by="vet")]  # fmt: skip
    first = post(web, hand, *events)
    clock.forward(timedelta(days=9))
    assert post(web, hand, *events) == first
    assert len(stored(web, hand)) == 4


def test_an_id_that_stands_for_something_else_is_refused(web: httpx.Client, hand: Hand) -> None:
    note = hand.entry("NoteWritten", text="calm")
    post(web, hand, *opening(hand), note)
    (answer,) = post(web, hand, {**note, "text": "wild"})
    assert (answer["written"], answer["refused"]["name"]) == (False, "IdTaken")
    other = Hand(str(uuid.uuid4()))
    answers = post(web, other, *opening(other), {**note, "case": other.case})
    assert answers[2]["refused"]["name"] == "IdTaken"
    (asked,) = post(web, other, {**note, "case": other.case}, to="would")
    assert asked["refused"]["name"] == "IdTaken", "what would be answered is what is answered"


def test_a_refusal_keeps_nothing_and_stops_nothing(web: httpx.Client, hand: Hand) -> None:
    note = hand.entry("NoteWritten", text="calm")
    heavy = hand.entry("Weighed", weight_kg=40, method="scale")
    answers = post(web, hand, *opening(hand), heavy, note)
    assert [a["written"] for a in answers] == [True, True, False, True]
    refused = answers[2]["refused"]
    assert (refused["name"], refused["field"]) == ("OutOfRange", "weight")
    assert refused["says"] and refused["accepts"]
    assert [n["event"]["id"] for n in stored(web, hand)] == [answers[n]["id"] for n in (0, 1, 3)]


@pytest.mark.parametrize(
    ("change", "name", "field"),
    [
        ({"event": "Weighted"}, "Unknown", "event"),
        ({"event": None}, "NotOneOf", "event"),
        ({"weight_kg": "NaN"}, "NotAQuantity", "weight"),
        ({"weight_kg": "4,2"}, "NotAQuantity", "weight"),
        ({"weight_kg": True}, "NotAQuantity", "weight"),
        ({"weight_kg": "1_0"}, "NotAQuantity", "weight"),
        ({"weight_kg": " 5"}, "NotAQuantity", "weight"),
        ({"weight_kg": "٤"}, "NotAQuantity", "weight"),
        ({"weight_kg": "4e0"}, "NotAQuantity", "weight"),
        ({"weight_kg": None}, "NotAQuantity", "weight"),
        ({"weight": 4.2}, "Unknown", "weight"),
        ({"method": "guess"}, "NotOneOf", "method"),
        ({"happened_at": "2026-05-04T09:00:00"}, "Missing", "happened at"),
        ({"happened_at": "nine"}, "NotOneOf", "happened at"),
        ({"case": str(uuid.uuid4())}, "Contradiction", "case"),
        ({"by": "stranger"}, "Unknown", "hand"),
        ({"id": "7"}, "Unknown", "id"),
    ],
)
def test_a_broken_entry_is_refused_by_name_and_alone(
    web: httpx.Client, hand: Hand, change: dict[str, Any], name: str, field: str
) -> None:
    weight = {**hand.entry("Weighed", weight_kg=4.2, method="scale", confirmed=True), **change}
    answers = post(web, hand, hand.entry("CaseOpened", species="cat"), weight, hand.entry("NoteWritten", text="calm"))
    assert [a["written"] for a in answers] == [True, False, True]
    assert (answers[1]["refused"]["name"], answers[1]["refused"]["field"]) == (name, field)
    assert answers[1]["id"] == weight["id"]


@pytest.mark.parametrize("left_out", ["species", "id", "happened_at", "by"])
def test_a_field_that_is_missing_is_named(web: httpx.Client, hand: Hand, left_out: str) -> None:
    entry = hand.entry("CaseOpened", species="cat")
    del entry[left_out]
    (answer,) = post(web, hand, entry)
    assert answer["refused"]["name"] == "Missing"
    assert answer["refused"]["field"] == left_out.replace("_", " ")
    assert stored(web, hand) == []


def test_would_answers_and_writes_nothing(web: httpx.Client, hand: Hand) -> None:
    """Each entry is judged as if those before it stood; no refusal and not written means: it would be accepted."""
    good = post(web, hand, *opening(hand), hand.entry("Weighed", weight_kg=18.5, method="scale"), to="would")
    assert [(a["written"], a["refused"] and a["refused"]["name"]) for a in good] == [
        (False, None),
        (False, None),
        (False, "OutOfRange"),
    ]
    assert stored(web, hand) == []


def test_many_hands_on_one_case_at_once_lose_nothing(web: httpx.Client, hand: Hand) -> None:
    """D10: each entry once."""
    post(web, hand, *opening(hand))
    notes = [hand.entry("NoteWritten", text=f"note {n}") for n in range(60)]
    with ThreadPoolExecutor(8) as hands:
        answers = list(hands.map(lambda note: post(web, hand, note)[0], notes))
    assert sorted(a["seq"] for a in answers) == list(range(3, 63))
    assert {n["event"]["id"] for n in stored(web, hand)[2:]} == {n["id"] for n in notes}


# ---- turned away


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b'{"events": 1}', b'{"events": [], "more": 1}', b'{"events": [NaN]}', b"\xff\xfe", b"null"],
)
def test_a_body_that_is_not_a_post_is_refused_in_the_one_shape(web: httpx.Client, hand: Hand, body: bytes) -> None:
    said = web.post(f"/api/cases/{hand.case}/events", content=body, headers={"content-type": "application/json"})
    assert said.status_code == 400
    assert set(said.json()) == {"refused"}
    assert set(said.json()["refused"]) == {"name", "field", "says", "accepts", "use"}


def test_a_body_over_a_megabyte_is_not_read_to_its_end(web: httpx.Client, hand: Hand) -> None:
    """Told or untold: a length in the header, or parts without one."""

    def parts() -> Iterator[bytes]:
        for _ in range(40):
            yield b" " * 100_000

    kind = {"content-type": "application/json"}
    said = web.post(f"/api/cases/{hand.case}/events", content=b" " * 1_000_001, headers=kind)
    assert (said.status_code, said.json()["refused"]["field"]) == (413, "body")
    try:
        said = web.post(f"/api/cases/{hand.case}/events", content=parts(), headers=kind)
    except httpx.WriteError:
        return  # the server hung up while we were still sending
    assert said.status_code == 413


def test_brackets_without_end_are_turned_away(web: httpx.Client, hand: Hand) -> None:
    deep = b'{"events": [' + b"[" * 50_000 + b"]" * 50_000 + b"]}"
    said = web.post(f"/api/cases/{hand.case}/events", content=deep, headers={"content-type": "application/json"})
    assert said.status_code in {200, 400}
    assert said.status_code == 400 or said.json()["answers"][0]["written"] is False
    assert post(web, hand, *opening(hand))[0]["written"]


def test_too_many_entries_at_once_are_refused(web: httpx.Client, hand: Hand) -> None:
    said = web.post(f"/api/cases/{hand.case}/events", json={"events": [{}] * 501})
    assert (said.status_code, said.json()["refused"]["name"]) == (413, "OutOfRange")


def test_a_page_from_elsewhere_cannot_write(web: httpx.Client, hand: Hand) -> None:
    """D32: Not by a plain form (no JSON type), not from another origin, not by another name for this machine."""
    address, body = f"/api/cases/{hand.case}/events", json.dumps({"events": opening(hand)})
    assert web.post(address, content=body, headers={"content-type": "text/plain"}).status_code == 415
    kind = {"content-type": "application/json"}
    assert web.post(address, content=body, headers={**kind, "origin": "http://elsewhere.example"}).status_code == 403
    assert web.post(address, content=body, headers={**kind, "host": "elsewhere.example"}).status_code == 403
    assert stored(web, hand) == []
    own = str(web.base_url).rstrip("/")
    assert web.post(address, content=body, headers={**kind, "origin": own}).status_code == 200


@pytest.mark.parametrize(
    ("address", "status", "name"),
    [
        ("/api/nothing", 404, "Unknown"),
        ("/api/cases/7", 404, "Unknown"),
        (f"/api/cases/{uuid.UUID(int=7)}", 404, "Unknown"),
        (f"/api/cases/{uuid.UUID(int=7)}/record.pdf", 404, "Unknown"),
        (f"/api/cases/{uuid.UUID(int=7)}/log?after=x", 422, "NotAQuantity"),
        ("/api/formulary", 422, "Missing"),
        ("/api/formulary?species=horse", 422, "Unknown"),
        ("/api/emergency?species=dog", 422, "Missing"),
        ("/api/emergency?species=dog&weight=12", 422, "NotAQuantity"),
        ("/api/emergency?species=dog&weight=1,5+kg", 422, "NotAQuantity"),
        ("/api/emergency?species=cat&weight=40+kg", 422, "OutOfRange"),
        ("/api/emergency?species=cat&weight=4+kg&method=guess", 422, "NotOneOf"),
        ("/nothing.js", 404, "Unknown"),
    ],
)
def test_what_is_not_there_is_refused_by_name(web: httpx.Client, address: str, status: int, name: str) -> None:
    said = web.get(address)
    assert (said.status_code, said.json()["refused"]["name"]) == (status, name), said.text


def test_another_method_is_refused_and_the_right_one_named(web: httpx.Client, hand: Hand) -> None:
    said = web.get(f"/api/cases/{hand.case}/events")
    assert said.status_code == 404 or "POST" in said.headers["allow"]
    said = web.delete("/api/board")
    assert said.status_code in {404, 405}
    assert "refused" in said.json()


def test_only_this_machine_unless_the_network_is_trusted() -> None:
    """D32: there are no accounts yet."""
    for host in ("127.0.0.1", "localhost", "::1"):
        need_loopback(host, False)
    for host in ("0.0.0.0", "192.168.1.5", "::", "clinic.example"):  # noqa: S104
        with pytest.raises(NotAllowed, match="trust-network"):
            need_loopback(host, False)
        need_loopback(host, True)


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

    assert asyncio.run(run()) == [b"first"], "the line ends, so that the page comes back and asks for the whole"


def test_a_quiet_line_beats(log: LogStore) -> None:
    async def run() -> list[bytes]:
        stream = Live(log, beat_s=0.01).hear("c", b"first")
        return [await anext(stream), await anext(stream), await anext(stream)]

    assert asyncio.run(run()) == [b"first", BEAT, BEAT]
    assert BEAT.startswith(b":"), "a comment, by the standard of server-sent events (WHATWG HTML, 9.2)"


def test_an_old_place_is_not_told_again(log: LogStore) -> None:
    async def run() -> list[bytes]:
        live = Live(log, beat_s=0.01)
        stream, lines = live.hear("c", b"first"), []
        lines.append(await anext(stream))
        for n in (2, 1, 2, 3):
            live._tell("c", n)
        lines += [await anext(stream) for _ in range(3)]
        return lines

    assert [line[:30] for line in asyncio.run(run())][1:] == [b'event: changed\ndata: {"case":"c'[:30]] * 2 + [BEAT]


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
