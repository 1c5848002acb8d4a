"""Laws of the engine that reads a CO2 trace: chunks do not matter, nor the unit, nor when the recording began."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pint
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from capnogram_shapes import breathing
from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.engine import Engine, read
from spiracle.capnogram.humps import Turns, dragged
from spiracle.capnogram.kept import KEPT_S
from spiracle.capnogram.setup import Setup
from spiracle.refusals import Missing, NotOneOf, OutOfRange

RATES = st.sampled_from([20.0, 25.0, 50.0, 62.5, 100.0, 125.0, 250.0])
Row = NDArray[np.float64]


@st.composite
def traces(draw: st.DrawFn) -> tuple[Row, float]:
    """Breathing, wandering or noise, stepped, with stretches missing, stuck or off the scale."""
    rate, seed = draw(RATES), draw(st.integers(0, 2**32 - 1))
    chance = np.random.default_rng(seed)
    x, _ = breathing(
        draw(st.sampled_from([5, 12, 30, 120])), draw(st.sampled_from([0.25, 0.6])), rate, draw(st.sampled_from([4.0, 12.0, 40.0, 80.0])),
        draw(st.sampled_from([0.0, 0.0, 15.0])), draw(st.sampled_from([0.0, 0.1, 1.0, 4.0])), seed,
    )  # fmt: skip
    if draw(st.integers(0, 5)) == 0:
        x = np.cumsum(chance.standard_normal(len(x))) * 0.4
    if draw(st.booleans()):
        x = np.round(x * 2) / 2
    for _ in range(draw(st.integers(0, 6))):
        lo = int(chance.integers(0, len(x)))
        hi = lo + int(chance.integers(1, rate * draw(st.sampled_from([0.1, 1.0, 20.0])) + 2))
        x[lo:hi] = draw(st.sampled_from([np.nan, 40.0, 0.0, 500.0, np.inf, -np.inf]))
    if draw(st.integers(0, 5)) == 0:
        x[chance.random(len(x)) < 0.1] = np.nan
    return x, rate


def streamed(x: Row, rate: float, sizes: list[int]) -> tuple[list[Breath], list[Trouble]]:
    """Fed in chunks of these sizes, over and over."""
    engine = Engine(Setup(rate))
    breaths: list[Breath] = []
    troubles: list[Trouble] = []
    at = k = 0
    while at < len(x):
        step = engine.feed(x[at : at + sizes[k % len(sizes)]])
        breaths += step.breaths
        troubles += step.troubles
        at, k = at + sizes[k % len(sizes)], k + 1
    last = engine.finish()
    return [*breaths, *last.breaths], [*troubles, *last.troubles]


@settings(max_examples=40)
@given(traces(), st.lists(st.one_of(st.integers(1, 9), st.integers(1, 20_000)), min_size=1, max_size=6))
def test_the_same_breaths_and_troubles_however_the_samples_are_cut(made: tuple[Row, float], sizes: list[int]) -> None:
    """Bit for bit: dataclasses of floats compared for equality, in the order told."""
    x, rate = made
    whole = streamed(x, rate, [len(x)])
    assert streamed(x, rate, sizes) == whole
    assert streamed(x, rate, [1]) == whole
    reading = read(x, Setup(rate))
    assert list(reading.breaths) == whole[0]
    assert len(reading.troubles) == len({(t.kind, t.from_s) for t in whole[1]})


def test_that_law_has_breaths_and_troubles_to_compare() -> None:
    """Guard: the drawn traces do give breaths of every rate and every kind of trouble, so that equality says something."""
    x, drawn = breathing(12, 1, 100.0, noise=0.1)
    broken = np.concatenate((x, np.full(2000, 40.0), x, np.full(100, np.nan), x, np.full(100, 500.0), x))
    shaken = np.concatenate((broken, np.random.default_rng(0).uniform(0, 60, 500), x))
    reading = read(shaken, Setup(100))
    assert len(reading.breaths) >= 4 * len(drawn)
    assert {t.kind for t in reading.troubles} == {"missing", "off scale", "stuck", "noise"}


@given(st.lists(st.floats(-20, 150), min_size=1, max_size=400), st.floats(-20, 150))
def test_the_parallel_rows_give_the_floats_of_one_step_after_the_other(values: list[float], start: float) -> None:
    """The drag worked out in rows, against the definition run sample by sample."""
    y, expected = start, []
    for v in values:
        y = min(max(y, v - 0.6), v + 0.6)
        expected.append(y)
    assert dragged(np.array(values), np.array(values), start).tolist() == expected


@given(st.lists(st.sampled_from([0.0, 0.5, 1.0, 1.25, 3.0, 7.0]), min_size=2, max_size=200), st.integers(1, 199))
def test_turning_points_alternate_and_swing_far_enough(values: list[float], cut: int) -> None:
    one, many = Turns(), Turns()
    by_one = [t for i, v in enumerate(values) if (t := one.short(i, v))]
    x = np.array(values)
    by_many = [t for lo, hi in ((0, cut), (cut, len(x))) if len(x[lo:hi]) for t in many.long(lo, x[lo:hi])]
    assert by_one == by_many
    for a, b in pairwise(by_one):
        assert a.high != b.high
        assert abs(a.value - b.value) >= 1.2 - 1e-9 or a is by_one[0]


PINT = pint.UnitRegistry()


@given(st.sampled_from(["kPa", "percent"]), st.sampled_from([6, 15, 60]), st.floats(380, 800), st.integers(0, 99))
@settings(max_examples=25)
def test_a_trace_in_kpa_or_percent_has_the_same_breaths(unit: str, per_min: int, air: float, seed: int) -> None:
    """Conversions by pint: mmHg (torr) to kPa, and per cent of the air pressure."""
    x, _ = breathing(per_min, 1, 100, 38, noise=0.1, seed=seed)
    other = PINT.Quantity(x, "torr").to("kPa").magnitude if unit == "kPa" else x / air * 100
    there = read(other, Setup(100, unit, air)).breaths
    here = read(x, Setup(100)).breaths
    assert len(here) == len(there) > 0
    for a, b in zip(here, there, strict=True):
        assert (b.start_s, b.end_s) == pytest.approx((a.start_s, a.end_s), abs=0.011)
        assert (b.etco2, b.fico2) == pytest.approx((a.etco2, a.fico2), abs=0.05)


def test_the_factor_between_kpa_and_mmhg_is_that_of_pint() -> None:
    assert Setup(100, "kPa").to_mmhg == pytest.approx(PINT.Quantity(1, "kPa").to("torr").magnitude, rel=1e-12)


@given(st.integers(0, 500), RATES)
@settings(max_examples=25)
def test_a_rest_before_the_recording_shifts_every_moment_and_nothing_else(samples: int, rate: float) -> None:
    x, _ = breathing(20, 0.5, rate, 40)
    plain = read(x, Setup(rate)).breaths
    shifted = read(np.concatenate((np.zeros(samples), x)), Setup(rate)).breaths
    assert len(plain) == len(shifted) > 0
    for a, b in zip(plain, shifted, strict=True):
        assert (b.start_s, b.end_s) == pytest.approx((a.start_s + samples / rate, a.end_s + samples / rate), abs=1e-6)
        assert (a.etco2, a.upstroke_s, a.area) == pytest.approx((b.etco2, b.upstroke_s, b.area))


@given(traces())
@settings(max_examples=40)
@example((np.full(30, np.nan), 100.0))
@example((np.empty(0), 100.0))
def test_what_is_told_of_a_breath_hangs_together(made: tuple[Row, float]) -> None:
    x, rate = made
    reading = read(x, Setup(rate))
    end = -1.0
    for b in reading.breaths:
        assert end <= b.start_s <= b.end_s <= len(x) / rate
        assert b.before_s is None or b.before_s == end
        end = b.end_s
        assert b.before_s is not None or (b.rate_per_min is None and b.ie_ratio is None)
        assert 0 <= b.plateau_fraction <= 1 and 0 <= b.missing <= 1
        assert 0 <= b.alpha_deg <= 270
        assert b.upstroke_s > 0 and b.upstroke_slope > 0 and (b.downstroke_s is None or b.downstroke_s >= 0)
        figures = (b.etco2, b.top, b.foot, b.plateau_slope, b.area, b.ripple)
        assert np.isfinite(figures).all() and b.ripple >= 0
        assert (b.quality == "good") == (not b.doubts)


def test_a_stream_that_never_breathes_keeps_no_more_than_it_may_look_back_on() -> None:
    """Two hours of noise in chunks: what is kept stays bounded."""
    engine = Engine(Setup(20))
    noise = np.random.default_rng(3).standard_normal(20 * 600)
    sizes = set()
    for _ in range(12):
        for lo in range(0, len(noise), 400):
            engine.feed(noise[lo : lo + 400])
        sizes.add(len(engine._kept.raw) + len(engine._kept.averaged))
    assert max(sizes) <= 4 * KEPT_S * 20 + 2000


@pytest.mark.parametrize(
    ("refusal", "field", "given_"),
    [
        (OutOfRange, "sampling rate", {"rate_hz": 19.9}),
        (OutOfRange, "sampling rate", {"rate_hz": 251}),
        (OutOfRange, "sampling rate", {"rate_hz": float("nan")}),
        (NotOneOf, "unit of CO2", {"rate_hz": 100, "unit": "mbar"}),
        (Missing, "ambient pressure", {"rate_hz": 100, "unit": "percent"}),
        (OutOfRange, "ambient pressure", {"rate_hz": 100, "unit": "percent", "ambient_mmhg": 76.0}),
        (OutOfRange, "weight", {"rate_hz": 100, "kg": 0.0}),
    ],
)
def test_a_setup_that_cannot_be_read_is_refused_by_name(refusal: type, field: str, given_: dict[str, object]) -> None:
    with pytest.raises(refusal) as raised:
        Setup(**given_)  # type: ignore[arg-type]
    assert raised.value.field == field
    assert raised.value.accepts


def test_samples_must_stand_in_one_row() -> None:
    with pytest.raises(OutOfRange):
        Engine(Setup(100)).feed(np.zeros((3, 2)))
