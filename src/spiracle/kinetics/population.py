"""Virtual animals about a typical one: the same few thousand every time, spread as published or as stated.

Each value is lognormal about the typical one, independent of the others, from a row of points that fills the unit cube evenly
instead of by chance, so that a band does not flicker from one drawing to the next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats, Number
from spiracle.refusals import OutOfRange

FEWEST = 2000  # the least number of animals a band may be told from
ANIMALS = 2048


@dataclass(frozen=True, slots=True)
class Spread:
    """Between animals: coefficients of variation (0.3 = 30 %), and standard deviations of the logarithm where those are printed."""

    cv_v1: float = 0.0
    cv_v2: float = 0.0
    cv_v3: float = 0.0
    cv_clearance: float = 0.0
    cv_q2: float = 0.0
    cv_q3: float = 0.0
    sd_log_ke0: float = 0.0
    sd_log_residual: float = 0.0

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not (math.isfinite(value) and value >= 0):
                raise OutOfRange(
                    f"spread, {one.name}", f"{value:g} is no spread.", "Give 0 or more, like 0.3 for 30 %."
                )

    def logarithmic(self) -> tuple[float, ...]:
        """Standard deviations of the logarithms, in the order of the fields: sqrt(ln(1 + cv^2))."""
        values = [getattr(self, one.name) for one in fields(self)]
        return (*(math.sqrt(math.log1p(cv * cv)) for cv in values[:6]), *values[6:])


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """The 10th, 50th and 90th percentile over the animals, at each time."""

    p10: Floats
    p50: Floats
    p90: Floats


@lru_cache(maxsize=16)
def animals(typical: Disposition, spread: Spread, n: int = ANIMALS) -> tuple[Disposition, Floats]:
    """`n` animals about one typical animal, and a residual factor for each (n,); the median of each value is the typical one.

    Raises OutOfRange for a typical animal that is already many.
    """
    if typical.shape:
        raise OutOfRange("typical animal", "It stands for many already.", "Give the values of one.")
    if n < FEWEST:
        raise OutOfRange("animals", f"{n} are too few for a band.", f"Give {FEWEST} or more.")
    sd = spread.logarithmic()
    v1, v2, v3, clearance, q2, q3, ke0, residual = (
        np.exp(s * z) for s, z in zip(sd, _normals(n, len(sd)), strict=True)
    )
    about = ((q2, v2), (q3, v3))
    exchange = tuple((q * fq, v * fv) for (q, v), (fq, fv) in zip(typical.exchange, about, strict=False))
    to = None if typical.ke0 is None else typical.ke0 * ke0
    return Disposition(typical.v1 * v1, typical.clearance * clearance, exchange, to), residual


def band(levels: Floats, residual: Number = 1.0) -> Band:
    """Percentiles over the animals of `levels` (n, times), each animal's curve times its residual factor; each (times,)."""
    n = levels.shape[0]
    spread = np.multiply(levels.T, np.asarray(residual).reshape(1, -1), order="C")
    spread.sort(axis=1)  # quicker than a partition: the sort of numpy works on many numbers at once
    ranks = [share * (n - 1) for share in (0.1, 0.5, 0.9)]
    low, middle, high = (spread[:, int(r)] + (r - int(r)) * (spread[:, int(r) + 1] - spread[:, int(r)]) for r in ranks)
    return Band(low, middle, high)


@lru_cache(maxsize=8)
def _normals(n: int, dimensions: int) -> Floats:
    """`dimensions` rows of n standard normal values, evenly spread: (dimensions, n).

    The additive recurrence k -> (1/2 + k alpha_j) mod 1 with alpha_j = g^-j, g the positive root of g^(d+1) = g + 1 (a generalised
    golden ratio). Source: M. Roberts, "The unreasonable effectiveness of quasirandom sequences", 2018.
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1 + ratio) ** (1 / (dimensions + 1))
    alpha = ratio ** -np.arange(1.0, dimensions + 1)
    points = (0.5 + alpha[:, None] * np.arange(1, n + 1)) % 1.0
    inverse = NormalDist().inv_cdf
    return np.array([[inverse(p) for p in row] for row in points.tolist()])
