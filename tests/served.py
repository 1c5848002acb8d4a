"""Real things for the doors' tests: a PostgreSQL server of our own, a log on either database, a served app."""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest

from postgres import free_port, private_server
from small_house import NINE, house
from spiracle.case.facts import Facts
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import LogStore, open_store
from spiracle.doors.serve import Server, config
from spiracle.doors.web import build_app

NOW = NINE


@pytest.fixture(scope="session")
def facts() -> Facts:
    return house()


@pytest.fixture(scope="session")
def pg_server() -> Iterator[str]:
    with private_server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty database of each kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'log.sqlite'}"
    server: str = request.getfixturevalue("pg_server")
    name = f"t{uuid.uuid4().hex[:12]}"
    plain = server.replace("+psycopg", "")
    with psycopg.connect(plain, autocommit=True) as link:
        link.execute(f"create database {name}")
    return server.rsplit("/", 1)[0] + "/" + name


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOW)


@pytest.fixture
def stores(database: str, clock: SetClock) -> Iterator[Callable[[], LogStore]]:
    """Opens as many stores on one database as a test asks for, like so many server processes."""
    with ExitStack() as open_ones:

        def another() -> LogStore:
            store = open_store(database, clock)
            open_ones.callback(store.close)
            return store

        yield another


@pytest.fixture
def store(stores: Callable[[], LogStore]) -> LogStore:
    return stores()


@contextmanager
def served(store: LogStore, facts: Facts, clock: SetClock, pages: Path | None = None) -> Iterator[str]:
    """The app on a free port, by the same server the product runs."""
    port = free_port()
    server = Server(config(build_app(store, facts, clock, pages=pages), port=port))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    address = f"http://127.0.0.1:{port}"
    try:
        wait_for(lambda: _answers(address))
        yield address
    finally:
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive(), "the server did not stop"


def _answers(address: str) -> bool:
    try:
        return httpx.get(address + "/api/board/none").status_code == 404
    except httpx.TransportError:
        return False


def wait_for(what: Callable[[], object], seconds: float = 10) -> float:
    """Wait until something is true; how long it took. Polls the clock, and gives the other threads the processor."""
    started, pause = time.monotonic(), threading.Event()
    while not what():
        assert time.monotonic() - started < seconds, "it did not come true"
        pause.wait(0.01)
    return time.monotonic() - started


class Hand:
    """Writes the JSON of entries as a tablet does."""

    def __init__(self, case: str, by: str = "tec", at: datetime = NOW) -> None:
        self.case, self.by, self.at = case, by, at

    def entry(self, event: str, *, after: timedelta = timedelta(0), by: str = "", **fields: Any) -> dict[str, Any]:
        told = (self.at + after).isoformat()
        return {"event": event, "id": str(uuid.uuid4()), "case": self.case, "happened_at": told, "recorded_at": told,
                "by": by or self.by, "device": "tablet-1", **fields}  # fmt: skip


# ---- the web door


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
