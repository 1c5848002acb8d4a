"""The animals of a set that a band is told from: spread as its row says, and where two sets cannot be told apart, half of each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, isfinite, sqrt

import numpy as np

from spiracle.kinetics.choosing import Model
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.population import ANIMALS, Spread, animals, band

_FIELDS = {"v1": "cv_v1", "v2": "cv_v2", "v3": "cv_v3", "cl": "cv_clearance", "q2": "cv_q2", "q3": "cv_q3"}


@dataclass(frozen=True, slots=True, eq=False)
class Crowd:
    """Many animals (n,) and how far each lies off its own curve (n,)."""

    disposition: Disposition
    residual: Floats

    def band(self, levels: Floats) -> tuple[Floats, Floats, Floats]:
        """10, 50 and 90 % of the animals' levels (n, T), each (T,). The residual is the caller's to lay on."""
        found = band(levels)
        return found.p10, found.p50, found.p90

    def times(self, minutes: Floats) -> tuple[float | None, float | None, float | None]:
        """10, 50 and 90 % of the animals' times (n,); None where so many of them are beyond the horizon."""
        late = np.where(np.isnan(minutes), np.inf, minutes)
        found = (float(p[0]) for p in self.band(late[:, None]))
        low, middle, high = (value if isfinite(value) else None for value in found)
        return low, middle, high


def crowd(model: Model) -> Crowd:
    """The animals of a model, the same ones every time."""
    spread = _spread(model)
    return _crowd((model.disposition, *model.widen), spread)


def _spread(model: Model) -> Spread:
    named = {field: _cv(model.log_sd.get(name, 0.0)) for name, field in _FIELDS.items()}
    return Spread(**named, sd_log_ke0=model.log_sd.get("ke0", 0.0), sd_log_residual=model.residual_log_sd)


def _cv(log_sd: float) -> float:
    """The coefficient of variation of a lognormal value: sqrt(exp(sd^2) - 1).

    >>> round(_cv(0.2936), 2)
    0.3
    """
    return sqrt(exp(log_sd * log_sd) - 1)


@lru_cache(maxsize=32)
def _crowd(typical: tuple[Disposition, ...], spread: Spread) -> Crowd:
    """Of each typical animal every k-th of its row, so that all of them together are as many as one row."""
    many = len(typical)
    rows = [animals(one, spread, ANIMALS) for one in typical]
    if many == 1:
        return Crowd(*rows[0])
    longest = max(len(one.exchange) for one, _ in rows)
    parts = [(one, residual, slice(n, None, many)) for n, (one, residual) in enumerate(rows)]
    exchange = tuple(
        (_joined([_pair(one, n)[0][s] for one, _, s in parts]), _joined([_pair(one, n)[1][s] for one, _, s in parts]))
        for n in range(longest)
    )
    ke0 = None if typical[0].ke0 is None else _joined([np.asarray(one.ke0)[s] for one, _, s in parts])
    pooled = Disposition(
        _joined([np.asarray(one.v1)[s] for one, _, s in parts]),
        _joined([np.asarray(one.clearance)[s] for one, _, s in parts]),
        exchange,
        ke0,
    )
    return Crowd(pooled, _joined([residual[s] for _, residual, s in parts]))


def _pair(one: Disposition, n: int) -> tuple[Floats, Floats]:
    """A set without this exchange has one in which nothing flows."""
    if n < len(one.exchange):
        return np.asarray(one.exchange[n][0]), np.asarray(one.exchange[n][1])
    return np.zeros(ANIMALS), np.ones(ANIMALS)


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate(parts)
