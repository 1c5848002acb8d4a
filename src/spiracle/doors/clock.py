"""Time comes in by this door alone. The rest of the house is told what time it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Protocol

from spiracle.refusals import Missing


class Clock(Protocol):
    """Something that can be asked the time; the answer always carries its zone."""

    def now(self) -> datetime: ...


class WallClock:
    """The computer's clock, in UTC."""

    def now(self) -> datetime:
        return datetime.now(UTC)


class SetClock:
    """A clock that stands where it was set: for tests, rehearsals and the demo's building."""

    def __init__(self, at: datetime) -> None:
        self._at = _zoned(at)

    def now(self) -> datetime:
        return self._at

    def set(self, at: datetime) -> None:
        self._at = _zoned(at)

    def forward(self, by: timedelta) -> None:
        self._at += by


def _zoned(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise Missing("clock", f"{at.isoformat()} has no time zone.", "Give the time with its zone.")
    return at
