"""Waves and numbers as Parquet (through DuckDB, zstd): one line a sample as the device sent it, one line a number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from spiracle.doors.waves.rows import us_of
from spiracle.doors.waves.shapes import KeptNumber, Run

# "at" is a word of the base's own language, hence the quotes.
WAVE = """"at" TIMESTAMPTZ, wave VARCHAR, value DOUBLE, raw INTEGER, unit VARCHAR, monitor VARCHAR, missing BOOLEAN,
          run INTEGER, rate_hz DOUBLE"""
NUMBER = """"at" TIMESTAMPTZ, arrived_at TIMESTAMPTZ, reading VARCHAR, ref VARCHAR, value DOUBLE, digits VARCHAR, unit VARCHAR,
            raw VARCHAR, quality VARCHAR, flags VARCHAR[], site VARCHAR, method VARCHAR, limits VARCHAR, alarm VARCHAR,
            why VARCHAR, monitor VARCHAR"""
AT_ONCE = 50_000


def waves_parquet(runs: Iterable[Run], file: Path) -> int:
    """Write the samples of runs, one line each, `run` counted from 1; how many lines. A missing sample has neither raw nor value."""
    with _connection() as base:
        base.execute(f"CREATE TABLE sample ({WAVE})")
        for number, run in enumerate(runs, 1):
            _insert(base, run, number)
        return _copy(base, 'SELECT * FROM sample ORDER BY wave, monitor, run, "at"', file)


def _insert(base: Any, run: Run, number: int) -> None:
    at = us_of(run.first_at) + np.rint(np.arange(len(run.samples)) * (1e6 / run.rate_hz)).astype(np.int64)
    samples = {"us": at, "raw": run.samples, "value": run.samples * run.scale + run.offset, "missing": run.missing}
    base.register("samples", samples)
    base.execute(
        "INSERT INTO sample SELECT make_timestamptz(us), ?, CASE WHEN missing THEN NULL ELSE value END, "
        "CASE WHEN missing THEN NULL ELSE raw END, ?, ?, missing, ?, ? FROM samples",
        [run.wave, run.unit, run.monitor, number, run.rate_hz],
    )
    base.unregister("samples")


def numbers_parquet(numbers: Sequence[KeptNumber], file: Path) -> int:
    """Write numbers, one line each; how many. `digits` is the value as text, digit for digit as it was given."""
    with _connection() as base:
        base.execute(f"CREATE TABLE number ({NUMBER})")
        for first in range(0, len(numbers), AT_ONCE):
            some = numbers[first : first + AT_ONCE]
            texts = ("reading", "ref", "unit", "raw", "quality", "site", "method", "limits", "alarm", "why", "monitor")
            columns: dict[str, Any] = {
                "us": np.array([us_of(n.at) for n in some], dtype=np.int64),
                "arrived_us": np.array([us_of(n.arrived_at) for n in some], dtype=np.int64),
                "value": np.array([None if n.value is None else str(n.value) for n in some], dtype=object),
                "flags": np.array(["\n".join(n.flags) for n in some], dtype=object),
                **{name: np.array([getattr(n, name) for n in some], dtype=object) for name in texts},
            }
            base.register("numbers", columns)
            base.execute(
                "INSERT INTO number SELECT make_timestamptz(us), make_timestamptz(arrived_us), reading, ref, value::DOUBLE, value, "
                "unit, raw, quality, CASE WHEN flags = '' THEN [] ELSE string_split(flags, chr(10)) END, site, method, limits, "
                "alarm, why, monitor FROM numbers"
            )
            base.unregister("numbers")
        return _copy(base, 'SELECT * FROM number ORDER BY "at", reading, ref', file)


def _connection() -> Any:
    """A base in memory that asks nothing of the network."""
    import duckdb

    return duckdb.connect(config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"})


def _copy(base: Any, select: str, file: Path) -> int:
    quoted = str(file).replace("'", "''")
    done = base.execute(f"COPY ({select}) TO '{quoted}' (FORMAT parquet, COMPRESSION zstd)").fetchone()
    return int(done[0])
