"""Hearing of entries that other processes wrote: LISTEN on PostgreSQL, the file's version counter on SQLite."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa

from spiracle.doors.log_store_schema import LOG

EVERY_S = 0.25
Heard = Callable[[str, int], None]


class Watcher:
    """A thread that reports (case, seq) for each case that grew, whoever wrote. A lost link is taken up again."""

    def __init__(self, engine: sa.Engine, heard: Heard) -> None:
        self._engine, self._heard = engine, heard
        self._over = threading.Event()
        self._last = self._end()
        watch = self._listen if engine.dialect.name == "postgresql" else self._look
        self._thread = threading.Thread(target=self._run, args=(watch,), name="log watcher", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()

    def _run(self, watch: Callable[[sa.Connection], None]) -> None:
        while not self._over.is_set():
            try:
                with self._engine.connect() as connection:
                    watch(connection)
            except (sa.exc.SQLAlchemyError, OSError):
                self._over.wait(EVERY_S)

    def _end(self) -> int:
        with self._engine.connect() as connection:
            return int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(LOG.c.place), 0))).scalar_one())

    def _report(self, connection: sa.Connection) -> None:
        newest = sa.select(LOG.c.case_id, sa.func.max(LOG.c.seq), sa.func.max(LOG.c.place))
        for case, seq, place in connection.execute(newest.where(LOG.c.place > self._last).group_by(LOG.c.case_id)):
            self._last = max(self._last, place)
            self._heard(case, seq)

    def _look(self, connection: sa.Connection) -> None:
        """`PRAGMA data_version` changes when another connection commits; only then is the table asked."""
        version = None
        while not self._over.is_set():
            present = connection.exec_driver_sql("PRAGMA data_version").scalar()
            if present != version:
                version = present
                self._report(connection)
            self._over.wait(EVERY_S)

    def _listen(self, connection: sa.Connection) -> None:
        raw: Any = connection.connection.driver_connection
        raw.execute("LISTEN spiracle_log")
        self._report(connection)  # what was written while nobody listened
        while not self._over.is_set():
            if list(raw.notifies(timeout=EVERY_S, stop_after=1)):  # the link is busy while this runs
                self._report(connection)
