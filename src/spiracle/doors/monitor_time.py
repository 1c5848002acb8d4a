"""A device's clock against ours, message by message: when a value stands, and in words by which clock (D8)."""

from __future__ import annotations

from datetime import datetime, timedelta

from msgspec.structs import replace

from spiracle.monitors import times
from spiracle.monitors.heard import Number
from spiracle.monitors.tables import MonitorTables

FED_AGAIN = timedelta(milliseconds=100)  # late messages that come closer together than this say one thing about a clock


class DeviceTime:
    """Fed with each message's own time and its arrival, then asked about the values in it."""

    def __init__(self, tables: MonitorTables) -> None:
        self._tables, self._skew = tables, times.Skew()
        self._sent_at: datetime | None = None
        self._late = False
        self._first_late: tuple[datetime, datetime] | None = None  # sent and arrived
        self._fed: datetime | None = None

    def heard(self, sent_at: datetime | None, arrived: datetime) -> None:
        self._sent_at = sent_at
        behind = None if sent_at is None or not self._skew.steady else (arrived - sent_at).total_seconds()
        self._late = behind is not None and self._lies_back(behind)
        if sent_at is None:
            return
        if not self._late:
            self._first_late = self._fed = None
        elif self._bunched(sent_at, arrived):
            return
        self._skew = times.heard(self._tables, self._skew, sent_at, arrived)
        if self._late and not self._skew.strays:  # so many on end, as far apart as they were sent: it is the clock
            self._late, self._first_late, self._fed = False, None, None

    def _lies_back(self, behind: float) -> bool:
        """Further behind than usual, by less than a clock that was set an hour back."""
        late = behind - (self._skew.seconds or 0.0)
        return self._tables.seconds("clock-jump") < late < self._tables.seconds("value-age-most") - 1

    def _bunched(self, sent_at: datetime, arrived: datetime) -> bool:
        """What was held up on the way comes quicker than it was sent, and says nothing about the clock; after a clock was set, messages
        come at the pace they are sent."""
        if self._first_late is None:
            self._first_late = (sent_at, arrived)
        elif arrived - self._first_late[1] < (sent_at - self._first_late[0]) / 2:
            return True
        if self._fed is not None and arrived - self._fed < FED_AGAIN:
            return True
        self._fed = arrived
        return False

    def doubted(self, number: Number) -> Number:
        """A value of a message that came late, or from a clock that has leapt, is questionable until one of the two is known."""
        if not self._late or number.device_at is None or number.standing not in {"measured", "validated", "corrected"}:
            return number
        why = "; ".join(w for w in (number.why, "its message came late, or its clock has leapt") if w)
        return replace(number, standing="questionable", why=why)

    def _own(self, device_at: datetime | None, arrived: datetime) -> datetime | None:
        """By its own clock as it went until now: what was held up on the way keeps the moment it was measured."""
        if not self._late or device_at is None or self._skew.seconds is None:
            return None
        return min(device_at + timedelta(seconds=self._skew.seconds), arrived).astimezone(arrived.tzinfo)

    def at(self, device_at: datetime | None, arrived: datetime) -> datetime:
        """The moment of a value by our clock, never after it arrived. Where the clock cannot be used a value is still as much older
        than its message as the device says: a cuff of ten minutes ago does not become new by being sent again (D6)."""
        own = self._own(device_at, arrived)
        if own is not None:
            return own
        found = times.moment(self._tables, self._skew, device_at, self._sent_at, arrived)
        if found.used == "corrected" or device_at is None or self._sent_at is None:
            return found.at
        return arrived - max(self._sent_at - device_at, timedelta(0))

    def wave_at(self, device_at: datetime | None, arrived: datetime) -> datetime | None:
        """The same for samples; None where arrival has to serve."""
        own = self._own(device_at, arrived)
        if own is not None:
            return own
        found = times.moment(self._tables, self._skew, device_at, self._sent_at, arrived)
        return found.at if found.used == "corrected" else None

    @property
    def words(self) -> str:
        """For the panel; nothing where the clocks agree."""
        if self._sent_at is None:
            return "It sends no time with its zone: times are those of arrival."
        says = self._skew.says
        if self._late:
            says = "its messages come late, or its clock has leapt: values keep their own time and are doubted"
        return (
            ""
            if self._skew.steady and not self._skew.strays and abs(self._skew.seconds or 0) < 1
            else f"{says[0].upper()}{says[1:]}."
        )
