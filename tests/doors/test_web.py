"""The web door by real requests to a real server: what is let in, how it answers, and what is turned away."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import httpx
import pytest

from served import Hand, opening, post, stored
from spiracle.doors.clock import SetClock
from spiracle.doors.serve import need_loopback
from spiracle.refusals import NotAllowed

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
