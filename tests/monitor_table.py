"""The packaged table of what monitors say, read as the product reads it, for tests that need no other room."""

from __future__ import annotations

from functools import lru_cache

from room_tables import sources
from spiracle.doors.tables import room_texts, table_texts
from spiracle.monitors.tables import MonitorTables


@lru_cache
def monitor_tables() -> MonitorTables:
    return MonitorTables.read(room_texts(table_texts(), "monitors"), sources())
