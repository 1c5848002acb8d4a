"""A CO2 wave and a pulse wave with the rate and height that were asked for. Invented, and like no animal in particular.

They are drawings, not a lung: nothing about the engine that reads traces may be concluded from them. The shapes follow the words of
the trade (upstroke, plateau, downstroke; systolic peak and a smaller one after it); their proportions are ours.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from spiracle.refusals import OutOfRange

Samples: TypeAlias = NDArray[np.float64]

LONGEST_S = 86_400.0
DOWN_S = 0.05  # time constant of the downstroke, shorter than any breath's inspiration


def capnogram_like(
    rate_per_min: float, etco2: float, rate_hz: float, seconds: float, *, fico2: float = 0.0, expiration: float = 0.6,
    upstroke_s: float = 0.15, rise: float = 0.08, begin_s: float = 0.0,
) -> Samples:  # fmt: skip
    """CO2 in the unit of `etco2`, `rate_hz` samples a second.

    rate_per_min  4 to 120 breaths a minute
    etco2         what each breath ends at; 0 to 150
    fico2         what is breathed in, below etco2
    expiration    share of a breath that is expiration, 0.3 to 0.8
    upstroke_s    time of the upstroke, to about nine tenths; at most half of the expiration is taken
    rise          how much of the height the plateau climbs, 0 to 0.6: much where breathing out is hindered
    begin_s       moment of the first sample: pieces that follow one another join

    Raises OutOfRange by name. Example: the highest value of 12 breaths a minute to 38 is 38.

    >>> trace = capnogram_like(12, 38, 100, 60)
    >>> len(trace), round(float(trace.max()), 1), round(float(trace.min()), 1)
    (6000, 38.0, 0.0)
    """
    _within("rate_per_min", rate_per_min, 4, 120)
    _within("etco2", etco2, 0, 150)
    _within("fico2", fico2, 0, etco2)
    _within("expiration", expiration, 0.3, 0.8)
    _within("upstroke_s", upstroke_s, 0.02, 2)
    _within("rise", rise, 0, 0.6)
    at = _moments(rate_hz, seconds, begin_s)
    period = 60.0 / rate_per_min
    out = expiration * period
    up = min(upstroke_s, out / 2)
    phase = np.mod(at, period)
    # Upstroke: an S from 0 to 1 that is nearly done after `up`; plateau: a straight climb that ends at 1.
    into = phase / up
    upstroke = 1.0 / (1.0 + np.exp(-(into - 0.5) * 9.0))
    plateau = 1.0 - rise * (1.0 - np.minimum(phase / out, 1.0))
    breath = np.where(phase < out, upstroke * plateau, np.exp(-(phase - out) / min(DOWN_S, (period - out) / 6)))
    return np.asarray(fico2 + (etco2 - fico2) * breath)


def pleth_like(
    rate_per_min: float, rate_hz: float, seconds: float, *, height: float = 100.0, begin_s: float = 0.0
) -> Samples:
    """A pulse wave from 0 to `height` (no unit), `rate_per_min` 20 to 350 beats a minute. Raises OutOfRange by name.

    >>> round(float(pleth_like(120, 100, 10).max()))
    100
    """
    _within("rate_per_min", rate_per_min, 20, 350)
    _within("height", height, 0, 1e6)
    phase = np.mod(_moments(rate_hz, seconds, begin_s) * rate_per_min / 60.0, 1.0)
    wave = _bump(phase, 0.28, 0.10) + 0.38 * _bump(phase, 0.60, 0.13)
    return np.asarray(height * np.clip(wave, 0.0, 1.0))


def _bump(phase: Samples, middle: float, wide: float) -> Samples:
    away = np.abs(phase - middle)
    away = np.minimum(away, 1.0 - away)
    return np.asarray(np.exp(-((away / wide) ** 2)))


def _moments(rate_hz: float, seconds: float, begin_s: float) -> Samples:
    _within("rate_hz", rate_hz, 1, 1000)
    _within("seconds", seconds, 0, LONGEST_S)
    _within("begin_s", begin_s, 0, 1e9)
    first = round(begin_s * rate_hz)  # by whole samples: a piece draws the very numbers the whole would have had
    return np.asarray(np.arange(first, first + round(seconds * rate_hz)) / rate_hz)


def _within(name: str, value: float, low: float, high: float) -> None:
    """`value` is a finite number from low to high; text, nan and infinity are not."""
    if not low <= value <= high:
        raise OutOfRange(name, f"{value} cannot be drawn.", f"{low:g} to {high:g}.")
