"""The animals of a set that a band is told from: spread as its row says, and where sets cannot be told apart, as many of each.

The band then reaches from the lowest to the highest edge of them; the middle is that of the set that was chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from spiracle.kinetics.choosing import Model
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats, Number
from spiracle.kinetics.population import ANIMALS, Spread, animals, band

_BEYOND = 1e12  # a number, so that a percentile between two animals beyond the horizon is one too


@dataclass(frozen=True, slots=True, eq=False)
class Crowd:
    """Animals (n,) of `sets` sets one after the other, and how far each lies off its own curve (n,)."""

    disposition: Disposition
    residual: Floats
    sets: int

    def few(self, part_of: int) -> Crowd:
        """The first animals of each set, for what is costly to find in all of them: any beginning of the row is even."""
        size = self.residual.size // self.sets
        kept = np.concatenate([np.arange(n * size, n * size + size // part_of) for n in range(self.sets)])

        def part(value: Number) -> Number:
            return np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), self.residual.shape)[kept])

        d = self.disposition
        ke0 = None if d.ke0 is None else part(d.ke0)
        exchange = tuple((part(q), part(v)) for q, v in d.exchange)
        return Crowd(Disposition(part(d.v1), part(d.clearance), exchange, ke0), self.residual[kept], self.sets)

    def band(self, levels: Floats) -> tuple[Floats, Floats, Floats]:
        """10, 50 and 90 % of the animals' levels (n, T), each (T,), widest over the sets. The residual is the caller's to lay on."""
        found = [band(part) for part in np.split(levels, self.sets)]
        low = np.min([one.p10 for one in found], axis=0)
        high = np.max([one.p90 for one in found], axis=0)
        return low, found[0].p50, high

    def own_band(self, levels: Floats) -> tuple[Floats, Floats, Floats]:
        """The same of the chosen set's animals alone: a published level belongs to the set beside which it stands."""
        found = band(np.split(levels, self.sets)[0])
        return found.p10, found.p50, found.p90

    def times(self, minutes: Floats) -> tuple[float | None, float | None, float | None]:
        """10, 50 and 90 % of the animals' times (n,); None where so many of them are beyond the horizon."""
        late = np.where(np.isnan(minutes), _BEYOND, minutes)
        found = (float(p[0]) for p in self.band(late[:, None]))
        low, middle, high = (value if value < _BEYOND / 1000 else None for value in found)
        return low, middle, high


def crowd(model: Model) -> Crowd:
    """The animals of a model, the same ones every time."""
    return crowd_of((model.disposition, *model.widen), model.spread)


def few_of(model: Model) -> Crowd:
    """A quarter of them, for times that are roots: those are costly, and are said to two figures."""
    return _few((model.disposition, *model.widen), model.spread)


@lru_cache(maxsize=32)
def _few(typical: tuple[Disposition, ...], spread: Spread) -> Crowd:
    return crowd_of(typical, spread).few(4)


@lru_cache(maxsize=32)
def crowd_of(typical: tuple[Disposition, ...], spread: Spread) -> Crowd:
    """The animals about one typical animal or more, the chosen one first."""
    rows = [animals(one, spread, ANIMALS) for one in typical]
    if len(rows) == 1:
        return Crowd(*rows[0], 1)
    each = -(-ANIMALS // len(rows))
    longest = max(len(one.exchange) for one, _ in rows)
    pairs = [[_pair(one, n) for one, _ in rows] for n in range(longest)]
    many = Disposition(
        _joined([one.v1 for one, _ in rows], each),
        _joined([one.clearance for one, _ in rows], each),
        tuple((_joined([q for q, _ in of], each), _joined([v for _, v in of], each)) for of in pairs),
        None if typical[0].ke0 is None else _joined([one.ke0 for one, _ in rows], each),
    )
    return Crowd(many, _joined([residual for _, residual in rows], each), len(rows))


def _pair(one: Disposition, n: int) -> tuple[object, object]:
    """A set without this exchange has one in which nothing flows."""
    return one.exchange[n] if n < len(one.exchange) else (0.0, 1.0)


def _joined(parts: list[object], each: int) -> Floats:
    return np.concatenate([np.broadcast_to(np.asarray(part, dtype=np.float64), ANIMALS)[:each] for part in parts])
