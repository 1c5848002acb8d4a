"""Time stamps on the wire, and how far a monitor's clock is off ours.

Clocks of devices are off by minutes as a rule (hazard D8). Every value keeps the device's time and the time it arrived; it stands
at a corrected time while the difference is steady, at its arrival otherwise, and always says which.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from statistics import median, quantiles
from typing import Literal

import msgspec

from spiracle.monitors.tables import MonitorTables

_STAMP = re.compile(r"([0-9]{8})([0-9]{6})(\.[0-9]{1,6})?([+-][0-9]{4})?")
NEVER_SET = datetime(2000, 1, 1, tzinfo=UTC)  # no clock that was ever set says less; many begin at 1970
NO_ZONE = "its time has no zone"
UNREADABLE = "its time cannot be read"
Used = Literal["corrected", "arrival"]


class Stamp(msgspec.Struct, frozen=True, kw_only=True):
    """A time with its zone, or None and why."""

    at: datetime | None = None
    why: str = ""


def read_stamp(text: str) -> Stamp:
    """An HL7 time: YYYYMMDDHHMMSS[.S]+ZZZZ. To the second at least and with a zone, or it is no time; -0000 is a zone not known.

    >>> read_stamp("20260312101457.5+0100").at.isoformat()
    '2026-03-12T10:14:57.500000+01:00'
    >>> read_stamp("20260312101457").why
    'its time has no zone'
    """
    if not text:
        return Stamp(why="no time")
    found = _STAMP.fullmatch(text)
    if found is None:
        return Stamp(why=UNREADABLE)
    day, clock, part, zone = found.groups()
    try:
        bare = datetime.fromisoformat(f"{day}T{clock}")  # the zone comes next, or there is none
    except ValueError:
        return Stamp(why=UNREADABLE)
    bare += timedelta(microseconds=int((part or ".0")[1:].ljust(6, "0")))
    if zone is None or zone == "-0000":
        return Stamp(why=NO_ZONE)
    return _in_zone(bare, zone)


def _in_zone(bare: datetime, zone: str) -> Stamp:
    minutes = int(zone[1:3]) * 60 + int(zone[3:])
    if int(zone[3:]) > 59 or minutes > 14 * 60:
        return Stamp(why=UNREADABLE)
    at = bare.replace(tzinfo=timezone(timedelta(minutes=-minutes if zone[0] == "-" else minutes)))
    try:
        at.astimezone(UTC)
    except OverflowError:
        return Stamp(why=UNREADABLE)
    return Stamp(at=at)


class Skew(msgspec.Struct, frozen=True, kw_only=True):
    """How far one monitor's clock is behind ours: arrival minus its own time [s], the middle of its last messages.

    `steady` says whether times are corrected by it; `says` is the line for the panel.
    """

    recent: tuple[float, ...] = ()
    strays: tuple[float, ...] = ()
    seconds: float | None = None
    steady: bool = False
    leaps: int = 0
    says: str = "its clock is not known yet"


class Moment(msgspec.Struct, frozen=True, kw_only=True):
    """Where a value stands on our clock, and by what."""

    at: datetime
    used: Used
    why: str = ""


def heard(tables: MonitorTables, skew: Skew, sent_at: datetime | None, arrived: datetime) -> Skew:
    """The skew after one more message; a message without a time changes nothing.

    A difference far from the usual one is a stray: a late message, or the clock has leapt (daylight saving, set anew, fallen back to
    1970). Its values stand at their arrival. So many strays on end as make a clock known are a leap, and the clock is judged anew.
    """
    if sent_at is None:
        return skew
    now = (arrived - sent_at).total_seconds()
    recent, leaps = skew.recent, skew.leaps
    strays: tuple[float, ...] = ()
    if skew.seconds is not None and abs(now - skew.seconds) > tables.seconds("clock-jump"):
        strays = (*skew.strays, now)
        if len(strays) >= tables.limit("clock-needed"):
            recent, strays, leaps = strays, (), leaps + 1
    else:
        recent = (*recent, now)[-tables.limit("clock-window") :]
    middle = median(recent)
    never_set = abs(middle) > tables.seconds("clock-most") or arrived - timedelta(seconds=middle) < NEVER_SET
    enough = len(recent) >= tables.limit("clock-needed")
    steady = enough and not never_set and _spread(recent) <= tables.seconds("clock-spread")
    return Skew(
        recent=recent,
        strays=strays,
        seconds=middle,
        steady=steady,
        leaps=leaps,
        says=_stray(now, middle) if strays else _says(middle, steady, never_set),
    )


def _spread(recent: tuple[float, ...]) -> float:
    """The width of the middle half: one late message does not unsettle a clock."""
    low, _, high = quantiles(recent, n=4, method="inclusive")
    return high - low


def _says(middle: float, steady: bool, never_set: bool) -> str:
    off = f"its clock is {_side(middle)} ours"
    if never_set:
        return f"{off}: never set, times are those of arrival"
    if not steady:
        return f"{off}, not steady yet: times are those of arrival"
    return f"{off}, corrected" if abs(middle) >= 1 else "its clock agrees with ours"


def _stray(now: float, middle: float) -> str:
    return (
        f"its clock leapt or the message is late: {_side(now)} ours, it was {_side(middle)}; times are those of arrival"
    )


def _side(seconds: float) -> str:
    return f"{_span(abs(seconds))} {'behind' if seconds >= 0 else 'ahead of'}"


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 90 * 60:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h" if seconds < 48 * 3600 else f"{seconds / 86_400:.0f} days"


def moment(
    tables: MonitorTables, skew: Skew, device_at: datetime | None, sent_at: datetime | None, arrived: datetime
) -> Moment:
    """Where a value measured at `device_at` stands on our clock. Nothing stands after its arrival, and nothing that was already
    older than an hour when it was sent is given a corrected time."""
    if device_at is None or sent_at is None:
        return Moment(at=arrived, used="arrival", why="no time of its own")
    if not skew.steady or skew.seconds is None:
        return Moment(at=arrived, used="arrival", why=skew.says)
    now = (arrived - sent_at).total_seconds()
    if abs(now - skew.seconds) > tables.seconds("clock-jump"):
        return Moment(at=arrived, used="arrival", why=_stray(now, skew.seconds))
    age = (sent_at - device_at).total_seconds()
    if age > tables.seconds("value-age-most"):
        return Moment(at=arrived, used="arrival", why=f"measured {_span(age)} before it was sent")
    at = (device_at + timedelta(seconds=skew.seconds)).astimezone(UTC)
    if at > arrived:
        return Moment(at=arrived, used="arrival", why="its time lies after its arrival")
    return Moment(at=at, used="corrected")
