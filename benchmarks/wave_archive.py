"""The archive of waves: bytes an hour of CO2 and pleth, the cost of keeping 50 rooms, and reading an hour back.

The hour is made up (breaths that differ, sensor noise with some memory, a pulse that wanders; CO2 in steps of 0.1 mmHg, pleth of
ten bits), so bytes are for choosing between ways of keeping it; a real sensor's noise decides what a real hour takes.
"""

from __future__ import annotations

import sqlite3
import tempfile
import time
import zlib
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import numpy.typing as npt

from measuring import Result, median_ms
from spiracle.doors.waves.archive import WaveArchive
from spiracle.doors.waves.export_parquet import waves_parquet
from spiracle.doors.waves.shapes import NUMBERS, KeptNumber, Packet

START = datetime(2026, 5, 4, 9, tzinfo=UTC)
HOUR_S, ROOMS, LIVE_S = 3600, 50, 20
Ints = npt.NDArray[np.int64]
PER_MESSAGE = {"co2": (100, 0.1, "mm[Hg]"), "pleth": (125, 1.0, "1")}


def noise(chance: np.random.Generator, count: int) -> npt.NDArray[np.float64]:
    """Noise of one unit that remembers three samples, as a filtered sensor's does."""
    found: npt.NDArray[np.float64] = np.convolve(chance.standard_normal(count), np.ones(3) / 3**0.5, "same")
    return found


def co2(chance: np.random.Generator, seconds: int, rate: int = 100) -> Ints:
    """About 12 breaths a minute, an end-tidal that wanders about 40 mmHg, steps of 0.1 mmHg."""
    out, at = np.zeros(seconds * rate), 0.0
    while at < seconds:
        lasts = 60 / (12 + chance.standard_normal())
        here = slice(round(at * rate), round((at + lasts) * rate))
        t = np.arange(here.start, min(here.stop, len(out))) / rate - at
        rise, fall = 1 / (1 + np.exp(-(t - 0.45) / 0.07)), 1 / (1 + np.exp((t - 0.55 * lasts - 0.2) / 0.06))
        plateau = 1 - 0.06 * np.exp(-t / 0.8) + 0.02 * (t / lasts - 0.3)
        out[here.start : here.start + len(t)] = (40 + 2 * np.sin(at / 300)) * rise * plateau * fall
        at += lasts
    return np.round((out + 0.12 * noise(chance, len(out))) / 0.1).astype(np.int64)


def pleth(chance: np.random.Generator, seconds: int, rate: int = 125) -> Ints:
    """About 108 pulses a minute with a notch, carried up and down by breathing, ten bits."""
    t = np.arange(seconds * rate) / rate
    phase = np.cumsum(1.8 + 0.1 * np.sin(2 * np.pi * t / 5) + 0.15 * np.sin(t / 200)) / rate % 1
    pulse = np.exp(-(((phase - 0.18) / 0.09) ** 2)) + 0.45 * np.exp(-(((phase - 0.45) / 0.13) ** 2))
    breathing = np.sin(2 * np.pi * t / 5)
    wave = pulse * (1 + 0.1 * breathing) * 0.6 + 0.15 + 0.03 * breathing + 0.002 * noise(chance, len(t))
    return np.clip(np.round(wave * 920), 0, 1023).astype(np.int64)


def packets(case: str, samples: dict[str, list[int]], per_s: int, seconds: range) -> list[list[Packet]]:
    """Messages in order: all waves of one stretch of 1 / per_s seconds each."""
    found = []
    for n in range(seconds.start * per_s, seconds.stop * per_s):
        at = START + timedelta(seconds=n / per_s)
        message = []
        for wave, values in samples.items():
            rate, scale, unit = PER_MESSAGE[wave]
            size = rate // per_s
            message.append(Packet(case=case, monitor=case, wave=wave, unit=unit, rate_hz=rate, scale=scale, offset=0.0, first_at=at,
                                  arrived_at=at + timedelta(seconds=1 / per_s, milliseconds=20 + n % 7),
                                  samples=tuple(values[n * size : (n + 1) * size])))  # fmt: skip
        found.append(message)
    return found


def said(case: str, second: int) -> list[KeptNumber]:
    """Fifteen numbers of one second."""
    at = START + timedelta(seconds=second)
    return [KeptNumber(case=case, monitor=case, at=at, arrived_at=at + timedelta(milliseconds=31), reading=f"reading {k}", ref=f"REF_{k}",
                       value=Decimal(90 + (second // (5 + k) + k) % 7), unit="/min", raw=f"{90 + (second // (5 + k) + k) % 7} /min",
                       quality="good") for k in range(15)]  # fmt: skip


def an_hour(folder: Path) -> list[Result]:
    chance = np.random.default_rng(7)
    arrays = {"co2": co2(chance, HOUR_S), "pleth": pleth(chance, HOUR_S)}
    lists = {wave: values.tolist() for wave, values in arrays.items()}
    archive = WaveArchive(f"sqlite:///{folder / 'hour.sqlite'}", background=False)
    end = START + timedelta(seconds=HOUR_S)
    for second, message in enumerate(packets("a", lists, 1, range(HOUR_S))):
        last = archive.append(message, said("a", second), "")
    last.result()
    packing = time.process_time()
    archive.pack(end + timedelta(minutes=1))
    packing = time.process_time() - packing
    held = {h.wave: h.bytes for h in archive.waves("a")}
    runs = [run for wave in arrays for run in archive.read("a", wave, START, end)]
    assert all(np.array_equal(run.samples, arrays[run.wave]) for run in runs)
    raw = {wave: 2 * len(values) / 1000 for wave, values in arrays.items()}
    deflated = sum(len(zlib.compress(v.astype("<i2").tobytes(), 9)) for v in arrays.values()) / 1000
    waves_parquet(runs, folder / "hour.parquet")
    parquet = (folder / "hour.parquet").stat().st_size / 1000
    both = (held["co2"] + held["pleth"]) / 1000
    reading = median_ms(lambda: archive.read("a", "co2", START, end), 10, 1)
    window = median_ms(
        lambda: archive.read("a", "co2", START + timedelta(minutes=30), START + timedelta(minutes=31)), 20, 2
    )
    archive.close()
    import duckdb

    query = f"SELECT raw, missing FROM '{folder / 'hour.parquet'}' WHERE wave = 'co2' ORDER BY \"at\""  # noqa: S608
    beside = median_ms(lambda: duckdb.execute(query).fetchnumpy(), 10, 1)
    return [
        Result("an hour of CO₂, 100 Hz, in the archive", held["co2"] / 1000, "kB", "int16 as it is", raw["co2"]),
        Result("an hour of pleth, 125 Hz, ten bits", held["pleth"] / 1000, "kB", "int16 as it is", raw["pleth"]),
        Result("both", both, "kB", "int16, whole hour through zlib 9", deflated),
        Result("both", both, "kB", "Parquet zstd, a line a sample with its moment", parquet),
        Result("an hour of 15 numbers a second", held[NUMBERS] / 1000, "kB", note="54,000 numbers with raw text and arrival"),
        Result("packing that hour, numbers too", packing * 1000, "ms", note="processor time"),
        Result("reading an hour of CO₂", reading, "ms", "Parquet through DuckDB, sorted", beside, note=f"a minute: {window:.2g} ms"),
    ]  # fmt: skip


def rooms(folder: Path, per_s: int) -> list[Result]:
    """50 rooms for some seconds: processor time taken a second of stream (waiting for the disk and for a group to gather is not
    counted), and the same samples by a bare driver. Packing what was kept is counted apart."""
    chance = np.random.default_rng(8)
    lists = {"co2": co2(chance, LIVE_S).tolist(), "pleth": pleth(chance, LIVE_S).tolist()}
    messages = [packets(f"room {n}", lists, per_s, range(LIVE_S)) for n in range(ROOMS)]
    archive = WaveArchive(f"sqlite:///{folder / f'rooms{per_s}.sqlite'}", background=False)
    began, done = time.process_time(), []
    for n in range(LIVE_S * per_s):
        for room in range(ROOMS):
            numbers = said(f"room {room}", n // per_s) if n % per_s == 0 else []
            done.append(archive.append(messages[room][n], numbers, f"{n}"))
        done[-1].result()
    assert all(d.result() for d in done)
    ours = (time.process_time() - began) / LIVE_S
    packing = time.process_time()
    archive.pack(START + timedelta(hours=1))
    packing = (time.process_time() - packing) / LIVE_S
    archive.close()
    base = sqlite3.connect(folder / f"bare{per_s}.sqlite", isolation_level=None)
    base.execute("pragma journal_mode=wal")
    base.execute("pragma synchronous=full")
    base.execute("create table t (id integer primary key, room text, body blob)")
    began = time.process_time()
    for n in range(LIVE_S * per_s):
        base.execute("begin immediate")
        base.executemany("insert into t (room, body) values (?, ?)",
                         [(p.monitor, np.array(p.samples, dtype="<i2").tobytes()) for room in messages for p in room[n]])  # fmt: skip
        base.execute("commit")
    bare = (time.process_time() - began) / LIVE_S
    base.close()
    return [Result(f"keeping {ROOMS} rooms, {per_s} messages a second each", ours * 1000, "ms a second of stream",
                   "bare int16 rows, one commit for all rooms", bare * 1000, goal=500,
                   note=f"then packing it: {packing * 1000:.0f} ms")]  # fmt: skip


def results() -> list[Result]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return [*an_hour(folder), *rooms(folder, 1), *rooms(folder, 5), *rooms(folder, 25)]
