"""Packets and numbers for the tests of the archive, and archives to keep them in, on either database."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields
from datetime import timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from served import NOW
from spiracle.doors.clock import SetClock
from spiracle.doors.waves.archive import WaveArchive
from spiracle.doors.waves.schema import make_engine, read_url
from spiracle.doors.waves.shapes import KeptNumber, Packet, Run

HOUR = timedelta(hours=1)
LATER = NOW + HOUR
# For what does not hang on the database: the other one would prove nothing more.
ON_ONE = pytest.mark.parametrize("database", ["sqlite"], indirect=True)


@pytest.fixture
def archives(database: str, clock: SetClock) -> Iterator[Callable[[], WaveArchive]]:
    """Opens as many archives on one database as a test asks for, like so many server processes. None packs by itself."""
    opened: list[WaveArchive] = []

    def one() -> WaveArchive:
        opened.append(WaveArchive(database, clock, background=False))
        return opened[-1]

    yield one
    for archive in opened:
        archive.close()


@pytest.fixture
def archive(archives: Callable[[], WaveArchive]) -> WaveArchive:
    return archives()


@pytest.fixture
def waves_engine(database: str, archive: WaveArchive) -> Iterator[sa.Engine]:
    found = make_engine(read_url(database), writer=False)
    yield found
    found.dispose()


def packet(at_ms: int, samples: tuple[int | None, ...] = (1, 2, None, -4), **changed: Any) -> Packet:
    first = NOW + timedelta(milliseconds=at_ms)
    about: dict[str, Any] = {
        "case": "larch", "monitor": "m1", "wave": "co2", "unit": "mm[Hg]", "rate_hz": 100.0, "scale": 0.1, "offset": 0.0,
        "first_at": first, "arrived_at": first + timedelta(milliseconds=57), "samples": samples}  # fmt: skip
    return Packet(**{**about, **changed})


def number(at_ms: int, value: str | None = "98.0", **changed: Any) -> KeptNumber:
    at = NOW + timedelta(milliseconds=at_ms)
    about: dict[str, Any] = {
        "case": "larch", "monitor": "m1", "at": at, "arrived_at": at + timedelta(milliseconds=31), "reading": "spo2",
        "ref": "MDC_PULS_OXIM_SAT_O2", "value": None if value is None else Decimal(value), "unit": "%",
        "raw": f"{value} %"}  # fmt: skip
    return KeptNumber(**{**about, **changed})


def stream(count: int, size: int = 4) -> list[Packet]:
    """A sawtooth at 100 Hz, cut into packets."""
    return [packet(n * size * 10, tuple((n * size + k) % 400 for k in range(size))) for n in range(count)]


def same(a: tuple[Run, ...], b: tuple[Run, ...]) -> bool:
    return len(a) == len(b) and all(
        np.array_equal(getattr(x, f.name), getattr(y, f.name)) for x, y in zip(a, b, strict=True) for f in fields(Run)
    )


def all_of(archive: WaveArchive, wave: str = "co2", case: str = "larch") -> tuple[Run, ...]:
    return archive.read(case, wave, NOW - HOUR, NOW + 9 * HOUR)
