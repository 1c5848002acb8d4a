"""Where samples lie in time: each packet counts on from the one before, and a gap is as many missing samples as it lasted.

Order of trust: the device's own count; its own clock, as far as it goes on evenly; the moment of arrival. Packets that come in a
bunch after a hold-up are no gap; a clock that is set forward is none either.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from spiracle.monitors.heard import Wave

FINE, COARSE, LATE, STEP = 0.25, 1.5, 1.5, 60.0  # seconds: how far a stamp may lie beside the count before it is a gap
BEHIND_S = 5.0  # a count that stays so far behind arrival for so long was held by a pause of the device, not on the way
AHEAD_S = 30.0  # a count this far ahead of arrival tells that our clock was set back
LONGEST_GAP_S = 600.0  # after a longer silence the count begins anew
DRIFT_S, WATCHED = 1.0, 200  # packets over which the quickest arrival shows that a crystal has drifted


@dataclass(frozen=True, slots=True)
class Placed:
    """A packet's place: `first` counts samples of this wave, `skip` were there before, `missing` lack in front of it."""

    first: int
    first_at: datetime
    skip: int = 0
    missing: int = 0
    fresh: bool = False


class SampleClock:
    """The count of one wave of one device."""

    def __init__(self) -> None:
        self.count = 0
        self.lost = False  # a packet could not be kept: what comes next, the same again among it, is placed anew
        self._format: tuple[float, float, float, str] | None = None
        self._next_at: datetime | None = None
        self._seq: int | None = None
        self._device_at: datetime | None = None
        self._arrived: datetime | None = None
        self._fine = False
        self._quickest, self._watched = float("inf"), 0
        self._behind: datetime | None = None

    def place(self, wave: Wave, at: datetime | None, arrived: datetime) -> Placed:
        """`at` is the device's time of the first sample by our clock, or None where arrival has to serve."""
        n, rate = len(wave.samples), wave.rate_hz
        measured = at if at is not None else arrived - timedelta(seconds=n / rate)
        form = (rate, wave.scale, wave.offset, wave.unit)
        fresh = self.lost or form != self._format or self._next_at is None or self._ahead_of(arrived)
        self.lost = False
        skip, missing = (0, 0) if fresh else self._against(wave, n, arrived, measured)
        if missing > LONGEST_GAP_S * rate or missing < 0:
            fresh, missing = True, 0
        first_at = measured if fresh or self._next_at is None else self._next_at + timedelta(seconds=missing / rate)
        first = self.count + missing
        self._format = form
        self._remember(wave, n, first_at, first, skip, arrived)
        self._paused(at, arrived)
        return Placed(first, first_at, skip, missing, fresh)

    def _ahead_of(self, arrived: datetime) -> bool:
        """No sample lies in the future."""
        backwards = self._arrived is not None and arrived < self._arrived
        return backwards and self._next_at is not None and (self._next_at - arrived).total_seconds() > AHEAD_S

    def _against(self, wave: Wave, n: int, arrived: datetime, measured: datetime) -> tuple[int, int]:
        """Samples there before, and samples lacking in front."""
        if wave.seq is not None and self._seq is not None:
            ahead = wave.seq - self._seq
            if ahead >= 0:
                return 0, ahead
            return (min(-ahead, n), 0) if -ahead <= STEP * wave.rate_hz else (0, -1)
        silence = 0.0 if self._arrived is None else (arrived - self._arrived).total_seconds() - n / wave.rate_hz
        if wave.device_at is not None and self._device_at is not None:
            self._fine = self._fine or bool(wave.device_at.microsecond)
            apart = (wave.device_at - self._device_at).total_seconds()
            if abs(apart) <= STEP or abs(apart - silence) <= max(5.0, 0.2 * silence):
                near = FINE if self._fine else COARSE
                if apart < -near:
                    return min(round(-apart * wave.rate_hz), n), 0
                return 0, round(apart * wave.rate_hz) if apart > near else 0
        late = (
            0.0
            if self._next_at is None
            else (measured - self._next_at).total_seconds()
            if wave.device_at is None
            else silence
        )
        return 0, round(late * wave.rate_hz) if late > LATE else 0

    def _paused(self, at: datetime | None, arrived: datetime) -> None:
        """A device that stood still and counts on as if it had not: what was held up on the way catches up, this does not."""
        lag = (arrived - self._next_at).total_seconds() if self._next_at is not None else 0.0
        if at is not None or lag <= BEHIND_S:
            self._behind = None
        elif self._behind is None or arrived < self._behind:
            self._behind = arrived
        elif (arrived - self._behind).total_seconds() >= BEHIND_S:
            self._next_at, self._behind = arrived, None

    def _remember(self, wave: Wave, n: int, first_at: datetime, first: int, skip: int, arrived: datetime) -> None:
        span = timedelta(seconds=(n - skip) / wave.rate_hz)
        self.count, self._next_at, self._arrived = first + n - skip, first_at + span, arrived
        if skip < n:
            self._seq = None if wave.seq is None else wave.seq + n
            self._device_at = None if wave.device_at is None else wave.device_at + timedelta(seconds=n / wave.rate_hz)
        self._quickest = min(self._quickest, (arrived - self._next_at).total_seconds())
        self._watched += 1
        if self._watched >= WATCHED:
            if not -DRIFT_S / 4 <= self._quickest <= DRIFT_S:
                self._next_at += timedelta(seconds=self._quickest)
            self._quickest, self._watched = float("inf"), 0
