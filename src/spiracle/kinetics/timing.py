"""When a level peaks and when it has fallen, what rate holds it: roots of the exact curves, each animal at its own time.

Times are minutes after the increment or the stop. NaN means "not within the horizon": no time beyond it is ever told.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats, Number, fills, gathers, remains
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import Course, carried_on, course, effect_rate, last_of_course
from spiracle.refusals import Missing, NotOneOf, OutOfRange

Site = Literal["plasma", "effect"]
Curve = Callable[[Floats], Floats]
Slope = Callable[[Floats, Floats], Floats]  # of the times and the curve's values there

WEEK_MIN = 7 * 24 * 60.0
_ALONG = np.concatenate(
    ([0.0], np.geomspace(1e-5, 1.0, 63))
)  # where a change of sign is looked for, before the root is found
_ROUNDS = 100
_STILL = 1e-11  # a step of Newton's method this small leaves an error far smaller


@dataclass(frozen=True, slots=True, eq=False)
class Peak:
    """`after_min` the increment the effect peaks, at `level` [mg/L]. 0 where it falls all the same; NaN where it still rises."""

    after_min: Number
    level: Number


@dataclass(frozen=True, slots=True, eq=False)
class Holding:
    """What holds a plasma level: a bolus [mg/kg], then `rate` [mg/kg/min] (animals..., times), ever slower."""

    bolus: Number
    rate: Floats


def peak_after(disposition: Disposition, schedule: Schedule, dose: float, at: float, horizon_min: float) -> Peak:
    """When the effect next peaks after `dose` [mg/kg] on top of `schedule` at minute `at`, and how high.

    The root of plasma level - effect level, which is where the effect turns. Raises Missing without a ke0.
    """
    _needs("effect", disposition)
    _horizon(horizon_min)
    whole = course(disposition, schedule.with_bolus(Bolus(at, dose)))
    ends = [at, *(t for t in whole.steps.times if at < t < at + horizon_min), at + horizon_min]
    parts = [a + (np.nextafter(b, a) - a) * _ALONG for a, b in pairwise(ends)]
    turns = _turns(whole, np.concatenate(parts)[None, :])
    level = np.full(turns.shape, np.nan)
    seen = np.isfinite(turns)
    level[seen] = _effect(whole, np.where(seen, turns, at)[:, None])[seen, 0]
    return Peak(_shaped(turns - at, disposition), _shaped(level, disposition))


def time_to_fall(
    disposition: Disposition, schedule: Schedule, stop_at: float, level: Number, site: Site = "effect", horizon_min: float = WEEK_MIN
) -> Number:  # fmt: skip
    """Minutes after everything is stopped at `stop_at` until the level at `site` is at `level` [mg/L] and stays under it; 0 if it
    does not come above within the horizon. Later entries of the schedule are not given."""
    _needs(site, disposition)
    _horizon(horizon_min)
    if not np.all(np.isfinite(level)) or not np.all(np.asarray(level) > 0):
        raise OutOfRange("level", "A falling level never reaches 0.", "Give a level above 0 mg/L.")
    whole = _stopped(disposition, schedule, stop_at)
    return _shaped(_falls(whole, stop_at, _each(level, disposition), site, horizon_min), disposition)


def context_half_time(
    disposition: Disposition, hold_min: float, fraction: float = 0.5, site: Site = "plasma", horizon_min: float = WEEK_MIN
) -> Number:  # fmt: skip
    """Minutes until the level at `site` has fallen to `fraction` of what it was, after the plasma level was held for `hold_min`.

    Source: Hughes, Glass, Jacobs 1992, context-sensitive half-time (fraction 0.5). Held at 1, each exchange fills as
    1 - exp(-k21 t) and the effect site as 1 - exp(-ke0 t). One compartment: ln 2 / k10 whatever the time.
    """
    _needs(site, disposition)
    _horizon(horizon_min)
    _span("hold", hold_min)
    _part("fraction", fraction)
    ones = np.ones(disposition.shape)
    filled = [ones, *(-np.expm1(-np.asarray(q) / np.asarray(v) * hold_min) * ones for q, v in disposition.exchange)]
    to = effect_rate(disposition)
    site_level = np.zeros(ones.size) if to is None else -np.expm1(-to * hold_min)
    whole = carried_on(disposition, np.stack([f.reshape(-1) for f in filled], 1), site_level)
    target = fraction * (np.ones(ones.size) if site == "plasma" else site_level)
    return _shaped(_falls(whole, 0.0, target, site, horizon_min), disposition)


def time_to_decrement(
    disposition: Disposition, ran_min: float, fraction: float = 0.5, site: Site = "plasma", horizon_min: float = WEEK_MIN
) -> Number:  # fmt: skip
    """Minutes until the level at `site` has fallen to `fraction` of what it was when an infusion of one rate stopped after `ran_min`."""
    _needs(site, disposition)
    _horizon(horizon_min)
    _span("ran", ran_min)
    _part("fraction", fraction)
    whole = course(disposition, Schedule((), (Infusion(0.0, ran_min, 1.0),)))
    now = np.array([[ran_min]])
    level = (whole.at(now)[0] if site == "plasma" else _effect(whole, now))[:, 0]
    return _shaped(_falls(whole, ran_min, fraction * level, site, horizon_min), disposition)


def steady_level(disposition: Disposition, rate: Number) -> Number:
    """The level [mg/L] a rate [mg/kg/min] comes to in the end: rate / clearance. Raises OutOfRange where nothing leaves."""
    if np.any(np.asarray(disposition.clearance) == 0):
        raise OutOfRange("clearance", "Nothing leaves, so no level is steady.", "Give a clearance above 0 L/kg/min.")
    return rate / disposition.clearance


def share_of_plateau(disposition: Disposition, times_min: npt.ArrayLike, site: Site = "plasma") -> Floats:
    """The share of its steady level that a constant rate has reached after each time: (animals..., times), 0 to 1."""
    _needs(site, disposition)
    steady_level(disposition, 1.0)
    times = np.asarray(times_min, dtype=np.float64).reshape(-1, 1)
    if not np.all(np.isfinite(times) & (times >= 0)):
        raise OutOfRange("times", "A time lies before the start or is no time.", "Give minutes from 0 on.")
    first, rates = disposition.coefficients()
    rates = rates[..., None, :]
    if site == "plasma":
        grown = gathers(rates, times)
    else:
        to = np.broadcast_to(np.asarray(disposition.ke0), disposition.shape)[..., None, None]
        grown = to * fills(rates, to, times)
    return np.asarray((first[..., None, :] * grown).sum(-1) * np.asarray(disposition.clearance)[..., None])


def holding_rate(disposition: Disposition, target: Number, times_min: npt.ArrayLike) -> Holding:
    """What holds the plasma at `target` [mg/L]: target x V1 at once, then target x (clearance + sum of Q exp(-k21 t)).

    Source: the flow into each exchange while the plasma is held, by its own differential equation.
    """
    times = np.asarray(times_min, dtype=np.float64).reshape(-1)
    flow = np.asarray(disposition.clearance)[..., None] + np.zeros((*disposition.shape, times.size))
    for q, v in disposition.exchange:
        flow = flow + np.asarray(q)[..., None] * remains(np.asarray(q / v)[..., None], times)
    return Holding(target * disposition.v1, np.asarray(target)[..., None] * flow)


def _turns(whole: Course, points: Floats) -> Floats:
    """When each animal's effect stops rising (N,), looked for along `points` (1 or N, K); the first of them if it falls there."""
    to = _to(whole)[:, None]

    def over(times: Floats) -> Floats:
        plasma, effect = whole.at(times)
        return plasma if effect is None else plasma - effect

    rising = over(points)
    found = _first_fall(over, lambda t, high: whole.slope(t) - to * high, points, rising)
    return np.where(rising[:, 0] > 0, found, points[:, 0])


@lru_cache(maxsize=4)
def _stopped(disposition: Disposition, schedule: Schedule, stop_at: float) -> Course:
    """The last state under a schedule that was stopped, kept for the next level that is asked for."""
    return last_of_course(disposition, schedule.stopped_at(stop_at))


def _falls(whole: Course, start: float, level: Floats, site: Site, horizon_min: float) -> Floats:
    """Minutes after `start`, with nothing given any more, until the level has fallen to `level` (N,) for good."""
    end = start + horizon_min
    points = start + horizon_min * np.broadcast_to(_ALONG, (len(whole.rates), _ALONG.size))
    if site == "plasma":
        value: Curve = lambda t: whole.at(t)[0] - level[:, None]  # noqa: E731
        slope: Slope = lambda t, _: whole.slope(t)  # noqa: E731
        rising = np.zeros(len(level), dtype=bool)
    else:
        turn = _turns(whole, points)
        rising = np.isnan(turn)
        first = np.where(rising, start, turn)[:, None]
        points = first + (end - first) * _ALONG
        value = lambda t: _effect(whole, t) - level[:, None]  # noqa: E731
        slope = lambda t, _: _to(whole)[:, None] * (whole.at(t)[0] - _effect(whole, t))  # noqa: E731
    high = value(points)
    found = np.where(high[:, 0] > 0, _first_fall(value, slope, points, high) - start, 0.0)
    return np.where(rising & np.any(high > 0, axis=1), np.nan, found)


def _first_fall(value: Curve, slope: Slope, points: Floats, values: Floats) -> Floats:
    """Each animal's first root at which `value` falls through 0 (N,), NaN if there is none along the points."""
    falls = (values[:, :-1] > 0) & (values[:, 1:] <= 0)
    which, found = falls.argmax(1), np.any(falls, axis=1)
    points = np.broadcast_to(points, values.shape)
    rows = np.arange(len(values))
    low, high = points[rows, which], points[rows, which + 1]
    return np.where(found, _root(value, slope, low, high, found), np.nan)


def _root(value: Curve, slope: Slope, low: Floats, high: Floats, wanted: npt.NDArray[np.bool_]) -> Floats:
    """Newton's method kept between `low` (value above 0) and `high`, and halving where it would step out or hardly moves."""
    now = low
    for turn in range(_ROUNDS):
        here = value(now[:, None])
        down = slope(now[:, None], here)[:, 0]
        here = here[:, 0]
        low, high = np.where(here > 0, now, low), np.where(here > 0, high, now)
        step = now - here / np.where(down < 0, down, -np.inf)
        inside = (step >= low) & (step <= high) & (down < 0)
        if turn % 4 == 3:
            inside &= np.abs(step - now) < 0.25 * (high - low)
        after = np.where(inside | (here == 0), step, (low + high) / 2)
        moved = np.abs(after - now) > _STILL * np.abs(now)
        now = after
        if not np.any(moved & wanted):
            break
    return now


def _effect(whole: Course, times: Floats) -> Floats:
    plasma, effect = whole.at(times)
    return plasma * 0.0 if effect is None else effect


def _to(whole: Course) -> Floats:
    return np.zeros(len(whole.rates)) if whole.ke0 is None else whole.ke0


def _each(value: Number, disposition: Disposition) -> Floats:
    return np.broadcast_to(np.asarray(value, dtype=np.float64), disposition.shape).reshape(-1)


def _shaped(values: Floats, disposition: Disposition) -> Number:
    return values.reshape(disposition.shape) if disposition.shape else float(values[0])


def _needs(site: str, disposition: Disposition) -> None:
    if site not in {"plasma", "effect"}:
        raise NotOneOf("site", f'"{site}" is no site.', 'Choose "plasma" or "effect".')
    if site == "effect" and disposition.ke0 is None:
        raise Missing("ke0", "Without it there is no effect site.", "Give ke0 in 1/min, or ask for the plasma.")


def _horizon(horizon_min: float) -> None:
    if not (math.isfinite(horizon_min) and horizon_min > 0):
        raise OutOfRange("horizon", f"{horizon_min:g} min is no time to look ahead.", "Give minutes above 0.")


def _span(field: str, minutes: float) -> None:
    if not (math.isfinite(minutes) and minutes > 0):
        raise OutOfRange(field, f"{minutes:g} min is no duration.", "Give minutes above 0.")


def _part(field: str, fraction: float) -> None:
    if not 0 < fraction < 1:
        raise OutOfRange(field, f"{fraction:g} is no share to fall to.", "Give a number between 0 and 1.")
