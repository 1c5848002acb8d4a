"""The packaged airway and breathing tables, read as the product reads them, for tests that need no other room."""

from __future__ import annotations

from functools import lru_cache

from spiracle.airway import AirwayTables
from spiracle.breathing import BreathingTables
from spiracle.doors.tables import room_texts, table_texts
from spiracle.source import Sources, read_sources


@lru_cache
def sources() -> Sources:
    return Sources(
        row
        for name, text in sorted(table_texts().items())
        if name.startswith("sources-")
        for row in read_sources(text, name)
    )


@lru_cache
def airway_tables() -> AirwayTables:
    return AirwayTables.read(room_texts(table_texts(), "airway"), sources())


@lru_cache
def breathing_tables() -> BreathingTables:
    return BreathingTables.read(room_texts(table_texts(), "breathing"), sources())
