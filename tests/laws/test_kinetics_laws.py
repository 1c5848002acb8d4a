"""Laws of compartments: what is given is somewhere, doses add, time shifts, a level turns where plasma and effect site meet."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from kinetic_models import Constants, constants, decades, schedules, times_of
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.network import modes
from spiracle.kinetics.population import Spread, animals, band
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import Levels, amounts, levels, turns
from spiracle.kinetics.timing import (
    context_half_time,
    holding_rate,
    peak_after,
    share_of_plateau,
    steady_level,
    time_to_decrement,
    time_to_fall,
)

FULL = constants(slowest=-3, fastest=0.5, zeros=False, effect=True)


def both(seen: Levels) -> np.ndarray:
    return np.array([seen.plasma, seen.plasma * 0 if seen.effect is None else seen.effect])


def top(model: Constants, schedule: Schedule) -> float:
    return float(levels(model.disposition(), schedule, schedule.steps().times).plasma.max())


@given(st.data(), constants(slowest=-6, fastest=2))
def test_what_is_given_is_held_or_gone(data: st.DataObject, model: Constants) -> None:
    """Mass balance: the area under the plasma curve times the clearance is what the compartments no longer hold."""
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    seen = amounts(model.disposition(), schedule, times)
    given_by = np.array([schedule.total_by(t) for t in times])
    whole = schedule.total_by(1e9)
    assert np.abs(seen.held.sum(0) + seen.eliminated - given_by).max() <= 1e-9 * whole
    assert seen.held.min() >= -1e-12 * whole
    assert seen.eliminated.min() >= 0


@given(st.data(), constants(), decades(-2, 2))
def test_twice_the_dose_is_twice_the_level(data: st.DataObject, model: Constants, times_more: float) -> None:
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    more = Schedule(
        tuple(Bolus(b.at_min, b.dose * times_more, b.over_min) for b in schedule.boluses),
        tuple(Infusion(i.start_min, i.stop_min, i.rate * times_more) for i in schedule.infusions),
    )
    one, many = (both(levels(model.disposition(), s, times)) for s in (schedule, more))
    assert many == pytest.approx(times_more * one, rel=1e-12, abs=1e-13 * times_more * one.max())


@given(st.data(), constants())
def test_levels_of_parts_add_up(data: st.DataObject, model: Constants) -> None:
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule))
    parts = [Schedule((b,)) for b in schedule.boluses] + [Schedule((), (i,)) for i in schedule.infusions]
    whole = both(levels(model.disposition(), schedule, times))
    added = sum(both(levels(model.disposition(), part, times)) for part in parts)
    assert np.abs(whole - added).max() <= 1e-11 * top(model, schedule)


@given(st.data(), constants(), st.floats(0, 100))
def test_the_same_later_is_the_same_curve_later(data: st.DataObject, model: Constants, later: float) -> None:
    schedule = data.draw(schedules())
    times = data.draw(times_of(schedule)) + 0.123
    moved = Schedule(
        tuple(Bolus(b.at_min + later, b.dose, b.over_min) for b in schedule.boluses),
        tuple(Infusion(i.start_min + later, i.stop_min + later, i.rate) for i in schedule.infusions),
    )
    edges = np.abs(times[:, None] - schedule.steps().times).min(1)
    assume(edges.min() > 1e-9)  # a rounded sum may fall to either side of the very instant of a bolus
    now, then = (
        both(levels(model.disposition(), schedule, times)),
        both(levels(model.disposition(), moved, times + later)),
    )
    assert np.abs(now - then).max() <= 1e-9 * top(model, schedule)


@given(FULL, decades(-3, 0))
def test_a_constant_rate_ends_at_rate_over_clearance(model: Constants, rate: float) -> None:
    d = model.disposition()
    long = float(60 / min(d.modes().rates.min(), model.ke0 or 1))
    seen = levels(d, Schedule((), (Infusion(0, long, rate),)), [long * 0.999])
    assert seen.effect is not None
    assert seen.plasma[0] == pytest.approx(steady_level(d, rate), rel=1e-9)
    assert seen.effect[0] == pytest.approx(rate / (model.k10 * model.v1), rel=1e-9)
    shares = share_of_plateau(d, [0, long / 100, long])
    part = levels(d, Schedule((), (Infusion(0, long, rate),)), [long / 100])
    assert shares[[0, 2]] == pytest.approx([0, 1], abs=1e-9)
    assert shares[1] * steady_level(d, rate) == pytest.approx(part.plasma[0], rel=1e-10)


@given(FULL, decades(-2, 1), decades(-2, 1))
def test_the_peak_comes_when_plasma_and_effect_meet_whatever_the_dose(model: Constants, one: float, two: float) -> None:
    d = model.disposition()
    first, second = (peak_after(d, Schedule(), dose, 5.0, 1e6) for dose in (one, two))
    assert first.after_min == pytest.approx(second.after_min, rel=1e-7)
    assert first.level / one == pytest.approx(second.level / two, rel=1e-10)
    at = 5.0 + float(np.max(first.after_min))
    seen = levels(d, Schedule((Bolus(5.0, one),)), [at, at * 0.99 + 0.05, at * 1.01])
    assert seen.effect is not None
    assert seen.effect[0] == pytest.approx(seen.plasma[0], rel=1e-7)
    assert seen.effect[0] == pytest.approx(first.level, rel=1e-9)
    assert seen.effect.max() <= first.level * (1 + 1e-12)
    assert np.isnan(peak_after(d, Schedule(), one, 5.0, float(np.max(first.after_min)) * 0.99).after_min)


@given(FULL, decades(-1, 1), st.floats(0, 60))
def test_an_injection_over_a_minute_is_its_quarters_in_a_row(model: Constants, dose: float, at: float) -> None:
    times = at + np.array([0.1, 0.25, 0.4, 0.77, 1.0, 1.3, 5, 50])
    whole = Schedule((Bolus(at, dose, 1.0),))
    quarters = Schedule(tuple(Bolus(at + n / 4, dose / 4, 0.25) for n in range(4)))
    pumped = Schedule((), (Infusion(at, at + 1, dose),))
    one, *others = (both(levels(model.disposition(), s, times)) for s in (whole, quarters, pumped))
    for other in others:
        assert np.abs(one - other).max() <= 1e-10 * dose / model.v1


@given(constants(slowest=-5, fastest=1.5))
def test_coefficients_sum_to_one_over_v1_and_areas_to_one_over_clearance(model: Constants) -> None:
    d = model.disposition()
    coefficients, rates = d.coefficients()
    assert coefficients.min() >= 0
    assert coefficients.sum() * d.v1 == pytest.approx(1, rel=1e-12)
    if float(np.max(d.clearance)) > 0:
        # what the slowest rate has lost against the fastest, it has lost for good
        assert (coefficients / rates).sum() * d.clearance == pytest.approx(
            1, rel=1e-14 * float(rates.max() / rates.min()) + 1e-11
        )
        assert d.mrt() == pytest.approx(
            (coefficients / rates**2).sum() * d.clearance, rel=1e-13 * float(rates.max() / rates.min()) + 1e-10
        )
    assert np.log(2) / d.half_lives() == pytest.approx(rates)


def test_outflow_that_never_returns_and_exchange_without_flow() -> None:
    lost = Disposition.of_constants(0.5, k10=0.1, k12=0.05, k21=0.0, k13=0.0, k31=0.2)
    assert lost.exchange == ()
    assert lost.clearance == pytest.approx(0.075)
    assert lost == Disposition(0.5, lost.clearance)
    assert hash(lost) == hash(Disposition(0.5, lost.clearance))
    assert lost != Disposition(0.5, 0.08)
    mixed = Disposition.of_constants(
        np.array([0.5, 0.5]), k10=0.1, k12=np.array([0.05, 0.05]), k21=np.array([0.0, 0.1])
    )
    seen = levels(mixed, Schedule((Bolus(0, 1),)), [3.0]).plasma[:, 0]
    assert seen[0] == pytest.approx(2 * np.exp(-0.45), rel=1e-12)
    kept = levels(Disposition(0.5, 0.0), Schedule((Bolus(0, 1), Bolus(1, 1)), (Infusion(2, 4, 0.5),)), [0, 1, 3, 1e6])
    assert kept.plasma.tolist() == pytest.approx([2, 4, 5, 6])


@settings(max_examples=60)
@given(FULL, st.data(), st.floats(1, 200), st.sampled_from(["plasma", "effect"]), st.floats(0.05, 0.95))
def test_a_level_has_fallen_for_good_when_told(
    model: Constants, data: st.DataObject, stop: float, site: str, part: float
) -> None:
    schedule = data.draw(schedules())
    d, over = model.disposition(), schedule.stopped_at(stop)
    assume(over.total_by(stop) > 0)
    look = stop + np.concatenate(([0.0], np.geomspace(1e-4, 1e4, 400)))
    seen = both(levels(d, over, look))[0 if site == "plasma" else 1]
    target = float(part * seen.max())
    assume(target > 0)
    horizon = 9e3
    took = float(np.max(time_to_fall(d, schedule, stop, target, site, horizon)))
    if np.isnan(took):
        assert seen[look <= stop + horizon][-1] > target * (1 - 1e-9)
        return
    assert 0 <= took <= horizon
    assert seen[look > stop + took].max(initial=0) <= target * (1 + 1e-9)
    if took > 0:
        then = both(levels(d, over, [stop + took]))[0 if site == "plasma" else 1]
        assert then[0] == pytest.approx(target, rel=1e-8)


@pytest.mark.parametrize("ke0", [1e-6, 1e-4])
def test_an_effect_that_still_rises_and_stays_under_the_level_has_nothing_to_fall(ke0: float) -> None:
    """One compartment, 2 mg/L at first, that nothing leaves: the effect 2 (1 - exp(-ke0 t)) rises for ever, analytic. In an hour it
    comes to under 0.012 mg/L; a level under what it comes to is passed and not left again."""
    d, once = Disposition(0.5, 0.0, (), ke0), Schedule((Bolus(0, 1),))
    comes_to = 2 * -np.expm1(-ke0 * 60)
    assert comes_to < 0.012
    assert time_to_fall(d, once, 0, comes_to * 1.01, "effect", 60.0) == 0
    assert np.isnan(time_to_fall(d, once, 0, comes_to * 0.99, "effect", 60.0))


def test_thousands_of_animals_through_many_doses_are_each_alone() -> None:
    """So many changes that the animals are taken in turns; our own solver of one at a time, itself held to scipy's elsewhere."""
    many, _ = animals(
        Disposition(0.4, 0.02, ((0.044, 0.88),), 0.3), Spread(cv_v1=0.3, cv_clearance=0.3, sd_log_ke0=0.2)
    )
    schedule = Schedule(tuple(Bolus(n / 10, 0.01, 1.05) for n in range(400)))
    groups = turns(many, schedule.steps())
    assert len(groups) > 1 and groups[-1].stop >= many.shape[0]
    asked = [0.5, 20.0, 45.0, 100.0]
    seen = both(levels(many, schedule, asked))
    took = time_to_fall(many, schedule, 30.0, 0.5, "effect")
    for n in (0, groups[1].start - 1, groups[1].start, many.shape[0] - 1):
        (flow, volume), *_ = many.exchange
        one = Disposition(*(float(np.broadcast_to(x, many.shape)[n]) for x in (many.v1, many.clearance)),
                          ((float(np.broadcast_to(flow, many.shape)[n]), float(np.broadcast_to(volume, many.shape)[n])),),
                          float(np.broadcast_to(many.ke0, many.shape)[n]))  # fmt: skip
        assert seen[:, n] == pytest.approx(both(levels(one, schedule, asked)), rel=1e-9)
        assert np.asarray(took)[n] == pytest.approx(time_to_fall(one, schedule, 30.0, 0.5, "effect"), rel=1e-7)


@settings(max_examples=40)
@given(FULL, st.floats(1, 600), st.floats(0.1, 0.9))
def test_a_held_level_is_flat_and_falls_as_told(model: Constants, hold: float, fraction: float) -> None:
    """The holding rate fed step by step into scipy's solver keeps the plasma where it was; what it holds then falls as told."""
    d = model.disposition()
    given_ = holding_rate(d, 3.0, [0.0])
    assert given_.bolus == pytest.approx(3.0 * model.v1)
    matrix = model.matrix()[:4, :4]

    def change(t: float, x: np.ndarray) -> np.ndarray:
        out = matrix @ x
        out[0] += holding_rate(d, 3.0, [t]).rate[0]
        return out

    start = np.array([3.0 * model.v1, 0, 0, 0])
    run = solve_ivp(change, (0, min(hold, 60)), start, rtol=1e-9, atol=1e-11)
    assert run.y[0] / model.v1 == pytest.approx(np.full(run.t.size, 3.0), rel=1e-7)
    if hold <= 60:
        took = float(np.max(context_half_time(d, hold, fraction)))
        after = solve_ivp(lambda _, x: matrix @ x, (0, took), run.y[:, -1], method="LSODA", rtol=1e-10, atol=1e-13)
        assert after.y[0, -1] / model.v1 == pytest.approx(3.0 * fraction, rel=1e-6)


@given(decades(-1, 1), decades(-3, 0), st.floats(1, 600), st.floats(0.1, 0.9))
def test_one_compartment_falls_alike_after_any_hold(v1: float, k10: float, hold: float, fraction: float) -> None:
    d = Disposition.of_constants(v1, k10=k10)
    wanted = -np.log(fraction) / k10
    assert context_half_time(d, hold, fraction) == pytest.approx(wanted, rel=1e-9)
    assert time_to_decrement(d, hold, fraction) == pytest.approx(wanted, rel=1e-8)


@given(FULL, st.lists(decades(-3, 1), min_size=4, max_size=4), decades(-2, 2))
def test_a_network_after_constant_inflow_is_its_differential_equation(
    model: Constants, drawn: list[float], t: float
) -> None:
    """Four places in a ring, none or one of them open to the outside, against scipy's solver (LSODA)."""
    g = np.zeros((4, 4))
    for n in range(4):
        g[n, (n + 1) % 4] = g[(n + 1) % 4, n] = drawn[n]
    capacity, outward = np.array([1.0, 0.5, 2.0, 4.0]), np.array([0.0, 0.0, 0.0, model.k10 if model.k12 else 0.0])
    x0, inflow = np.array([1.0, 0.0, 0.2, 0.0]), np.array([0.0, 0.3, 0.0, 0.0])
    ours = modes(capacity, g, outward).after(x0, inflow, np.array([0.0, t]))
    k = (np.diag(g.sum(1) + outward) - g) / capacity[:, None]
    run = solve_ivp(lambda _, x: inflow - k @ x, (0, t), x0, method="LSODA", rtol=1e-10, atol=1e-12)
    assert ours[0] == pytest.approx(x0, abs=1e-13)
    assert ours[1] == pytest.approx(run.y[:, -1], rel=1e-6, abs=1e-8)


def test_the_population_comes_near_a_large_sample_by_chance() -> None:
    """Against 200,000 animals drawn by numpy's generator: medians and outer percentiles of two levels, and the spread itself."""
    typical = Disposition.of_constants(0.4, k10=0.05, k12=0.11, k21=0.05, k13=0.02, k31=0.003, ke0=0.3)
    spread = Spread(0.3, 0.2, 0.4, 0.35, 0.25, 0.3, 0.4, 0.2)
    many, residual = animals(typical, spread)
    assert many.shape == (2048,)
    assert animals(typical, spread)[0] is many
    rng = np.random.default_rng(20)
    drawn = [np.exp(s * rng.standard_normal(200_000)) for s in spread.logarithmic()]
    pairs = tuple((q * drawn[4 + n], v * drawn[1 + n]) for n, (q, v) in enumerate(typical.exchange))
    by_chance = Disposition(typical.v1 * drawn[0], typical.clearance * drawn[3], pairs, 0.3 * drawn[6])
    schedule = Schedule((Bolus(0, 2), Bolus(4, 1)), (Infusion(5, 65, 0.1),))
    times = [1.0, 3.0, 10.0, 60.0, 120.0]
    ours, theirs = levels(many, schedule, times), levels(by_chance, schedule, times)
    assert ours.effect is not None
    assert theirs.effect is not None
    for mine, other in ((ours.plasma, theirs.plasma), (ours.effect, theirs.effect)):
        seen, sure = band(mine, residual), np.quantile(other * drawn[7][:, None], [0.1, 0.5, 0.9], axis=0)
        assert np.array([seen.p10, seen.p50, seen.p90]) == pytest.approx(sure, rel=0.02)
    assert np.std(many.v1) / np.mean(many.v1) == pytest.approx(0.3, rel=0.02)
    assert np.median(many.clearance) == pytest.approx(typical.clearance, rel=0.005)
    logs = np.log(np.array([many.v1, many.clearance, many.ke0, residual]))
    assert np.abs(np.corrcoef(logs) - np.eye(4)).max() < 0.03


@given(st.integers(2, 60), st.integers(1, 5))
def test_a_band_holds_the_percentiles_of_numpy(count: int, times: int) -> None:
    rng = np.random.default_rng(count)
    drawn, residual = rng.lognormal(size=(count, times)), rng.lognormal(size=count)
    seen = band(drawn, residual)
    wanted = np.quantile(drawn * residual[:, None], [0.1, 0.5, 0.9], axis=0)
    assert np.array([seen.p10, seen.p50, seen.p90]) == pytest.approx(wanted, rel=1e-12)
