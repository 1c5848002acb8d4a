"""Protocols over HTTP: written, approved, heard of, and a plan started from one, on either database."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from served import Hand, opening, post, served, stored
from spiracle.case.facts import Facts
from spiracle.case.ledger import LEDGER
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import LogStore

METHADONE = {"drug": "methadone", "purpose": "premedication", "route": "IM", "low": 0.2, "high": 0.2, "unit": "mg/kg"}
ALFAXALONE = {"drug": "alfaxalone", "purpose": "induction", "route": "IV", "low": 2, "high": 5, "unit": "mg/kg"}
CAT: dict[str, Any] = {
    "protocol": "cat-plain",
    "title": "Plain cat",
    "species": "cat",
    "lines": [METHADONE, ALFAXALONE],
}


@pytest.fixture
def web(store: LogStore, facts: Facts, clock: SetClock, tmp_path: Path) -> Iterator[httpx.Client]:
    """The same app over SQLite and over PostgreSQL."""
    with (
        served(store, facts, clock, tmp_path / "no pages") as address,
        httpx.Client(base_url=address, timeout=20) as client,
    ):
        yield client


@pytest.fixture
def house() -> Hand:
    return Hand(LEDGER)


def written(web: httpx.Client, house: Hand, version: int = 1, by: str = "tec", **more: Any) -> dict[str, Any]:
    return post(web, house, house.entry("ProtocolWritten", by=by, version=version, **{**CAT, **more}))[0]


def approved(web: httpx.Client, house: Hand, version: int = 1, by: str = "vet") -> dict[str, Any]:
    return post(web, house, house.entry("ProtocolApproved", protocol="cat-plain", version=version, by=by))[0]


def test_from_a_protocol_written_to_a_plan_that_names_it(
    web: httpx.Client, house: Hand, hand: Hand, store: LogStore
) -> None:
    """U30, D31: two people, then a plan whose record says the version, also after the next one came."""
    assert written(web, house)["written"]
    (sheet,) = web.get("/api/protocols").json()["protocols"]
    assert (sheet["state"], sheet["written_by"], sheet["approved_by"]) == ("waiting", "TE", "")
    assert approved(web, house, by="tec")["refused"]["name"] == "NotAllowed"
    assert approved(web, house)["written"]
    post(web, hand, *opening(hand))
    (offer,) = web.get(f"/api/cases/{hand.case}/protocols").json()["offers"]
    assert offer["lines"][0]["line"]["volume"]["text"] == "0.08", "0.2 mg/kg for 4.2 kg is 0.84 mg: 0.084 mL"
    start = hand.entry("ProtocolStarted", **offer["start"])
    orders = [hand.entry("DrugOrdered", given_as="written", ordered_by="vet", **x["order"])
              for x in offer["lines"]]  # fmt: skip
    asked = post(web, hand, start, *orders, to="would")
    assert [a["refused"] for a in asked] == [None, None, None]
    assert [a["written"] for a in post(web, hand, start, *orders)] == [True, True, True]
    assert written(web, house, 2, note="more")["written"] and approved(web, house, 2)["written"]
    view = web.get(f"/api/cases/{hand.case}").json()
    assert (view["plan"]["protocol"], view["record"]["protocol"]) == ("Plain cat, version 1",) * 2
    late = hand.entry("ProtocolStarted", **offer["start"])
    assert post(web, hand, late)[0]["refused"]["name"] == "Contradiction"
    again = hand.entry("DrugOrdered", given_as="written", ordered_by="vet", **offer["lines"][0]["order"])
    assert post(web, hand, again)[0]["written"], "the version this case started from holds for it"
    assert store.verify() == ()
    assert [row.case for row in store.case_rows() if row.case == LEDGER] == [LEDGER]


def test_a_condition_found_after_the_start_is_told_by_the_view(web: httpx.Client, house: Hand, hand: Hand) -> None:
    """U14: the view knows the ledger, so the plan says what its protocol is not meant for."""
    assert written(web, house, unless=["heart-disease"])["written"] and approved(web, house)["written"]
    post(web, hand, *opening(hand), hand.entry("ProtocolStarted", protocol="cat-plain", version=1, title="Plain cat"),
         hand.entry("HistoryTaken", conditions=["heart-disease"]))  # fmt: skip
    titles = [f["title"] for f in web.get(f"/api/cases/{hand.case}").json()["plan"]["cautions"]]
    assert "Plain cat, version 1" in titles


def test_a_plan_is_kept_as_a_protocol(web: httpx.Client, house: Hand, hand: Hand) -> None:
    """The ready fields go in as they came, with a name of the user's."""
    post(web, hand, *opening(hand), hand.entry("DrugOrdered", order="o1", ordered_by="vet", **METHADONE),
         hand.entry("LimitOrdered", reading="map", below=60, action="call", ordered_by="vet"))  # fmt: skip
    made = web.get(f"/api/cases/{hand.case}/as-protocol").json()
    answer = post(web, house, house.entry("ProtocolWritten", **{**made, "protocol": "kept", "title": "Kept"}))[0]
    assert answer["written"], answer
    post(web, house, house.entry("ProtocolApproved", protocol="kept", version=1, by="vet"))
    (offer,) = web.get(f"/api/cases/{hand.case}/protocols").json()["offers"]
    assert (offer["title"], offer["limit_texts"]) == ("Kept", ["Mean below 60 mmHg: call"])
    taken = [x["written"] for x in post(web, hand, hand.entry("ProtocolStarted", **offer["start"]),
                                        hand.entry("LimitOrdered", ordered_by="vet", **offer["limits"][0]))]  # fmt: skip
    assert taken == [True, True]
    nothing = web.get(f"/api/cases/{hand.case}/as-protocol?protocol=none")
    assert (nothing.status_code, nothing.json()["refused"]["field"]) == (422, "protocol")


def test_the_ledger_is_no_patient(web: httpx.Client, house: Hand, hand: Hand) -> None:
    written(web, house)
    post(web, hand, *opening(hand))
    for page in ("", "/protocols", "/as-protocol", "/record.pdf", "/plan.pdf"):
        said = web.get(f"/api/cases/{LEDGER}{page}")
        assert (said.status_code, said.json()["refused"]["name"]) == (404, "NotAllowed"), page
    board = web.get("/api/board").json()
    assert {x["case"] for part in ("now", "to_come", "ended") for x in board[part]} == {hand.case}
    assert post(web, house, house.entry("Weighed", weight_kg=4, method="scale"))[0]["refused"]["field"] == "case"
    assert post(web, house, house.entry("CaseOpened", species="cat"))[0]["refused"]["field"] == "case"
    mine = {**house.entry("ProtocolWritten", version=1, **CAT), "case": hand.case}
    assert post(web, hand, mine)[0]["refused"]["field"] == "case"
    assert len(stored(web, house)) == 1
    unknown = web.get(f"/api/cases/{uuid.uuid4()}/protocols")
    assert (unknown.status_code, unknown.json()["refused"]["name"]) == (404, "Unknown")
    assert web.get("/api/hospital").json()["ledger"] == LEDGER == web.get("/api/protocols").json()["ledger"]


def test_two_tablets_that_write_at_once_make_one_version(web: httpx.Client, house: Hand) -> None:
    """D31: the second hears that its number is taken; nothing is lost, nothing is written over."""
    with ThreadPoolExecutor(4) as at_once:
        answers = list(at_once.map(lambda n: written(web, house, note=f"by hand {n}"), range(4)))
    assert sorted(a["written"] for a in answers) == [False, False, False, True]
    assert {a["refused"]["field"] for a in answers if a["refused"]} == {"version"}
    assert len(web.get("/api/protocols").json()["protocols"]) == 1


def test_a_page_hears_that_the_ledger_grew(web: httpx.Client, house: Hand) -> None:
    with web.stream("GET", f"/api/cases/{LEDGER}/live") as heard:
        lines = heard.iter_lines()
        first = next(x for x in lines if x.startswith("data:"))
        written(web, house)
        second = next(x for x in lines if x.startswith("data:"))
    assert [json.loads(x.removeprefix("data:"))["seq"] for x in (first, second)] == [0, 1]


def test_a_repeat_answers_as_the_first_time(web: httpx.Client, house: Hand, clock: SetClock) -> None:
    """D10: also when the version has been replaced since."""
    entry = house.entry("ProtocolWritten", version=1, **CAT)
    first = post(web, house, entry)
    approved(web, house)
    written(web, house, 2, note="more")
    clock.forward(timedelta(days=2))
    assert post(web, house, entry) == first
