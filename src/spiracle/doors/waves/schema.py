"""Where the waves lie: small rows as they come, packed minutes that can only grow, and the message ids of the last day.

On SQLite a file of their own beside the log's, so that neither waits for the other; on PostgreSQL the log's own database.
"""

from __future__ import annotations

from pathlib import Path, PurePath

import sqlalchemy as sa

from spiracle.doors.log_store_schema import make_engine, read_url
from spiracle.doors.migrating import Shape

__all__ = [
    "HEAD",
    "MESSAGE",
    "MINUTE",
    "PACKET",
    "make_engine",
    "migrate",
    "read_url",
    "revision",
    "stands",
    "take_turn",
    "waves_url_of",
]

HEAD = "0001"  # the newest migration; a test holds it against the migrations folder
VERSION_TABLE = "wave_version"
# Those who pack pass one by one, so each seal is made over the one before it.
_SHAPE = Shape(HEAD, VERSION_TABLE, 0x5350_5741_5645_5331, Path(__file__).parent / "migrations")
take_turn, migrate, revision = _SHAPE.take_turn, _SHAPE.migrate, _SHAPE.revision

METADATA = sa.MetaData()
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

# AUTOINCREMENT: a number that was given away is never given again, so "all rows up to this one" means the same ones later.
PACKET = sa.Table(
    "wave_packet",
    METADATA,
    sa.Column("id", BIG, primary_key=True, autoincrement=True),
    sa.Column("case_id", sa.Text, nullable=False),
    sa.Column("wave", sa.Text, nullable=False),
    sa.Column("monitor", sa.Text, nullable=False),
    sa.Column("minute", BIG, nullable=False),
    sa.Column("first_us", BIG, nullable=False),
    sa.Column("until_us", BIG, nullable=False),
    sa.Column("samples", sa.Integer, nullable=False),
    sa.Column("body", sa.LargeBinary, nullable=False),
    sa.Index("wave_packet_minute", "case_id", "wave", "minute"),
    sqlite_autoincrement=True,
)
MINUTE = sa.Table(
    "wave_minute",
    METADATA,
    sa.Column("case_id", sa.Text, primary_key=True),
    sa.Column("wave", sa.Text, primary_key=True),
    sa.Column("place", sa.Integer, primary_key=True),
    sa.Column("monitor", sa.Text, nullable=False),
    sa.Column("minute", BIG, nullable=False),
    sa.Column("first_us", BIG, nullable=False),
    sa.Column("until_us", BIG, nullable=False),
    sa.Column("samples", sa.Integer, nullable=False),
    sa.Column("body", sa.LargeBinary, nullable=False),
    sa.Column("seal", sa.Text, nullable=False),
    sa.Index("wave_minute_minute", "case_id", "wave", "minute"),
)
MESSAGE = sa.Table(
    "wave_message",
    METADATA,
    sa.Column("id", BIG, primary_key=True, autoincrement=True),
    sa.Column("monitor", sa.Text, nullable=False),
    sa.Column("message_id", sa.Text, nullable=False),
    sa.Column("at_us", BIG, nullable=False),
    sa.UniqueConstraint("monitor", "message_id", name="wave_message_once"),
    sqlite_autoincrement=True,
)


def waves_url_of(log: sa.URL) -> sa.URL:
    """Where the waves of a log lie: `cases.db` has its waves in `cases-waves.db`; a PostgreSQL database keeps both."""
    if log.get_backend_name() != "sqlite":
        return log
    file = PurePath(str(log.database))
    return log.set(database=str(file.with_name(f"{file.stem}-waves{file.suffix}")))


def stands(url: sa.URL) -> bool:
    """Whether an archive is there. To look makes none, not even a file."""
    if url.get_backend_name() == "sqlite" and not Path(str(url.database)).is_file():
        return False
    engine = make_engine(url, writer=False)
    try:
        with engine.connect() as connection:
            return revision(connection) is not None
    finally:
        engine.dispose()
