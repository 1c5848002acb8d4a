"""What a labelled CO2 trace is: samples as a monitor gives them, and beside them what truly happened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MMHG_PER_KPA = 7.50062  # 101.325 kPa = 760 mmHg


@dataclass(frozen=True)
class TrueBreath:
    """Moments in the time of the trace (the delay of the sampling line is in them); pressures in mmHg.

    start_s     CO2 begins to rise at the port: a twentieth of the breath's height. The gas of the dead space before it is not seen
    end_s       inspiration begins
    etco2       highest of the expiration as a sensor of this rise time shows it, without noise
    port_etco2  the same at the port
    sure        False for a hump of which people would dispute whether it is a breath: neither missed nor false
    """

    start_s: float
    end_s: float
    etco2: float
    fico2: float
    port_etco2: float
    sure: bool = True


@dataclass(frozen=True)
class Episode:
    """From, to, degree; `also` names other findings that would be true in the same stretch."""

    name: str
    from_s: float
    to_s: float
    degree: str
    also: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Recording:
    name: str
    samples: Array  # in `unit`; nan = missing
    rate_hz: float
    unit: str
    kg: float
    species: str
    breaths: tuple[TrueBreath, ...]
    episodes: tuple[Episode, ...]
    clean: Array = field(
        repr=False, default_factory=lambda: np.zeros(0)
    )  # mmHg, what the sensor would show without a fault
    ambient_mmhg: float | None = None

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate_hz


def in_unit(mmhg: Array, unit: str, ambient_mmhg: float | None) -> Array:
    """Percent is the share of dry gas at the ambient pressure, as a side-stream bench measures it."""
    if unit == "kPa":
        return mmhg / MMHG_PER_KPA
    if unit == "percent":
        assert ambient_mmhg is not None
        return mmhg / ambient_mmhg * 100.0
    return mmhg


def in_mmhg(value: float, unit: str, ambient_mmhg: float | None) -> float:
    if unit == "kPa":
        return value * MMHG_PER_KPA
    if unit == "percent":
        assert ambient_mmhg is not None
        return value * ambient_mmhg / 100.0
    return value


Made = Callable[[], Recording]
