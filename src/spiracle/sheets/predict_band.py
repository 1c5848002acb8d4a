"""The spread between animals: the same few thousand virtual animals at every moment of a prediction, and the time of a fall in each.

Where a model names others that cannot be told from it, a population is spread about each and the band reaches from the lowest to
the highest of them.
"""

from __future__ import annotations

from math import inf

import numpy as np

from spiracle.kinetics.crowd import Crowd, crowd_of
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.population import ANIMALS
from spiracle.kinetics.schedule import Schedule
from spiracle.kinetics.solving import Levels, levels
from spiracle.kinetics.timing import Site, time_to_fall
from spiracle.sheets.predict_model import Chosen
from spiracle.sheets.predict_shapes import Band, Percentiles, Series

AT_ONCE, MOST_MOMENTS = 1_500, 2_000
ROUND_MIN = (0.1, 0.25, 0.5, 1, 2, 3, 4, 5, 10, 15, 20, 30, 60, 120, 240, 360, 720, 1440)


def round_step(count: int, step_min: float, most: int) -> int:
    """Each how-manieth of `count` moments is kept: the least that leaves under `most` of them, at round minutes where that can be.

    >>> round_step(721, 1 / 6, 40), round_step(30, 1.0, 40), round_step(7201, 1 / 60, 40), round_step(90001, 0.001, 2000)
    (24, 1, 240, 100)
    """
    if count <= most:
        return 1
    for wide in ROUND_MIN:
        many = round(wide / step_min)
        if many and abs(wide / step_min - many) < 1e-6 * many and (count - 1) / many < most:
            return many
    return -(-(count - 1) // (most - 1))


def band_of(chosen: Chosen, schedule: Schedule, times: Floats, unit: str, factor: float) -> Band | None:
    """The band in `unit` (`factor` of it are 1 mg/L); nothing where no population is known or elimination saturates."""
    many = population_of(chosen)
    if many is None:
        return None
    step = round_step(times.size, float(times[1] - times[0]), MOST_MOMENTS)
    times = times[::step]
    plasma, effect = [], []
    for first in range(0, times.size, AT_ONCE):
        part = times[first : first + AT_ONCE]
        at_part: Levels = levels(many.disposition, schedule, part)
        plasma.append(_rows(many, at_part.plasma))
        if at_part.effect is not None:
            effect.append(_rows(many, at_part.effect))
    whole = None if chosen.typical.ke0 is None else _plain(np.concatenate(effect, axis=1) * factor)
    thinned = "" if step == 1 else f" Worked out at each {step}th moment."
    at = Series(unit="min", values=tuple(float(f"{t:.10g}") for t in times.tolist()))
    return Band(
        times=at,
        every=step,
        unit=unit,
        animals=many.residual.size,
        says=_says(chosen) + thinned,
        plasma=_plain(np.concatenate(plasma, axis=1) * factor),
        effect=whole,
    )


def population_of(chosen: Chosen) -> Crowd | None:
    """The animals of the band; none where elimination saturates, which is solved for one animal at a time."""
    if chosen.spread is None or chosen.saturating is not None:
        return None
    return crowd_of((chosen.typical, *chosen.widen), chosen.spread)


def falls_of(chosen: Chosen, schedule: Schedule, stop: float, target: float, site: Site) -> tuple[float, float] | None:
    """Minutes after `stop` by which a tenth, and nine tenths, of the animals are under `target` [mg/L]; infinity if not within a week."""
    many = population_of(chosen)
    if many is None:
        return None
    after = np.asarray(time_to_fall(many.disposition, schedule, stop, target / many.residual, site))
    early, _, late = many.times(after)
    return inf if early is None else early, inf if late is None else late


def _rows(many: Crowd, at: Floats) -> Floats:
    return np.stack(many.band(at * many.residual[:, None]))


def _plain(rows: Floats) -> Percentiles:
    low, middle, high = (tuple(float(f"{v:.6g}") for v in row.tolist()) for row in rows)
    return Percentiles(p10=low, p50=middle, p90=high)


def _says(chosen: Chosen) -> str:
    words = f"10, 50 and 90 % of {ANIMALS:,} virtual animals spread about the model's typical one"
    if chosen.row is None:
        return f"{words}, every parameter by the spread given in the file."
    row = chosen.row.row
    told = " ".join(f"{w[:1].upper()}{w[1:].rstrip('.')}." for w in (row.spread_says, row.residual_says) if w)
    wider = f" Widened by {', '.join(row.widen_with)}." if row.widen_with else ""
    return f"{words}. {told}{wider}".strip()
