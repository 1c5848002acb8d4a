"""Where the log lies: one table, the same on SQLite and PostgreSQL, that can only grow."""

from __future__ import annotations

import os
import sqlite3
import time
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from spiracle.doors.migrating import Shape
from spiracle.refusals import NotOneOf

HEAD = "0001"  # the newest migration; a test holds it against the migrations folder
# Writers pass one by one, so `place` runs in the order of commits.
_SHAPE = Shape(HEAD, "alembic_version", 0x5350_4952_4143_4C45, Path(__file__).parent / "migrations")
take_turn, migrate, revision = _SHAPE.take_turn, _SHAPE.migrate, _SHAPE.revision

METADATA = sa.MetaData()
LOG = sa.Table(
    "log",
    METADATA,
    sa.Column("place", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), primary_key=True, autoincrement=True),
    sa.Column("case_id", sa.Text, nullable=False),
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("id", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("arrived_at", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("seal", sa.Text, nullable=False),
    sa.UniqueConstraint("case_id", "seq", name="log_case_seq"),
    sa.UniqueConstraint("id", name="log_id"),
    sa.Index("log_kind", "kind", "case_id"),
)


def data_folder() -> Path:
    """The user's own data folder for Spiracle, made if it is not there."""
    home = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    folder = Path(home) / "spiracle"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def sqlite_url(file: Path) -> str:
    return sa.URL.create("sqlite", database=str(file)).render_as_string()


def read_url(text: str | None) -> sa.URL:
    """A database address, or a refusal. `postgresql://` means the driver that is installed with Spiracle."""
    try:
        url = sa.make_url(text or sqlite_url(data_folder() / "spiracle.sqlite"))
    except sa.exc.ArgumentError as fault:
        raise _refused(text) from fault
    if url.drivername in {"postgresql", "postgres"}:
        url = url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() not in {"sqlite", "postgresql"}:
        raise _refused(text)
    if url.get_backend_name() == "sqlite" and url.database in {None, "", ":memory:"}:
        raise NotOneOf("database", "a log that is only in memory keeps nothing.", "Give a file: sqlite:///cases.db.")
    return url


def _refused(text: str | None) -> NotOneOf:
    return NotOneOf("database", f"{text!r} is not a database address Spiracle can use.",
                    "Write sqlite:///cases.db or postgresql://user@host/name.")  # fmt: skip


def make_engine(url: sa.URL, *, writer: bool) -> sa.Engine:
    """One engine for the writer thread (one connection, real transactions), one for readers (no transaction at all)."""
    ways: dict[str, Any] = (
        {"pool_size": 1, "max_overflow": 0} if writer else {"isolation_level": "AUTOCOMMIT", "max_overflow": 40}
    )
    engine = sa.create_engine(url, pool_pre_ping=url.get_backend_name() != "sqlite", **ways)
    if url.get_backend_name() == "sqlite":
        sa.event.listen(engine, "connect", _sqlite_connected)
        if writer:
            sa.event.listen(engine, "begin", _sqlite_begins)
    return engine


def _sqlite_connected(raw: Any, _record: object) -> None:
    """WAL lets readers pass while one writes; FULL makes an acknowledged entry survive a power cut."""
    raw.isolation_level = None
    cursor = raw.cursor()
    cursor.execute("PRAGMA busy_timeout=10000")
    _wal(cursor)
    for line in ("synchronous=FULL", "recursive_triggers=ON"):
        cursor.execute(f"PRAGMA {line}")
    cursor.close()


def _wal(cursor: Any) -> None:
    """The change to WAL does not wait for another process that changes too, so we do."""
    for _ in range(200):
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as fault:
            if "locked" not in str(fault):
                raise
            time.sleep(0.02)
        else:
            return
    cursor.execute("PRAGMA journal_mode=WAL")


def _sqlite_begins(connection: sa.Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
