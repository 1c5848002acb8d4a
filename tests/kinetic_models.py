"""Random dispositions and schedules for the laws of kinetics, and two ways of solving them that are not ours: steps and matrices.

Rates spread over five decades, or are 0, or equal, or nearly equal. The oracles read rate constants only, never our modes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule

Floats = NDArray[np.float64]
LONGEST = 240.0


@dataclass(frozen=True)
class Constants:
    """One model as rate constants [1/min], V1 [L/kg]."""

    v1: float
    k10: float
    k12: float = 0.0
    k21: float = 0.0
    k13: float = 0.0
    k31: float = 0.0
    ke0: float | None = None

    def disposition(self) -> Disposition:
        return Disposition.of_constants(
            self.v1, k10=self.k10, k12=self.k12, k21=self.k21, k13=self.k13, k31=self.k31, ke0=self.ke0
        )

    def matrix(self) -> Floats:
        """d(amounts in 1, 2, 3, effect level, given out)/dt; the fifth column is the flow in."""
        a = np.zeros((5, 5))
        a[0, :3] = -(self.k10 + self.k12 + self.k13), self.k21, self.k31
        a[1, :2] = self.k12, -self.k21
        a[2, 0], a[2, 2] = self.k13, -self.k31
        a[3, 0], a[3, 3] = (self.ke0 or 0.0) / self.v1, -(self.ke0 or 0.0)
        return a


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda x: 10.0**x)


@st.composite
def constants(
    draw: st.DrawFn, slowest: float = -4, fastest: float = 1, zeros: bool = True, effect: bool | None = None
) -> Constants:
    """One to three compartments; ke0 sometimes on top of a rate, or a hair beside it."""
    rate = decades(slowest, fastest)
    some = st.one_of(st.just(0.0), rate) if zeros else rate
    size = draw(st.integers(1, 3))
    k10, k12, k21, k13, k31 = draw(some), 0.0, 0.0, 0.0, 0.0
    if size > 1:
        k12, k21 = draw(some), draw(some)
    if size > 2:
        k13, k31 = draw(some), draw(st.one_of(some, st.just(k21)))
    bare = Constants(draw(decades(-2, 1)), k10, k12, k21, k13, k31)
    if effect is False or (effect is None and draw(st.integers(0, 4)) == 0):
        return bare
    kind = draw(st.integers(0, 3))
    ke0 = draw(some)
    if kind == 0:
        ke0 = float(draw(st.sampled_from(list(bare.disposition().modes().rates))))
        ke0 *= 1 + draw(st.sampled_from([0.0, 1e-14, -1e-11, 1e-8, -1e-5, 1e-4, 1e-3]))
    return Constants(bare.v1, k10, k12, k21, k13, k31, ke0)


@st.composite
def schedules(draw: st.DrawFn, empty: bool = False) -> Schedule:
    minute = st.floats(0, 120)
    dose = decades(-2, 1)
    one = st.builds(Bolus, minute, dose, st.one_of(st.just(0.0), st.floats(0.1, 20)))
    boluses = draw(st.lists(one, max_size=5))
    ends = sorted(set(draw(st.lists(minute, max_size=6))))
    pairs = [(a, b) for a, b in pairwise(ends) if b - a > 1e-3]
    kept = [p for p in pairs if draw(st.booleans())]
    infusions = tuple(Infusion(a, b, draw(decades(-3, 0))) for a, b in kept)
    if not boluses and not infusions and not empty:
        boluses = [draw(one)]
    return Schedule(tuple(boluses), infusions)


@st.composite
def times_of(draw: st.DrawFn, schedule: Schedule) -> Floats:
    """Times in any order, some of them the very instants at which something changes."""
    instants = schedule.steps().times.tolist()
    return np.array(
        draw(st.lists(st.one_of(st.floats(0, LONGEST), st.sampled_from(instants)), min_size=1, max_size=12))
    )


def pieces(schedule: Schedule) -> list[tuple[float, float, float, float]]:
    """(start, end, bolus at start, rate), read from the entries themselves."""
    flows = [(b.at_min, b.at_min + b.over_min, b.dose / b.over_min) for b in schedule.boluses if b.over_min > 0]
    flows += [(i.start_min, i.stop_min, i.rate) for i in schedule.infusions]
    cuts = sorted({0.0, *(b.at_min for b in schedule.boluses), *(f[0] for f in flows), *(f[1] for f in flows)})
    return [
        (
            a, b,
            sum(x.dose for x in schedule.boluses if x.over_min == 0 and x.at_min == a),
            sum(rate for start, stop, rate in flows if start <= a < stop),
        )
        for a, b in zip(cuts, [*cuts[1:], np.inf], strict=True)
    ]  # fmt: skip


def by_steps(model: Constants, schedule: Schedule, times: Floats, rtol: float = 1e-10) -> tuple[Floats, Floats]:
    """Plasma and effect by scipy.integrate.solve_ivp (DOP853, explicit, order 8), restarted at each change."""
    matrix = model.matrix()
    state, out = np.zeros(5), np.zeros((times.size, 5))
    scale = max(sum(b.dose for b in schedule.boluses), 1e-6)
    for start, end, bolus, flow in pieces(schedule):
        state[0] += bolus
        state[4] = flow
        inner = matrix.copy()
        inner[0, 4] = 1.0
        now = start  # a run ends at each time asked for: what it interpolates between its steps is less exact than the steps
        for t in np.unique(times[(times >= start) & (times < end)]):
            state, now = _run(inner, state, now, t, rtol, scale), t
            out[times == t] = state
        if np.isfinite(end):
            state = _run(inner, state, now, end, rtol, scale)
    return out[:, 0] / model.v1, out[:, 3]


def _run(matrix: Floats, state: Floats, start: float, end: float, rtol: float, scale: float) -> Floats:
    if end <= start:
        return state.copy()
    run = solve_ivp(lambda _, x: matrix @ x, (start, end), state, method="DOP853", rtol=rtol, atol=1e-13 * scale)
    assert run.success
    return run.y[:, -1]


def by_matrices(model: Constants, schedule: Schedule, times: Floats) -> tuple[Floats, Floats]:
    """Plasma and effect by scipy.linalg.expm of the whole matrix over each piece."""
    matrix = model.matrix()
    matrix[0, 4] = 1.0
    state, out = np.zeros(5), np.zeros((times.size, 5))
    for start, end, bolus, flow in pieces(schedule):
        state[0] += bolus
        state[4] = flow
        for n in np.flatnonzero((times >= start) & (times < end)):
            out[n] = expm(matrix * (times[n] - start)) @ state
        if np.isfinite(end):
            state = expm(matrix * (end - start)) @ state
    return out[:, 0] / model.v1, out[:, 3]


def side_by_side(models: list[Constants]) -> Disposition:
    """Many animals in one row, three compartments each, by rate constants."""
    columns = {name: np.array([getattr(m, name) for m in models]) for name in ("k10", "k12", "k21", "k13", "k31")}
    return Disposition.of_constants(
        np.array([m.v1 for m in models]), **columns, ke0=np.array([m.ke0 or 0.0 for m in models])
    )
