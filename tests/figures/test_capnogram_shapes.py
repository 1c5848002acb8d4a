"""Figures of breaths drawn by ruler, worked out by hand, and the rate beside two general libraries on the same traces."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import find_peaks

from capnogram_shapes import Drawn, breathing, starts, trace
from spiracle.capnogram.angle import alpha_deg
from spiracle.capnogram.engine import read
from spiracle.capnogram.setup import Setup

RATES = (50, 100, 250)


@pytest.mark.parametrize("rate", RATES)
def test_a_trapezoid_has_the_figures_geometry_gives_it(rate: int) -> None:
    """Rise 0 to 36 mmHg in 0.2 s, plateau to 40 in 1.6 s, fall in 0.2 s, rest 1 s. By hand:

    10 % (4 mmHg) is passed at 4/180 s, 90 % (36 mmHg) at the shoulder: 0.2 - 0.0222 = 0.1778 s, 32 mmHg in it: 180 mmHg/s.
    Plateau 4 / 1.6 = 2.5 mmHg/s. Area 36 * 0.2 / 2 + (36 + 40) / 2 * 1.6 = 64.4. Above 32 mmHg from 0.1778 s on: 1.6222 / 1.8.
    Fall from 36 to 4 of 40: 0.8 * 0.2 = 0.16 s. Period 3 s: 20 a minute. Inspiration 1.2 s to 1.8 s: 2/3.
    """
    drawn = [Drawn()] * 8
    found = read(trace(drawn, rate), Setup(rate)).breaths
    assert [b.start_s for b in found] == pytest.approx(starts(drawn), abs=0.02)
    two = 2 / rate
    for b in found[1:]:
        assert b.end_s - b.start_s == pytest.approx(1.8, abs=two + 0.02)
        assert b.before_s is not None and b.start_s - b.before_s == pytest.approx(1.2, abs=two + 0.02)
        assert b.etco2 == pytest.approx(40, abs=0.3)
        assert b.fico2 == pytest.approx(0, abs=0.01)
        assert b.upstroke_s == pytest.approx(0.1778, abs=0.03)
        assert b.upstroke_slope == pytest.approx(180, rel=0.12)
        assert b.plateau_slope == pytest.approx(2.5, abs=0.05)
        assert b.area == pytest.approx(64.4, rel=0.02)
        assert b.plateau_fraction == pytest.approx(1.6222 / 1.8, abs=0.02)
        assert b.downstroke_s == pytest.approx(0.16, abs=0.02)
        assert b.rate_per_min == pytest.approx(20, abs=0.1)
        assert b.ie_ratio == pytest.approx(2 / 3, abs=0.03)
        assert (b.ripple, b.ripple_per_min, b.missing, b.quality) == (0.0, None, 0.0, "good")


def test_the_angle_in_its_frame_by_hand() -> None:
    """25 mm a second, 0.5 mm a mmHg: 180 mmHg/s rises 90 mm on 25 mm, 74.48 degrees; 2.5 mmHg/s rises 1.25 mm on 25 mm, 2.86."""
    by_hand = 180 - math.degrees(math.atan2(90, 25)) + math.degrees(math.atan2(1.25, 25))
    assert alpha_deg(180, 2.5) == pytest.approx(by_hand)
    found = read(trace([Drawn()] * 5, 250), Setup(250)).breaths
    assert found[2].alpha_deg == pytest.approx(by_hand, abs=2)


def test_a_slurred_rise_opens_the_angle_and_shortens_the_plateau() -> None:
    """Direction: Vet Times 2020, capnography refresher: the angle opens as the plateau slopes."""
    plain = read(trace([Drawn()] * 5, 100), Setup(100)).breaths[2]
    slurred = read(trace([Drawn(rise=0.9, plateau=0.9, shoulder=26)] * 5, 100), Setup(100)).breaths[2]
    assert slurred.alpha_deg > plain.alpha_deg + 20
    assert slurred.plateau_fraction < plain.plateau_fraction - 0.2
    assert slurred.plateau_slope > plain.plateau_slope + 5


@pytest.mark.parametrize("base", [3.0, 12.0, 25.0])
def test_a_lifted_baseline_is_read_as_inspired_gas(base: float) -> None:
    drawn = [Drawn(base=base, shoulder=base + 24, peak=base + 28)] * 6
    found = read(trace(drawn, 100), Setup(100)).breaths
    assert len(found) == 6
    assert all(b.fico2 == pytest.approx(base, abs=0.05) and b.etco2 == pytest.approx(base + 28, abs=0.3) for b in found)


@pytest.mark.parametrize("rate", [20, 100])
@pytest.mark.parametrize("per_min", [4, 8, 15, 30, 60, 90, 120])
@pytest.mark.parametrize("peak", [6.0, 15.0, 40.0, 90.0])
def test_every_breath_of_every_rate_is_found_where_it_was_drawn(rate: int, per_min: int, peak: float) -> None:
    """End-tidal within 1 mmHg, or within what the plateau climbs from one sample to the next where that is more."""
    x, drawn = breathing(per_min, max(1.0, 10 / per_min), rate, peak, noise=0.1, seed=per_min)
    between = (drawn[0].peak - drawn[0].shoulder) / drawn[0].plateau / rate
    found = read(x, Setup(rate)).breaths
    assert [b.start_s for b in found] == pytest.approx(starts(drawn), abs=0.05 + 1 / rate)
    assert np.mean([abs(b.etco2 - peak) for b in found]) <= max(1.0, 1.5 * between)
    rates = [b.rate_per_min for b in found if b.rate_per_min is not None]
    assert np.median(rates) == pytest.approx(per_min, rel=0.03)


def test_a_dip_that_climbs_back_is_a_ripple_and_no_breath() -> None:
    """A notch 12 mmHg deep in each plateau of 40."""
    x = trace([Drawn(shoulder=40)] * 8, 100)
    t = np.arange(len(x)) / 100
    notch = 12 * np.exp(-(((t % 3 - 2.0) / 0.12) ** 2))
    found = read(np.where(x > 20, x - notch, x), Setup(100)).breaths
    assert len(found) == 8
    assert all(b.ripple == pytest.approx(12, abs=0.6) for b in found)


def test_regular_ripples_are_counted() -> None:
    """120 a minute, 3 mmHg up and down, on plateaus of 4 seconds."""
    x = trace([Drawn(plateau=4.0, shoulder=40)] * 6, 100)
    t = np.arange(len(x)) / 100
    found = read(np.where(x > 39, x + 3 * np.sin(4 * np.pi * t), x), Setup(100)).breaths
    assert len(found) == 6
    assert all(b.ripple_per_min == pytest.approx(120, rel=0.05) and b.ripple > 4 for b in found)


def test_fading_humps_after_placing_a_tube_are_all_seen() -> None:
    drawn = [Drawn(rest=1.5, shoulder=p, peak=p) for p in (12, 7, 4.5, 3.2)]
    x = trace(drawn, 100, tail_s=20) + 0.1 * np.random.default_rng(1).standard_normal(
        round((sum(b.seconds for b in drawn) + 20) * 100)
    )
    assert [b.etco2 for b in read(x, Setup(100)).breaths] == pytest.approx([12, 7, 4.5, 3.2], abs=0.3)


@pytest.mark.parametrize("kind", ["noise", "mains", "drift", "steps of the converter", "spikes"])
def test_nothing_breathes_in_an_empty_airway(kind: str) -> None:
    t = np.arange(0, 300, 0.01)
    chance = np.random.default_rng(5)
    x = {
        "noise": 1.0 * chance.standard_normal(len(t)),
        "mains": 3 * np.sin(2 * np.pi * 50 * t + 1) + 2 * np.sin(2 * np.pi * 60 * t),
        "drift": 6 * np.sin(2 * np.pi * t / 60) + 0.2 * chance.standard_normal(len(t)),
        "steps of the converter": np.round(0.5 + 0.3 * chance.standard_normal(len(t))),
        "spikes": np.where(chance.random(len(t)) < 0.002, 60.0, 0.0),
    }[kind]
    assert read(x, Setup(100)).breaths == ()


def test_a_gap_stays_a_gap() -> None:
    """Two seconds missing in the third plateau: that breath is not told, the next has no inspiration before it, and none is invented."""
    drawn = [Drawn()] * 6
    x = trace(drawn, 100)
    x[760:960] = np.nan  # plateau of the third from 7.2 to 8.8 s, foot of the fourth at 10 s
    reading = read(x, Setup(100))
    assert [round(b.start_s) for b in reading.breaths] == [1, 4, 10, 13, 16]
    assert reading.breaths[2].before_s is None and reading.breaths[2].rate_per_min is None
    assert [(t.kind, t.from_s, t.to_s) for t in reading.troubles] == [("missing", 7.6, 9.6)]


def test_a_few_samples_missing_are_not_filled_in() -> None:
    x = trace([Drawn()] * 4, 100)
    x[770:785] = np.nan
    breath = read(x, Setup(100)).breaths[2]
    assert breath.missing == pytest.approx(15 / 181, abs=0.003)
    assert (breath.quality, breath.doubts) == ("doubtful", ("samples missing",))


@pytest.mark.parametrize("per_min", [6, 12, 25, 45])
def test_the_rate_agrees_with_general_libraries(per_min: int) -> None:
    """scipy's find_peaks on the smoothed trace, and neurokit2's respiration peaks: the median interval of both."""
    x, _ = breathing(per_min, 3, 50, 38, noise=0.3, seed=2)
    ours = np.median([b.rate_per_min for b in read(x, Setup(50)).breaths if b.rate_per_min is not None])
    smooth = np.convolve(x, np.ones(25) / 25, "same")
    peaks, _ = find_peaks(smooth, prominence=15, distance=25)
    assert ours == pytest.approx(60 * 50 / np.median(np.diff(peaks)), rel=0.03)
    import neurokit2  # slow to import

    cleaned = neurokit2.rsp_clean(x, sampling_rate=50, method="khodadad2018")
    _, info = neurokit2.rsp_peaks(cleaned, sampling_rate=50, method="khodadad2018")
    assert ours == pytest.approx(60 * 50 / np.median(np.diff(info["RSP_Peaks"])), rel=0.05)


@pytest.mark.parametrize(("lo", "hi"), [(7.5, 7.8), (7.5, 8.4), (9.2, 9.8)])
def test_a_short_gap_within_a_plateau_or_a_pause_loses_no_breath(lo: float, hi: float) -> None:
    """Plateau of the third from 7.2 to 8.8 s, pause after it from 9 to 10 s: both edges stand, so the breath does."""
    drawn = [Drawn()] * 6
    x = trace(drawn, 100)
    x[round(lo * 100) : round(hi * 100)] = np.nan
    reading = read(x, Setup(100))
    assert [b.start_s for b in reading.breaths] == pytest.approx(starts(drawn), abs=0.02)
    third = reading.breaths[2]
    assert third.missing == pytest.approx((hi - lo) / 1.8 if hi < 8.8 else 0.0, abs=0.01)
    assert third.quality == ("doubtful" if hi < 8.8 else "good")
    assert third.end_s == pytest.approx(8.8, abs=0.02)
    assert [(t.kind, t.from_s, t.to_s) for t in reading.troubles] == [("missing", lo, hi)]


def test_a_gap_over_an_edge_hides_the_breath() -> None:
    """From within the third plateau to the rest after it: where it ended is not known, and so it is not told."""
    x = trace([Drawn()] * 6, 100)
    x[850:930] = np.nan
    assert [round(b.start_s) for b in read(x, Setup(100)).breaths] == [1, 4, 10, 13, 16]


def test_a_gap_that_may_hide_a_breath_is_not_bridged() -> None:
    """Panting at 120 a minute, 0.5 s a breath; from one plateau to the next 0.5 s later all is missing."""
    x, drawn = breathing(120, 0.2, 100)
    lo = round(100 * (starts(drawn)[10] + 0.2))
    x[lo : lo + 50] = np.nan
    found = [b.start_s for b in read(x, Setup(100)).breaths]
    assert found == pytest.approx(starts(drawn)[:10] + starts(drawn)[12:], abs=0.02)


def test_a_value_that_stays_the_same_is_stuck_and_no_breath() -> None:
    """Five breaths, 33 mmHg to the last digit for 40 s, five breaths."""
    x, drawn = breathing(20, 0.25, 100)
    reading = read(np.concatenate((x, np.full(4000, 33.0), x)), Setup(100))
    after = len(x) / 100 + 40
    assert [b.start_s for b in reading.breaths] == pytest.approx(
        starts(drawn) + [after + s for s in starts(drawn)], abs=0.02
    )
    assert [(t.kind, t.from_s, t.to_s) for t in reading.troubles] == [("stuck", after - 40, after)]


@pytest.mark.parametrize("deep", [22.0, 27.0, 31.0])
def test_a_deep_notch_is_no_inspiration(deep: float) -> None:
    """Dips of 55 to 78 % of 40 mmHg, half a second wide, from the fourth breath on; the bottom stays 9 mmHg above the base or more."""
    drawn = [Drawn(plateau=2.6, shoulder=40)] * 9
    x = trace(drawn, 100)
    t = np.arange(len(x)) / 100
    notch = np.where(t > 12, deep * np.exp(-(((t % 4 - 2.6) / 0.15) ** 2)), 0)
    found = read(x - np.where(x > 39, notch, 0), Setup(100)).breaths
    assert [b.start_s for b in found] == pytest.approx(starts(drawn), abs=0.02)
    assert all(b.etco2 == pytest.approx(40, abs=0.1) for b in found)
    assert all(b.ripple == pytest.approx(deep, abs=1.5) for b in found[3:])
    assert all(b.end_s - b.start_s == pytest.approx(2.8, abs=0.05) for b in found)


@pytest.mark.parametrize("base", [8.0, 14.0])
def test_a_fast_rhythm_whose_troughs_stay_lifted_is_breathing(base: float) -> None:
    """Six breaths of 3 s from zero, then twelve of 1 s whose troughs never come below a lifted base."""
    slow = [Drawn()] * 6
    quick = [Drawn(rest=0.2, rise=0.2, plateau=0.4, fall=0.2, base=base)] * 12
    found = [b.start_s for b in read(trace([*slow, *quick], 100), Setup(100)).breaths]
    assert found == pytest.approx(starts([*slow, *quick]), abs=0.1)


@pytest.mark.parametrize("rate", [25, 100])
@pytest.mark.parametrize("highest", [25.0, 60.0])
def test_scribble_is_noise(rate: int, highest: float) -> None:
    """40 s of values drawn evenly between zero and the highest, each held for 50 ms."""
    x, drawn = breathing(20, 0.5, rate)
    held = np.random.default_rng(4).uniform(0, highest, 800)
    scribble = held[(np.arange(40 * rate) / rate / 0.05).astype(int)]
    reading = read(np.concatenate((x, scribble, x)), Setup(rate))
    lo = len(x) / rate
    within = [b for b in reading.breaths if lo <= b.start_s < lo + 40]
    assert len(within) <= 4
    assert len(reading.breaths) - len(within) >= 2 * len(drawn) - 2
    assert sum(t.to_s - t.from_s for t in reading.troubles if t.kind == "noise" and t.to_s) >= 35


def test_the_ripples_of_a_heart_are_no_noise() -> None:
    """180 a minute, 8 mmHg from crest to trough, even."""
    x = trace([Drawn(plateau=4.0, shoulder=40)] * 6, 100)
    t = np.arange(len(x)) / 100
    reading = read(np.where(x > 39, x + 4 * np.sin(6 * np.pi * t), x), Setup(100))
    assert len(reading.breaths) == 6 and reading.troubles == ()
    assert all(b.etco2 == pytest.approx(44, abs=0.5) for b in reading.breaths)


@pytest.mark.parametrize("sunk", [10.0, 14.0, 24.0])
def test_expiration_ends_where_inspiration_begins_though_the_plateau_has_sunk(sunk: float) -> None:
    """A leak: 40 mmHg, down a straight line to this in 1.2 s, then inspiration takes 0.15 s to zero."""
    moments, levels, ends = [0.0], [0.0], []
    for k in range(8):
        at = 1 + 3.0 * k
        moments += [at, at + 0.2, at + 0.6, at + 1.8, at + 1.95]
        levels += [0.0, 40.0, 40.0, sunk, 0.0]
        ends.append(at + 1.8)
    x = np.interp(np.arange(2600) / 100, moments, levels)
    found = read(x, Setup(100)).breaths
    assert [b.end_s for b in found[2:]] == pytest.approx(ends[2:], abs=0.06)
    assert all(b.etco2 == pytest.approx(40, abs=0.2) for b in found)


def test_a_pointed_top_is_not_flattened() -> None:
    """Triangles 0.25 s up and 0.25 s down to zero, 24 mmHg, at 20 Hz: their tips are sampled, and read."""
    t = np.arange(0, 20, 0.05)
    x = np.interp(t % 0.6, [0.0, 0.1, 0.35, 0.6], [0.0, 0.0, 24.0, 0.0])
    found = read(x, Setup(20)).breaths
    assert len(found) >= 31
    assert np.mean([b.etco2 for b in found]) == pytest.approx(24, abs=0.5)


@pytest.mark.parametrize(("lo", "hi", "count"), [(1.8, 15.0, 4), (0.0, 14.0, 4), (0.0, 14.9, 5), (0.9, 14.5, 4)])
def test_only_breaths_whose_foot_and_end_were_seen_are_told(lo: float, hi: float, count: int) -> None:
    """Five breaths: feet at 1, 4, 7, 10, 13 s, plateaus of 1.6 s, down in 0.2 s. Cut within the first plateau, within the last one,
    and within the last downstroke."""
    x = trace([Drawn()] * 5, 100)[round(lo * 100) : round(hi * 100)]
    found = read(x, Setup(100)).breaths
    first = [1.0, 4.0, 7.0, 10.0, 13.0]
    expected = (first[1:] if lo > 1 else first)[:count]
    assert [b.start_s + lo for b in found] == pytest.approx(expected, abs=0.03)
