"""What has to be known of a CO2 signal before it is read: its rate, its unit, and the air pressure where the unit is a share."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from spiracle.refusals import Missing, NotOneOf, OutOfRange

Unit = Literal["mmHg", "kPa", "percent"]
UNITS = ("mmHg", "kPa", "percent")
MMHG_PER_KPA = 760 / 101.325
"""One standard atmosphere is 101.325 kPa and 760 mmHg (torr) by definition (BIPM SI brochure; torr)."""
SLOWEST_HZ, FASTEST_HZ = 20.0, 250.0
LOWEST_AIR, HIGHEST_AIR = 350.0, 850.0
"""Air pressure on land [mmHg]: the highest settlements lie near 380, the highest pressures at sea level near 815; common practice."""


@dataclass(frozen=True, slots=True)
class Setup:
    """The signal as the monitor gives it. Refused by name if a figure is absent, unlike or outside what can be read."""

    rate_hz: float
    unit: str = "mmHg"
    ambient_mmhg: float | None = None
    kg: float | None = None
    species: str | None = None

    def __post_init__(self) -> None:
        if not _within(self.rate_hz, SLOWEST_HZ, FASTEST_HZ):
            raise OutOfRange(
                "sampling rate",
                f"{self.rate_hz:g} Hz cannot be read breath by breath.",
                "20 to 250 samples per second.",
            )
        if self.unit not in UNITS:
            raise NotOneOf(
                "unit of CO2", f"{self.unit!r} is not a unit this trace is read in.", "mmHg, kPa or percent."
            )
        if self.unit == "percent" and self.ambient_mmhg is None:
            raise Missing(
                "ambient pressure",
                "Percent cannot be turned into mmHg without the air pressure.",
                "The air pressure in mmHg.",
            )
        if self.ambient_mmhg is not None and not _within(self.ambient_mmhg, LOWEST_AIR, HIGHEST_AIR):
            raise OutOfRange(
                "ambient pressure", f"{self.ambient_mmhg:g} mmHg is no air pressure on land.", "350 to 850 mmHg."
            )
        if self.kg is not None and not (math.isfinite(self.kg) and self.kg > 0):
            raise OutOfRange("weight", f"{self.kg:g} kg is no weight.", "A weight above 0 kg.")

    @property
    def to_mmhg(self) -> float:
        """What one unit of the signal is in mmHg."""
        if self.unit == "percent":
            assert self.ambient_mmhg is not None  # noqa: S101  checked above
            return self.ambient_mmhg / 100
        return MMHG_PER_KPA if self.unit == "kPa" else 1.0

    def samples(self, seconds: float, least: int = 1) -> int:
        """A duration in whole samples."""
        return max(least, round(seconds * self.rate_hz))


def _within(value: float, low: float, high: float) -> bool:
    return math.isfinite(value) and low <= value <= high
