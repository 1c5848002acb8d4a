"""What reading a CO2 trace costs: a day at once beside one pass over its samples, an hour beside a general library, and chunk by chunk."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from capnogram_shapes import Drawn, trace
from measuring import Result, median_ms, percentile
from room_tables import sources
from spiracle.capnogram.engine import Engine, read
from spiracle.capnogram.findings import Watch, read_all
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.tables import CapnogramTables
from spiracle.doors.tables import room_texts, table_texts

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


def cpu_ms(run: Callable[[], object], repeats: int, warm: int = 0) -> float:
    """The median of the processor's own time: a day is long enough for other work on the machine to be counted in otherwise."""
    for _ in range(warm):
        run()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append((time.process_time() - start) * 1000)
    return statistics.median(times)


def day(tables: CapnogramTables) -> list[Result]:
    x = hours(24)
    breaths, _, findings = read_all(x, SETUP, tables)
    once = cpu_ms(lambda: np.sum(x), repeats=9, warm=1)
    ours = cpu_ms(lambda: read(x, SETUP), repeats=5)
    whole = cpu_ms(lambda: read_all(x, SETUP, tables), repeats=3)
    pass_name, count = "one pass over the array (sum)", len(breaths)
    return [
        Result(
            "24 h of CO2 at 100 Hz, read breath by breath, processor time", ours, "ms", pass_name, once, 1000,
            f"{count:,} breaths with all figures",
        ),
        Result(
            "the same with its findings, processor time", whole, "ms", pass_name, once,
            note=f"{len(findings):,} findings, {(whole - ours) * 1000 / count:.0f} µs a breath for them",
        ),
    ]  # fmt: skip


def hour() -> list[Result]:
    """Its peaks alone, and its whole work on respiration (rate, amplitude, phase, volume), which is nearer to what is given here."""
    import neurokit2

    x = hours(1)
    ours = median_ms(lambda: read(x, SETUP), repeats=5, warm=1)
    peaks = median_ms(
        lambda: neurokit2.rsp_peaks(neurokit2.rsp_clean(x, sampling_rate=RATE), sampling_rate=RATE), repeats=1, warm=1
    )
    whole = median_ms(lambda: neurokit2.rsp_process(x, sampling_rate=RATE), repeats=1, warm=0)
    name = "one hour of it"
    return [
        Result(name, ours, "ms", "neurokit2 0.2, rsp_process", whole, whole / 50, f"{whole / ours:,.1f} times as fast"),
        Result(name, ours, "ms", "neurokit2 0.2, rsp_clean and rsp_peaks", peaks, note="peaks and troughs only there"),
    ]


def chunks(tables: CapnogramTables) -> list[Result]:
    x = hours(1)[: 600 * RATE]
    engine, watch = Engine(SETUP), Watch(tables, SETUP)
    alone, both = [], []
    for lo in range(0, len(x), 4):
        part = x[lo : lo + 4]
        start = time.perf_counter()
        step = engine.feed(part)
        read_at = time.perf_counter()
        watch.take(step, (lo + 4) / RATE)
        both.append((time.perf_counter() - start) * 1e6)
        alone.append((read_at - start) * 1e6)
    return [
        Result(
            name, sum(t) / len(t), "µs", goal=100, note=f"p50 {percentile(t, 50):.0f}, p99 {percentile(t, 99):.0f} µs"
        )
        for name, t in (
            ("a chunk of 40 ms in the stream, mean", alone),
            ("a chunk of 40 ms in the stream with its findings, mean", both),
        )
    ]


def results() -> list[Result]:
    tables = CapnogramTables.read(room_texts(table_texts(), "capnogram"), sources())
    return [*day(tables), *hour(), *chunks(tables)]
