"""The spread between animals: the same few thousand virtual animals at every moment of a prediction, and the time of a fall in each.

Where a model names others that cannot be told from it, a population is spread about each and the band reaches from the lowest to
the highest of them.
"""

from __future__ import annotations

from math import expm1, sqrt

import numpy as np

from spiracle.kinetics import population
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.population import ANIMALS, Spread, animals
from spiracle.kinetics.schedule import Schedule
from spiracle.kinetics.solving import Levels, levels
from spiracle.kinetics.timing import Site, time_to_fall
from spiracle.sheets.predict_model import Chosen
from spiracle.sheets.predict_shapes import Band, Percentiles, Series

AT_ONCE, MOST_MOMENTS = 1_500, 2_000
ROUND_MIN = (0.1, 0.25, 0.5, 1, 2, 3, 4, 5, 10, 15, 20, 30, 60, 120, 240, 360, 720, 1440)
PERCENT = (10.0, 50.0, 90.0)
FIELDS = {"v1": "cv_v1", "v2": "cv_v2", "v3": "cv_v3", "cl": "cv_clearance", "q2": "cv_q2", "q3": "cv_q3"}


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


def spread_of(chosen: Chosen) -> Spread:
    """Coefficients of variation from SDs of the logarithm: sqrt(exp(sd^2) - 1)."""
    sd = chosen.log_sd
    between = {FIELDS[name]: sqrt(expm1(value * value)) for name, value in sd.items() if name in FIELDS}
    return Spread(**between, sd_log_ke0=sd.get("ke0", 0.0), sd_log_residual=chosen.residual_log_sd)


def band_of(chosen: Chosen, schedule: Schedule, times: Floats, unit: str, factor: float) -> Band | None:
    """The band in `unit` (`factor` of it are 1 mg/L); nothing where no population is known or elimination saturates."""
    if not has_population(chosen):
        return None
    spread = spread_of(chosen)
    step = round_step(times.size, float(times[1] - times[0]), MOST_MOMENTS)
    times = times[::step]
    plasma, effect = [], []
    for first in range(0, times.size, AT_ONCE):
        part = times[first : first + AT_ONCE]
        found = [_percentiles(typical, spread, schedule, part) for typical in (chosen.typical, *chosen.widen)]
        plasma.append(_widest([p for p, _ in found]))
        effect.append(_widest([e for _, e in found if e is not None]))
    whole = None if chosen.typical.ke0 is None else _plain(np.concatenate(effect, axis=1) * factor)
    thinned = "" if step == 1 else f" Worked out at each {step}th moment."
    at = Series(unit="min", values=tuple(float(f"{t:.10g}") for t in times.tolist()))
    return Band(
        times=at,
        every=step,
        unit=unit,
        animals=ANIMALS,
        says=_says(chosen) + thinned,
        plasma=_plain(np.concatenate(plasma, axis=1) * factor),
        effect=whole,
    )


def has_population(chosen: Chosen) -> bool:
    return bool(chosen.log_sd) and chosen.saturating is None


def falls_of(chosen: Chosen, schedule: Schedule, stop: float, target: float, site: Site) -> tuple[float, float] | None:
    """Minutes after `stop` by which a tenth, and nine tenths, of the animals are under `target` [mg/L]; infinity if not within a week."""
    if not has_population(chosen):
        return None
    spread, found = spread_of(chosen), []
    for typical in (chosen.typical, *chosen.widen):
        many, residual = animals(typical, spread)
        after = np.asarray(time_to_fall(many, schedule, stop, target / residual, site))
        found.append(np.percentile(np.where(np.isnan(after), np.inf, after), (10, 90), method="nearest"))
    return float(min(f[0] for f in found)), float(max(f[1] for f in found))


def _percentiles(
    typical: Disposition, spread: Spread, schedule: Schedule, times: Floats
) -> tuple[Floats, Floats | None]:
    many, residual = animals(typical, spread)
    at: Levels = levels(many, schedule, times)
    site = None if at.effect is None else _rows(population.band(at.effect, residual))
    return _rows(population.band(at.plasma, residual)), site


def _rows(band: population.Band) -> Floats:
    return np.stack([band.p10, band.p50, band.p90])


def _widest(found: list[Floats]) -> Floats:
    """The middle of the model asked for; the lowest and the highest edge of all."""
    if not found:
        return np.zeros((3, 0))
    every = np.stack(found)
    return np.stack([every[:, 0].min(0), every[0, 1], every[:, 2].max(0)])


def _plain(rows: Floats) -> Percentiles:
    low, middle, high = (tuple(float(f"{v:.6g}") for v in row.tolist()) for row in rows)
    return Percentiles(p10=low, p50=middle, p90=high)


def _says(chosen: Chosen) -> str:
    words = f"10, 50 and 90 % of {ANIMALS:,} virtual animals spread about the model's typical one"
    if chosen.row is None:
        return f"{words}, every parameter by the spread given in the file."
    row = chosen.row.row
    told = " ".join(w.strip().rstrip(".") + "." for w in (row.spread_says, row.residual_says) if w.strip())
    wider = f" Widened by {', '.join(row.widen_with)}." if row.widen_with else ""
    return f"{words}. {told}{wider}".strip()
