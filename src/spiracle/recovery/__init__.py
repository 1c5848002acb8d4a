"""Waking: the tube out, the watch, the scores, the way home."""

from spiracle.recovery.checks import CHECKS
from spiracle.recovery.rows import Line, Scale
from spiracle.recovery.tables import RecoveryTables

__all__ = ["CHECKS", "Line", "RecoveryTables", "Scale"]
