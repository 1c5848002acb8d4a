"""The flags of a value into one standing, and the standing into what the chart may do with it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from spiracle.monitors.heard import Number, Standing
from spiracle.monitors.tables import MonitorTables

Quality = Literal["good", "questionable", "gap"]
# The worst first: of several flags on one value the first of these stands.
WORST: tuple[Standing, ...] = (
    "invalid", "unavailable", "switched off", "no information", "above scale", "below scale", "measuring", "calibrating",
    "questionable", "early",
)  # fmt: skip
GAPS = frozenset(
    {"invalid", "unavailable", "switched off", "no information", "above scale", "below scale", "measuring", "deleted"}
)
HOLLOW = frozenset({"calibrating", "questionable", "early"})
STATUS: dict[str, Standing] = {
    "R": "measured",
    "F": "validated",
    "P": "early",
    "C": "corrected",
    "D": "deleted",
    "X": "unavailable",
}


def standing(tables: MonitorTables, status: str, flags: Iterable[str]) -> Standing:
    """One standing of the result status (OBX-11) and the flags (OBX-8). Of several the worst counts; a flag we do not know makes
    the value questionable; a correction stays one unless a flag leaves no value at all. X alone is a value not available."""
    by_status = STATUS.get(status, "invalid")
    found: set[Standing] = {s for s in (_of_flag(tables, flag) for flag in flags) if s is not None}
    if by_status != "unavailable" or not found & GAPS:
        found.add(by_status)
    worst = next((s for s in WORST if s in found), None)
    if by_status == "deleted" or (by_status == "corrected" and worst not in GAPS):
        return by_status
    return worst or ("validated" if "validated" in found else "measured")


def _of_flag(tables: MonitorTables, flag: str) -> Standing | None:
    row = tables.flags.get(flag)
    if row is None:
        return "questionable"
    return row.standing if row.kind == "quality" else None


def strange(tables: MonitorTables, flags: Iterable[str]) -> tuple[str, ...]:
    """The flags we do not know."""
    return tuple(flag for flag in flags if flag not in tables.flags)


def tests(tables: MonitorTables, flags: Iterable[str]) -> bool:
    """Whether one of the flags says that this is no animal."""
    return any(flag in tables.flags and tables.flags[flag].kind == "test" for flag in flags)


def alarm(tables: MonitorTables, flags: Iterable[str]) -> str:
    """The device's own alarm in words, or ""."""
    rows = (tables.flags.get(flag) for flag in flags)
    return ", ".join(row.means for row in rows if row is not None and row.kind == "alarm")


def quality(number: Number) -> Quality:
    """What the chart may do with it: as it is, hollow and without an alert, or a gap with its reason.

    A corrected value is hollow where its flags would have made it so.
    """
    if number.value is None or number.standing in GAPS or not number.reading:
        return "gap"
    hollow = number.standing in HOLLOW or bool({"QUES", "CAL", "EARLY"} & set(number.flags))
    return "questionable" if hollow else "good"
