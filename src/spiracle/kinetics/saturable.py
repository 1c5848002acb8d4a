"""Elimination that fills up (Michaelis-Menten) beside a linear clearance: solved numerically from one change of the schedule to the next.

There is no closed form for more than one compartment, so this is the one place with a step size; it keeps eight figures and is held
against the exact solver where the level is far below Km, and against the closed form of one compartment.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.schedule import Bolus, Schedule
from spiracle.kinetics.solving import Levels
from spiracle.refusals import OutOfRange

_FIGURES = 1e-10
_LINEAR = 1e-6  # of Km: from there down the rest leaves as by a clearance
_LONGEST_MIN = 1e9

Change = Callable[[float, Floats], Floats]


@dataclass(frozen=True, slots=True)
class Saturable:
    """One animal's compartments, whose clearance is the linear part (0 if none), and vmax [mg/kg/min], km [mg/L].

    Raises OutOfRange for a vmax or km that is not above 0, or for more than one animal.
    """

    linear: Disposition
    vmax: float
    km: float

    def __post_init__(self) -> None:
        for field, value, unit in (("vmax", self.vmax, "mg/kg/min"), ("km", self.km, "mg/L")):
            if not (np.isfinite(value) and value > 0):
                raise OutOfRange(field, f"{value:g} {unit} eliminates nothing.", f"Give {field} above 0 {unit}.")
        if self.linear.shape:
            raise OutOfRange(
                "animals", "Saturable elimination is solved for one animal at a time.", "Give one value each."
            )

    def where_linear(self) -> Disposition:
        """What it becomes far below Km: clearance + vmax / km."""
        return Disposition(
            self.linear.v1, self.linear.clearance + self.vmax / self.km, self.linear.exchange, self.linear.ke0
        )


def levels_saturable(model: Saturable, schedule: Schedule, times_min: npt.ArrayLike) -> Levels:
    """Levels (times,) at any times in any order; at the instant of a bolus, just after it. Relative error about 1e-8.

    Raises OutOfRange for a time that is negative or not finite.
    """
    times = np.asarray(times_min, dtype=np.float64).reshape(-1)
    if not np.all(np.isfinite(times) & (times >= 0)):
        raise OutOfRange("times", "A time lies before the case or is no time.", "Give minutes from 0 on.")
    steps = schedule.steps()
    wanted = np.unique(times)
    ends = [*steps.times[1:].tolist(), np.inf]
    scale = _FIGURES * 1e-3 * max(float(steps.jump.sum() + steps.flow.max()), 1e-300) / float(np.max(model.linear.v1))
    state = np.zeros(len(model.linear.volumes) + 1)
    seen = np.empty((wanted.size, state.size))
    for start, end, jump, flow in zip(steps.times, ends, steps.jump, steps.flow, strict=True):
        state[0] += jump / model.linear.v1
        here = (wanted >= start) & (wanted < end)
        stop = end if np.isfinite(end) else max(float(start), float(wanted.max(initial=0.0)))
        asked = np.append(wanted[here], stop)
        path = _run(_change(model, float(flow)), state, float(start), asked, scale)
        seen[here], state = path[:-1], path[-1]
    at = seen[np.searchsorted(wanted, times)]
    return Levels(times, at[:, 0].copy(), None if model.linear.ke0 is None else at[:, -1].copy())


def clearance_after_bolus(model: Saturable, dose: float) -> float:
    """Dose / area under the plasma curve [L/kg/min]: the clearance that a study of this one dose would have printed.

    The more is given, the less it is. One compartment without a linear part: vmax / (km + dose / (2 V1)). Raises OutOfRange for a dose
    that is not above 0.
    """
    from scipy.integrate import solve_ivp  # type: ignore[import-untyped]

    Schedule((Bolus(0.0, dose),))
    if dose == 0:
        raise OutOfRange("dose", "Nothing given leaves no curve.", "Give a dose above 0 mg/kg.")
    inner = _change(model, 0.0)
    places = len(model.linear.volumes)

    def change(t: float, x: Floats) -> Floats:
        return np.append(inner(t, x[:-1]), x[0])

    def low(_: float, x: Floats) -> float:
        return float(x[:places].max() - _LINEAR * model.km)

    low.terminal = True  # type: ignore[attr-defined]
    start = np.zeros(places + 2)
    start[0] = dose / model.linear.v1
    if low(0.0, start) > 0:
        scale = _FIGURES * 1e-6 * min(start[0], model.km)
        path = solve_ivp(change, (0.0, _LONGEST_MIN), start, method="LSODA", rtol=_FIGURES, atol=scale, events=low)
        start = path.y[:, -1]
    rest = float(start[:places] @ np.array(model.linear.volumes, dtype=np.float64))
    return float(dose / (start[-1] + rest / model.where_linear().clearance))


def _change(model: Saturable, flow: float) -> Change:
    """d(levels)/dt: central, the exchanges, the effect site."""
    linear = model.linear
    v1, clearance = float(np.max(linear.v1)), float(np.max(linear.clearance))
    pairs = [(float(np.max(q)), float(np.max(v))) for q, v in linear.exchange]
    ke0 = 0.0 if linear.ke0 is None else float(np.max(linear.ke0))
    vmax, km = model.vmax, model.km

    def change(_: float, x: Floats) -> Floats:
        plasma = x[0]
        out = flow - clearance * plasma - vmax * plasma / (km + plasma)
        rates = [0.0]
        for (q, v), level in zip(pairs, x[1:], strict=False):
            moved = q * (plasma - level)
            out -= moved
            rates.append(moved / v)
        rates[0] = out / v1
        return np.array([*rates, ke0 * (plasma - x[-1])])

    return change


def _run(change: Change, state: Floats, start: float, asked: Floats, scale: float) -> Floats:
    """States at the times asked for, the last of them the end."""
    from scipy.integrate import solve_ivp

    if asked[-1] <= start:
        return np.repeat(state[None, :], asked.size, axis=0)
    once, back = np.unique(asked, return_inverse=True)
    path = solve_ivp(change, (start, float(once[-1])), state, method="LSODA", t_eval=once, rtol=_FIGURES, atol=scale)
    if not path.success:
        raise OutOfRange(
            "times", "No curve could be followed so far.", "Give an earlier time, or doses nearer to those in use."
        )
    return np.asarray(path.y.T[back])
