"""The solver held against general ones: scipy's step-by-step solver, scipy's matrix exponential, decimals of sixty digits."""

from __future__ import annotations

from decimal import Decimal, localcontext

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.special import lambertw

from kinetic_models import Constants, by_matrices, by_steps, constants, decades, schedules, side_by_side, times_of
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import fills, gathers, passes
from spiracle.kinetics.saturable import Saturable, clearance_after_bolus, levels_saturable
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels, on_grid


def most(schedule: Schedule, model: Constants) -> tuple[float, float]:
    """The highest plasma and effect level, from a row of times that holds every change."""
    seen = levels(model.disposition(), schedule, np.union1d(np.linspace(0, 240, 481), schedule.steps().times))
    return float(seen.plasma.max()), float(0 if seen.effect is None else seen.effect.max())


@settings(max_examples=25)
@given(st.data(), constants(fastest=0.3))
def test_agrees_with_a_step_by_step_solver(data: st.DataObject, model: Constants) -> None:
    """scipy.integrate.solve_ivp, DOP853 at rtol 1e-10: closer than 1e-8 of the highest level, plasma and effect."""
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    plasma, effect = by_steps(model, schedule, times)
    ours = levels(model.disposition(), schedule, times)
    top, site = most(schedule, model)
    assert np.abs(ours.plasma - plasma).max() <= 1e-8 * top
    if ours.effect is not None:
        assert np.abs(ours.effect - effect).max() <= 1e-8 * max(site, 1e-4 * top)


@settings(max_examples=100)
@given(st.data(), constants(slowest=-6, fastest=2))
def test_agrees_with_a_matrix_exponential(data: st.DataObject, model: Constants) -> None:
    """scipy.linalg.expm over eight decades of rates, with zero, equal and nearly equal ones."""
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    plasma, effect = by_matrices(model, schedule, times)
    ours = levels(model.disposition(), schedule, times)
    top, _ = most(schedule, model)
    assert np.abs(ours.plasma - plasma).max() <= 1e-9 * top
    if ours.effect is not None:
        assert np.abs(ours.effect - effect).max() <= 1e-9 * top


@settings(max_examples=80)
@given(st.data(), constants(slowest=-6, fastest=2), decades(-3, 1), st.integers(1, 200))
def test_the_even_grid_is_the_exact_curve(data: st.DataObject, model: Constants, every: float, points: int) -> None:
    schedule = data.draw(schedules())
    grid = on_grid(model.disposition(), schedule, every, points)
    exact = levels(model.disposition(), schedule, grid.times)
    top, _ = most(schedule, model)
    assert np.abs(grid.plasma - exact.plasma).max() <= 1e-9 * top
    assert (grid.effect is None) == (exact.effect is None)
    if grid.effect is not None and exact.effect is not None:
        assert np.abs(grid.effect - exact.effect).max() <= 1e-9 * top


@pytest.mark.parametrize("over", [1.1e-6, 1e-5, 1e-3, 1e-2])
@pytest.mark.parametrize("ke0", [None, 0.2, 60.0])
def test_the_even_grid_keeps_its_figures_in_a_strong_flow_of_an_instant(over: float, ke0: float | None) -> None:
    """1 mg/kg within under a second, held against scipy.linalg.expm: to 1e-9 of the highest level, beside slow and fast compartments."""
    model = Constants(v1=0.5, k10=0.02, k12=0.2, k21=0.1, k13=0.05, k31=0.001, ke0=ke0)
    schedule = Schedule((Bolus(1.0, 1.0, over),), (Infusion(0, 30, 1e-4),))
    grid = on_grid(model.disposition(), schedule, 0.5, 241)
    plasma, effect = by_matrices(model, schedule, grid.times)
    assert np.abs(grid.plasma - plasma).max() <= 1e-9 * plasma.max()
    assert (grid.effect is None) == (ke0 is None)
    if grid.effect is not None:
        assert np.abs(grid.effect - effect).max() <= 1e-9 * effect.max()


@settings(max_examples=40)
@given(st.data(), st.lists(constants(effect=True), min_size=2, max_size=6))
def test_animals_side_by_side_are_each_alone(data: st.DataObject, models: list[Constants]) -> None:
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    many = side_by_side(models)
    together, grid = levels(many, schedule, times), on_grid(many, schedule, 2.0, 60)
    for n, model in enumerate(models):
        alone, even = levels(model.disposition(), schedule, times), levels(model.disposition(), schedule, grid.times)
        top, _ = most(schedule, model)
        assert (
            together.effect is not None
            and alone.effect is not None
            and grid.effect is not None
            and even.effect is not None
        )
        assert np.abs(together.plasma[n] - alone.plasma).max() <= 1e-11 * top
        assert np.abs(together.effect[n] - alone.effect).max() <= 1e-11 * top
        assert np.abs(grid.plasma[n] - even.plasma).max() <= 1e-9 * top
        assert np.abs(grid.effect[n] - even.effect).max() <= 1e-9 * top


RATE = st.one_of(st.just(0.0), decades(-9, 3))


@settings(max_examples=300)
@given(RATE, RATE, st.sampled_from([None, 0.0, 1e-15, 1e-12, -1e-9, 1e-6, -1e-3]), decades(-4, 3))
def test_integrals_of_exponentials_keep_their_figures(
    first: float, second: float, beside: float | None, t: float
) -> None:
    """Held against the plain formulas in decimals of 60 digits, where nothing cancels that matters."""
    if beside is not None:
        second = first * (1 + beside)
    assume(max(first, second) * t < 1e5)
    with localcontext() as wide:
        wide.prec = 80
        a, b, d = Decimal(first), Decimal(second), Decimal(t)

        def gathered(rate: Decimal, time: Decimal) -> Decimal:
            return (1 - (-rate * time).exp()) / rate if rate else time

        def passed(x: Decimal, y: Decimal, time: Decimal) -> Decimal:
            return ((-x * time).exp() - (-y * time).exp()) / (y - x) if x != y else time * (-x * time).exp()

        if a != b:
            filled = (gathered(a, d) - gathered(b, d)) / (b - a)
        else:
            filled = (gathered(a, d) - d * (-a * d).exp()) / a if a else d * d / 2
        wanted = [float(x) for x in (gathered(a, d), passed(a, b, d), filled)]
    got = [float(x) for x in (gathers(first, t), passes(first, second, t), fills(first, second, t))]
    # the exponent itself is rounded once: its error is that of rate x t
    slack = 4e-15 * (1 + min(first, second) * t)
    assert got == [pytest.approx(w, rel=slack, abs=1e-300) for w in wanted]


@settings(max_examples=8)
@given(st.data(), constants(slowest=-3, fastest=0, zeros=False), decades(-3, -1), decades(-1, 1))
def test_saturable_elimination_is_linear_far_below_km(
    data: st.DataObject, model: Constants, vmax: float, km: float
) -> None:
    """At a level of 1e-9 Km the share of the elimination that is filled is 1e-9; our exact solver is the limit."""
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    top, _ = most(schedule, model)
    small = km * 1e-9 / top
    tiny = Schedule(
        tuple(Bolus(b.at_min, b.dose * small, b.over_min) for b in schedule.boluses),
        tuple(type(i)(i.start_min, i.stop_min, i.rate * small) for i in schedule.infusions),
    )
    filling = Saturable(model.disposition(), vmax, km)
    ours, limit = levels_saturable(filling, tiny, times), levels(filling.where_linear(), tiny, times)
    assert np.abs(ours.plasma - limit.plasma).max() <= 3e-8 * km * 1e-9
    if ours.effect is not None and limit.effect is not None:
        assert np.abs(ours.effect - limit.effect).max() <= 3e-8 * km * 1e-9


@settings(max_examples=20)
@given(decades(-1, 1), decades(-3, -0.5), decades(-1, 1), decades(-1, 1.5))
def test_one_saturable_compartment_has_a_closed_form(v1: float, vmax: float, km: float, dose: float) -> None:
    """C = Km W(C0/Km exp((C0 - vmax t / V1) / Km)), Lambert W from scipy.special; dose / area = vmax / (Km + dose / (2 V1)).

    Source of the closed form: Schnell and Mendoza 1997 (the Michaelis-Menten equation solved by Lambert W), from memory.
    """
    model = Saturable(Disposition(v1, 0.0), vmax, km)
    start = dose / v1
    times = np.linspace(0, 3 * (start + km) * v1 / vmax, 25)
    assume(start / km < 300)
    closed = km * lambertw(start / km * np.exp((start - vmax / v1 * times) / km)).real
    assert np.abs(levels_saturable(model, Schedule((Bolus(0, dose),)), times).plasma - closed).max() <= 3e-8 * start
    assert clearance_after_bolus(model, dose) == pytest.approx(vmax / (km + dose / (2 * v1)), rel=1e-6)
