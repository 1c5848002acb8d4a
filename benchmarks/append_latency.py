"""How long an entry waits until it is safe, on SQLite and PostgreSQL, beside a bare INSERT through the driver."""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
import uuid
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

from measuring import Result, percentile
from spiracle.case.events import CaseOpened, ReadingTaken
from spiracle.doors.clock import WallClock
from spiracle.doors.log_store import open_store

COUNT = 500


def ours(url: str) -> list[float]:
    """Milliseconds each of COUNT single appends took, one after another."""
    store = open_store(url, WallClock())
    case = str(uuid.uuid4())
    now = datetime.now(UTC)
    about = {"case": case, "happened_at": now, "recorded_at": now, "by": "bench"}
    store.append(case, [CaseOpened(id=str(uuid.uuid4()), species="dog", **about)], 0)
    times = []
    for n in range(1, COUNT + 1):
        event = ReadingTaken(id=str(uuid.uuid4()), reading="heart_rate", value=Decimal(90), unit="/min", **about)
        start = time.perf_counter()
        store.append(case, [event], n)
        times.append((time.perf_counter() - start) * 1000)
    store.close()
    return times


def bare_sqlite(folder: Path) -> list[float]:
    base = sqlite3.connect(folder / "bare.sqlite", isolation_level=None)
    base.execute("pragma journal_mode=wal")
    base.execute("pragma synchronous=full")
    base.execute("create table t (id text primary key, body text)")
    times = []
    for n in range(COUNT):
        start = time.perf_counter()
        base.execute("insert into t values (?, ?)", (str(n), "x" * 300))
        times.append((time.perf_counter() - start) * 1000)
    base.close()
    return times


def bare_postgres(url: str) -> list[float]:
    import psycopg

    times = []
    with psycopg.connect(url.replace("postgresql+psycopg", "postgresql"), autocommit=True) as base:
        base.execute("create table bare (id text primary key, body text)")
        for n in range(COUNT):
            start = time.perf_counter()
            base.execute("insert into bare values (%s, %s)", (str(n), "x" * 300))
            times.append((time.perf_counter() - start) * 1000)
    return times


def lines(name: str, mine: list[float], bare: list[float]) -> list[Result]:
    return [
        Result(f"append on {name}, median", statistics.median(mine), "ms", "bare INSERT", statistics.median(bare)),
        Result(f"append on {name}, p99", percentile(mine, 99), "ms", "bare INSERT p99", percentile(bare, 99)),
    ]


def results() -> list[Result]:
    from postgres import private_server

    found: list[Result] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        found += lines("SQLite", ours(f"sqlite:///{folder / 'log.sqlite'}"), bare_sqlite(folder))
    with private_server(durable=True) as url:
        found += lines("PostgreSQL (fsync on)", ours(url), bare_postgres(url))
    return found
