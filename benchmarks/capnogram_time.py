"""What reading a CO2 trace costs: a day at once beside one pass over its samples, an hour beside a general library, and chunk by chunk."""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from capnogram_shapes import Drawn, trace
from measuring import Result, median_ms, percentile
from spiracle.capnogram.engine import Engine, read
from spiracle.capnogram.setup import Setup

RATE = 100
SETUP = Setup(RATE)


def hours(count: int) -> NDArray[np.float64]:
    """Quiet breathing at 12 to 20 a minute, uneven, with a little noise; the same hour over and over."""
    chance = np.random.default_rng(1)
    drawn = [
        Drawn(
            rest=float(chance.uniform(0.9, 1.6)),
            plateau=float(chance.uniform(1.6, 2.6)),
            peak=float(chance.uniform(34, 44)),
            shoulder=33,
        )
        for _ in range(1000)
    ]
    x = trace(drawn, RATE)[: 3600 * RATE]
    x = x + 0.15 * chance.standard_normal(len(x))
    return np.tile(np.resize(x, 3600 * RATE), count)


def day() -> Result:
    x = hours(24)
    breaths = len(read(x, SETUP).breaths)
    once = median_ms(lambda: np.sum(x), repeats=9)
    ours = median_ms(lambda: read(x, SETUP), repeats=5, warm=0)
    return Result(
        "24 h of CO2 at 100 Hz, read breath by breath", ours, "ms", "one pass over the array (sum)", once, 1000,
        f"{breaths:,} breaths with all figures",
    )  # fmt: skip


def hour() -> list[Result]:
    """Its peaks alone, and its whole work on respiration (rate, amplitude, phase, volume), which is nearer to what is given here."""
    import neurokit2

    x = hours(1)
    ours = median_ms(lambda: read(x, SETUP), repeats=9)
    peaks = median_ms(
        lambda: neurokit2.rsp_peaks(neurokit2.rsp_clean(x, sampling_rate=RATE), sampling_rate=RATE), repeats=3, warm=1
    )
    whole = median_ms(lambda: neurokit2.rsp_process(x, sampling_rate=RATE), repeats=3, warm=1)
    name = "one hour of it"
    return [
        Result(name, ours, "ms", "neurokit2 0.2, rsp_process", whole, whole / 50, f"{whole / ours:,.1f} times as fast"),
        Result(name, ours, "ms", "neurokit2 0.2, rsp_clean and rsp_peaks", peaks, note="peaks and troughs only there"),
    ]


def chunks() -> list[Result]:
    x = hours(1)[: 600 * RATE]
    engine, times = Engine(SETUP), []
    for lo in range(0, len(x), 4):
        part = x[lo : lo + 4]
        start = time.perf_counter()
        engine.feed(part)
        times.append((time.perf_counter() - start) * 1e6)
    mean = sum(times) / len(times)
    note = f"p50 {percentile(times, 50):.0f}, p99 {percentile(times, 99):.0f} µs"
    return [Result("a chunk of 40 ms in the stream, mean", mean, "µs", goal=100, note=note)]


def results() -> list[Result]:
    return [day(), *hour(), *chunks()]
