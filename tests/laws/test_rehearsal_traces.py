"""Invented waves: the rate and the heights that were asked for come out, by the engine that reads traces and by plain counting."""

from __future__ import annotations

from statistics import median

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spiracle.capnogram.engine import read
from spiracle.capnogram.setup import Setup
from spiracle.refusals import OutOfRange
from spiracle.rehearsal import capnogram_like, pleth_like


@settings(max_examples=40)
@given(
    st.integers(5, 60),
    st.integers(20, 80),
    st.sampled_from([50, 100, 125]),
    st.integers(0, 8),
    st.sampled_from([0.05, 0.1, 0.15]),
)
def test_the_engine_reads_what_was_asked_for(rate: int, etco2: int, rate_hz: int, fico2: int, rise: float) -> None:
    """Rate to one per cent, end-tidal to 1 mmHg, inspired to 1 mmHg, in a minute and two breaths of the wave."""
    trace = capnogram_like(rate, etco2, rate_hz, 60 + 120 / rate, fico2=fico2, rise=rise)
    breaths = [b for b in read(trace, Setup(rate_hz)).breaths if b.rate_per_min is not None]
    assert len(breaths) >= rate - 1
    assert median(b.rate_per_min or 0 for b in breaths) == pytest.approx(rate, rel=0.01)
    assert all(abs(b.etco2 - etco2) <= 1 for b in breaths)
    assert all(b.fico2 is not None and abs(b.fico2 - fico2) <= 1 for b in breaths[1:])


@given(st.integers(20, 350), st.sampled_from([50, 100, 125]))
def test_the_pulse_that_was_asked_for(rate: int, rate_hz: int) -> None:
    """Rises through 60 % of the height are beats: the smaller peak stays under it."""
    wave = pleth_like(rate, rate_hz, 60)
    beats = np.count_nonzero((wave[:-1] < 60) & (wave[1:] >= 60))
    assert abs(beats - rate) <= 1
    assert wave.min() >= 0 and wave.max() <= 100


@given(st.integers(4, 120), st.integers(1, 50))
def test_pieces_join(rate: int, cut: int) -> None:
    whole = capnogram_like(rate, 40, 100, 10)
    first, rest = (
        capnogram_like(rate, 40, 100, cut / 10),
        capnogram_like(rate, 40, 100, 10 - cut / 10, begin_s=cut / 10),
    )
    assert np.concatenate([first, rest]) == pytest.approx(whole, abs=1e-6)


@given(
    st.floats(allow_nan=True, allow_infinity=True), st.sampled_from(["rate", "etco2", "hz", "seconds", "fico2", "rise"])
)
def test_any_figure_is_drawn_or_refused(figure: float, which: str) -> None:
    asked = {"rate": 12.0, "etco2": 40.0, "hz": 50.0, "seconds": 5.0, "fico2": 0.0, "rise": 0.1} | {which: figure}
    if which == "seconds" and 1000 < figure <= 86_400:
        asked["hz"] = 1.0
    try:
        trace = capnogram_like(
            asked["rate"], asked["etco2"], asked["hz"], asked["seconds"], fico2=asked["fico2"], rise=asked["rise"]
        )
    except OutOfRange:
        return
    assert np.isfinite(trace).all()
    assert trace.size == 0 or (trace.min() >= asked["fico2"] - 1e-9 and trace.max() <= asked["etco2"] + 1e-9)
