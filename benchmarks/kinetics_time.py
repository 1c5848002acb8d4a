"""Predicted levels: one animal by the second, ten thousand at once, and the redraw at a push, each beside a named baseline.

The baseline of one animal is scipy.integrate.solve_ivp (DOP853), at the loosest tolerance that comes as near to the exact curve as
ours does, restarted at each dose; that of ten thousand is writing the same bytes once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from measuring import Result, median_ms
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.population import Spread, animals, band
from spiracle.kinetics.schedule import Bolus, Schedule
from spiracle.kinetics.solving import levels, on_grid
from spiracle.kinetics.timing import peak_after, time_to_fall

Floats = NDArray[np.float64]
# Made up, in the range of an intravenous induction agent: no drug's own.
TYPICAL = Disposition.of_constants(0.4, k10=0.05, k12=0.11, k21=0.05, k13=0.02, k31=0.003, ke0=0.3)
SPREAD = Spread(0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.1)
DOSES = Schedule(tuple(Bolus(3.7 * n, 0.5) for n in range(30)))
SECOND = 1 / 60


def stepped(schedule: Schedule, times: Floats, rtol: float) -> Floats:
    """Plasma and effect (2, times) step by step; the derivative as plain numbers, which is the quickest in Python."""
    d = TYPICAL
    k10, k12, k21, k13, k31, ke0 = (float(np.max(k)) for k in (d.k10, d.k12, d.k21, d.k13, d.k31, d.ke0 or 0.0))

    def change(_: float, x: Floats) -> list[float]:
        one, two, three, effect = x.tolist()
        return [
            k21 * two + k31 * three - (k10 + k12 + k13) * one,
            k12 * one - k21 * two,
            k13 * one - k31 * three,
            ke0 * (one - effect),
        ]

    state, out = np.zeros(4), np.zeros((2, times.size))
    starts = [b.at_min for b in schedule.boluses]
    for bolus, start, end in zip(schedule.boluses, starts, [*starts[1:], float(times[-1])], strict=True):
        state[0] += bolus.dose / float(np.max(d.v1))
        here = (times >= start) & (times <= end)
        asked = np.union1d(times[here], [end])
        run = solve_ivp(change, (start, end), state, method="DOP853", t_eval=asked, rtol=rtol, atol=rtol * 1e-2)
        out[:, here] = run.y[:, np.searchsorted(asked, times[here])][[0, 3]]
        state = run.y[:, -1].copy()
    return out


def one_animal() -> list[Result]:
    def ours() -> object:
        return on_grid(TYPICAL, DOSES, SECOND, 7200)

    grid = on_grid(TYPICAL, DOSES, SECOND, 7200)
    exact = levels(TYPICAL, DOSES, grid.times)
    assert grid.effect is not None
    assert exact.effect is not None
    near = max(float(np.abs(grid.plasma - exact.plasma).max()), float(np.abs(grid.effect - exact.effect).max()))
    far = {}
    for rtol in (1e-8, 1e-10, 1e-12, 2.3e-14):
        gone = stepped(DOSES, grid.times, rtol)
        far[rtol] = float(np.abs(gone - np.array([exact.plasma, exact.effect]))[:, 1:-1].max())
    rtol = next((r for r, error in far.items() if error <= near), 2.3e-14)
    slow = median_ms(lambda: stepped(DOSES, grid.times, rtol), 5, 1)
    quick = median_ms(ours, 200)
    return [
        Result(
            "levels of one animal, 2 h by the second, 30 doses, with effect site", quick, "ms", f"solve_ivp, rtol {rtol:.0e}", slow, 1,
            f"{slow / quick:,.0f} × faster (goal 200), furthest from the exact curve {near:.0e} against {far[rtol]:.0e} mg/L",
        ),
        Result("its speed, as a share of solve_ivp / 200", quick, "ms", "solve_ivp / 200", slow / 200, slow / 200),
    ]  # fmt: skip


def ten_thousand() -> Result:
    many, _ = animals(TYPICAL, SPREAD, 10_000)
    many.modes()

    def filled() -> object:
        return [np.empty((10_000, 7200)).fill(1.0) for _ in range(2)]

    runs = [(median_ms(filled, 1, 0), median_ms(lambda: on_grid(many, DOSES, SECOND, 7200), 1, 0)) for _ in range(7)]
    base, ours = (float(np.median([r[n] for r in runs[1:]])) for n in (0, 1))
    return Result(
        "levels of 10,000 animals at 7,200 times, plasma and effect", ours, "ms", "writing as many bytes once", base, 3 * base,
        "goal is 3 × the baseline; measured in turns",
    )  # fmt: skip


def at_a_push() -> list[Result]:
    many, residual = animals(TYPICAL, SPREAD)
    many.modes()
    grid = on_grid(many, DOSES, 0.8, 150)
    assert grid.effect is not None
    given = [n % 20 for n in range(10_000)]

    def redraw() -> object:
        pushed = DOSES.with_bolus(Bolus(111.0 + given.pop() / 10, 0.3))
        seen = on_grid(many, pushed, 0.8, 150)
        return None if seen.effect is None else band(seen.effect, residual)

    sorting = median_ms(lambda: np.sort(grid.effect, axis=0), 20)
    drawn, peak = median_ms(redraw, 60), median_ms(lambda: peak_after(many, DOSES, 0.3, 111, 60), 15)
    fallen = median_ms(lambda: time_to_fall(many, DOSES, 111, 0.5), 15)
    push = "redraw at a push: 2,048 animals, 150 times, 31 doses, with band"
    return [
        Result(push, drawn, "ms", "one sort over the animals", sorting, 30),
        Result("when that push peaks, in each animal", peak, "ms"),
        Result("when the effect has fallen, in each animal", fallen, "ms"),
    ]


def results() -> list[Result]:
    return [*one_animal(), ten_thousand(), *at_a_push()]
