"""CO2 traces drawn by ruler: straight lines whose slopes, areas and moments anyone can work out. Invented; in mmHg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Drawn:
    """One breath: a rest, a straight rise, a straight plateau, a straight fall [s, mmHg]."""

    rest: float = 1.0
    rise: float = 0.2
    plateau: float = 1.6
    fall: float = 0.2
    base: float = 0.0
    shoulder: float = 36.0
    peak: float = 40.0

    @property
    def seconds(self) -> float:
        return self.rest + self.rise + self.plateau + self.fall


def trace(breaths: Sequence[Drawn], rate_hz: float, tail_s: float = 2.0) -> NDArray[np.float64]:
    """These breaths one after the other, and a rest at the last one's base."""
    moments, levels, at = [0.0], [breaths[0].base], 0.0
    for b in breaths:
        moments += [at + b.rest, at + b.rest + b.rise, at + b.rest + b.rise + b.plateau, at + b.seconds]
        levels += [b.base, b.shoulder, b.peak, b.base]
        at += b.seconds
    t = np.arange(round((at + tail_s) * rate_hz)) / rate_hz
    return np.interp(t, moments, levels)


def starts(breaths: Sequence[Drawn]) -> list[float]:
    """True feet of the upstrokes [s]."""
    ends = np.cumsum([b.seconds for b in breaths])
    return [float(end - b.seconds + b.rest) for end, b in zip(ends, breaths, strict=True)]


def breathing(
    per_min: float,
    minutes: float,
    rate_hz: float,
    peak: float = 40.0,
    base: float = 0.0,
    noise: float = 0.0,
    seed: int = 0,
) -> tuple[NDArray[np.float64], list[Drawn]]:
    """Regular breathing with an inspiration a third of each breath, and noise from a generator with this seed."""
    period = 60 / per_min
    rise, fall = min(0.15, 0.12 * period), min(0.1, 0.1 * period)
    one = Drawn(period / 3 - fall, rise, period * 2 / 3 - rise, fall, base, base + 0.92 * (peak - base), peak)
    drawn = [one] * int(minutes * per_min)
    x = trace(drawn, rate_hz)
    return x + noise * np.random.default_rng(seed).standard_normal(len(x)), drawn
