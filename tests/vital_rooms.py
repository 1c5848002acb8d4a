"""The packaged tables of patient, circulation, warmth, emergency and recovery, read as the product reads them."""

from __future__ import annotations

from functools import lru_cache

from room_tables import sources
from spiracle.circulation import CirculationTables
from spiracle.doors.tables import room_texts, table_texts
from spiracle.emergency import EmergencyTables
from spiracle.patient import PatientTables
from spiracle.recovery import RecoveryTables
from spiracle.warmth import WarmthTables


@lru_cache
def patient() -> PatientTables:
    return PatientTables.read(room_texts(table_texts(), "patient"), sources())


@lru_cache
def circulation() -> CirculationTables:
    return CirculationTables.read(room_texts(table_texts(), "circulation"), sources())


@lru_cache
def warmth() -> WarmthTables:
    return WarmthTables.read(room_texts(table_texts(), "warmth"), sources())


@lru_cache
def emergency() -> EmergencyTables:
    return EmergencyTables.read(room_texts(table_texts(), "emergency"), sources())


@lru_cache
def recovery() -> RecoveryTables:
    return RecoveryTables.read(room_texts(table_texts(), "recovery"), sources())
