"""The machines' book over HTTP: read, written into the ledger, heard of, and asked about at a patient, on either database."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from served import Hand, opening, post, served
from spiracle.case.facts import Facts
from spiracle.case.ledger import LEDGER
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import LogStore


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


def machine(web: httpx.Client) -> dict[str, Any]:
    found: dict[str, Any]
    (found,) = web.get("/api/machines").json()["machines"]
    return found


def whole(web: httpx.Client, house: Hand) -> None:
    leak = house.entry("MachineLeakTested", machine="M1", at_cmh2o=30, flow_ml_min=150)
    lines = [house.entry("MachineLineDone", machine="M1", line=x["id"], seconds_shown=7) for x in machine(web)["lines"]]
    assert all(a["written"] for a in post(web, house, leak, *lines))


def test_from_a_bare_book_to_a_machine_that_may_be_taken(
    web: httpx.Client, house: Hand, hand: Hand, clock: SetClock
) -> None:
    """A9, A19: asked about until today's list is whole, and again the day after."""
    sheet = web.get("/api/machines").json()
    assert (sheet["ledger"], sheet["day"], machine(web)["complete"]) == (LEDGER, "2026-05-04", False)
    post(web, hand, *opening(hand))
    asked = post(web, hand, hand.entry("MachineAssigned", machine="M1"))[0]["refused"]
    assert asked["name"] == "AskAgain" and asked["says"] == machine(web)["asks"][0]
    would = post(web, hand, hand.entry("MachineAssigned", machine="M1"), to="would")[0]["refused"]
    assert would == asked
    whole(web, house)
    book = machine(web)
    assert (book["complete"], book["done"], book["asks"], book["lines"][-1]["id"]) == (
        True,
        15,
        [],
        "machine.valve-open",
    )
    assert post(web, hand, hand.entry("MachineAssigned", machine="M1"))[0]["written"]
    lists = web.get(f"/api/cases/{hand.case}").json()["prepare"]["lists"]
    line = next(x for one in lists for x in one["lines"] if x["id"] == "patient.machine-today")
    assert line["detail"].endswith(f"M1: {book['says']}")
    clock.forward(timedelta(days=1))
    assert (machine(web)["done"], web.get("/api/machines").json()["day"]) == (0, "2026-05-05")


def test_a_fault_is_asked_about_until_it_is_mended(web: httpx.Client, house: Hand, hand: Hand) -> None:
    """A19: also when a strike would give the machine back."""
    whole(web, house)
    post(web, hand, *opening(hand))
    taken = hand.entry("MachineAssigned", machine="M1")
    assert post(web, hand, taken)[0]["written"]
    struck = hand.entry("EntryStruck", target=taken["id"], reason="wrong machine")
    post(web, hand, struck)
    fault = house.entry("MachineFaultFound", fault="f1", machine="M1", what="gauge sticks at 12")
    assert post(web, house, fault)[0]["written"]
    back = post(web, hand, hand.entry("EntryStruck", target=struck["id"], reason="it was right"))[0]["refused"]
    assert back["name"] == "Contradiction" and "gauge sticks at 12" in back["says"]
    assert post(web, house, house.entry("MachineFaultMended", fault="f1", how="changed"))[0]["written"]
    assert post(web, hand, hand.entry("EntryStruck", target=struck["id"], reason="it was right"))[0]["written"]


def test_a_page_hears_that_a_line_was_read(web: httpx.Client, house: Hand) -> None:
    with web.stream("GET", f"/api/cases/{LEDGER}/live") as heard:
        lines = heard.iter_lines()
        next(x for x in lines if x.startswith("data:"))
        first = machine(web)["lines"][0]["id"]
        post(web, house, house.entry("MachineLineDone", machine="M1", line=first))
        second = next(x for x in lines if x.startswith("data:"))
    assert json.loads(second.removeprefix("data:"))["seq"] == 1


def test_the_book_belongs_to_no_patient(web: httpx.Client, hand: Hand) -> None:
    post(web, hand, *opening(hand))
    entry = hand.entry("MachineFaultFound", fault="f1", machine="M1", what="cap cracked")
    assert post(web, hand, entry)[0]["refused"]["field"] == "case"
