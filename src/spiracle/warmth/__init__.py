"""Temperature: grades by a named scale, the fall to expect, when to warm and when to stop."""

from spiracle.warmth.checks import CHECKS
from spiracle.warmth.rows import WarmLimit
from spiracle.warmth.tables import Grade, WarmthTables

__all__ = ["CHECKS", "Grade", "WarmLimit", "WarmthTables"]
