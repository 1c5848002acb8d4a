"""A device's clock against ours: corrected where the difference stands still, by arrival where it does not, and in words which."""

from __future__ import annotations

from collections import deque
from datetime import datetime, timedelta

SEEN, NEEDED, STEADY = 30, 3, timedelta(seconds=2)


class DeviceTime:
    """Fed with each message's own time and its arrival."""

    def __init__(self) -> None:
        self._apart: deque[timedelta] = deque(maxlen=SEEN)

    def heard(self, sent_at: datetime | None, arrived: datetime) -> None:
        if sent_at is None:
            self._apart.clear()
            return
        self._apart.append(arrived - sent_at)

    @property
    def skew(self) -> timedelta | None:
        """How far the device is behind us; None while that is not steady. The quickest message is the nearest."""
        last = list(self._apart)[-NEEDED:]
        steady = len(last) == NEEDED and max(last) - min(last) <= STEADY and max(last) - min(self._apart) <= 2 * STEADY
        return min(self._apart) if steady else None

    def at(self, device_at: datetime | None, arrived: datetime) -> datetime:
        """The moment of a value by our clock, never after it arrived."""
        skew = self.skew
        return arrived if device_at is None or skew is None else min(device_at + skew, arrived)

    def wave_at(self, device_at: datetime | None, arrived: datetime) -> datetime | None:
        return None if device_at is None or self.skew is None else self.at(device_at, arrived)

    @property
    def words(self) -> str:
        if not self._apart:
            return "The device sends no time with its zone: times are those of arrival."
        skew = self.skew
        if skew is None:
            return "The device's clock is not steady: times are those of arrival."
        return "" if abs(skew) < STEADY else f"The device's clock is {_long(skew)}: times are corrected by that."


def _long(skew: timedelta) -> str:
    seconds = abs(skew).total_seconds()
    size = f"{round(seconds)} s" if seconds < 120 else f"{round(seconds / 60)} min"
    return f"{size} {'behind' if skew > timedelta(0) else 'ahead'}"
