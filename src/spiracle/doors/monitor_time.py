"""A device's clock against ours, message by message: when a value stands, and in words by which clock (D8)."""

from __future__ import annotations

from datetime import datetime, timedelta

from spiracle.monitors import times
from spiracle.monitors.tables import MonitorTables


class DeviceTime:
    """Fed with each message's own time and its arrival, then asked about the values in it."""

    def __init__(self, tables: MonitorTables) -> None:
        self._tables, self._skew = tables, times.Skew()
        self._sent_at: datetime | None = None

    def heard(self, sent_at: datetime | None, arrived: datetime) -> None:
        self._sent_at = sent_at
        self._skew = times.heard(self._tables, self._skew, sent_at, arrived)

    def at(self, device_at: datetime | None, arrived: datetime) -> datetime:
        """The moment of a value by our clock, never after it arrived. Where the clock cannot be used a value is still as much older
        than its message as the device says: a cuff of ten minutes ago does not become new by being sent again (D6)."""
        found = times.moment(self._tables, self._skew, device_at, self._sent_at, arrived)
        if found.used == "corrected" or device_at is None or self._sent_at is None:
            return found.at
        return arrived - max(self._sent_at - device_at, timedelta(0))

    def wave_at(self, device_at: datetime | None, arrived: datetime) -> datetime | None:
        """The same for samples; None where arrival has to serve."""
        found = times.moment(self._tables, self._skew, device_at, self._sent_at, arrived)
        return found.at if found.used == "corrected" else None

    @property
    def words(self) -> str:
        """For the panel; nothing where the clocks agree."""
        if self._sent_at is None:
            return "It sends no time with its zone: times are those of arrival."
        says = self._skew.says
        return (
            ""
            if self._skew.steady and not self._skew.strays and abs(self._skew.seconds or 0) < 1
            else f"{says[0].upper()}{says[1:]}."
        )
