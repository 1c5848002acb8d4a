"""Reads a recording of CO2: CSV, plain or gzipped, or EDF+. Strict: the unit stands in the file, nothing is guessed, gaps stay gaps.

CSV: a heading with `time_s` and one of co2_mmhg, co2_kpa, co2_percent; an empty cell (or nan) is a missing sample; other columns are
left unread and named in `unread`. Moments need not be even: each sample goes to its nearest place on the grid of the usual step, and
places without one are missing. A refusal names the row as a spreadsheet counts it, the heading being row 1.
"""

from __future__ import annotations

import csv
import gzip
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO, StringIO
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spiracle.refusals import Contradiction, Missing, NotAQuantity, NotOneOf, OutOfRange, Refusal

Floats = NDArray[np.float64]
COLUMNS = {"co2_mmhg": "mmHg", "co2_kpa": "kPa", "co2_percent": "percent"}
MOST_BYTES = 1_000_000_000
MOST_SAMPLES = 22_000_000  # a day at 250 samples a second
BLOCK = 50_000
NUMBER = str.maketrans("", "", "0123456789+-.eE ")
SHOWN = 24  # letters of a cell that a refusal repeats


@dataclass(frozen=True, slots=True)
class Trace:
    """Samples on an even grid, in the file's own unit; nan is missing. `start_s` is the file's moment of the first."""

    name: str
    samples: Floats
    rate_hz: float
    unit: str
    start_s: float = 0.0
    unread: tuple[str, ...] = ()


def read_trace(path: Path, signal: str = "") -> Trace:
    """The one CO2 signal of the file. `signal` names the one meant where an EDF+ file has several."""
    raw = _unzipped(_bytes_of(path), path.name)
    if raw[:8] == b"0       ":
        from spiracle.doors.capnogram_edf import edf_trace

        return edf_trace(raw, path.name, signal)
    if raw[1:8] == b"BIOSEMI":
        raise NotOneOf(path.name, "is BDF, which is not read.", "Give it as EDF+ or CSV.")
    if signal:
        raise Contradiction("signal", f"{path.name} is no EDF+ file.", "Leave it out: a CSV has one CO2 column.")
    return csv_trace(raw, path.name)


def _bytes_of(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise OutOfRange(path.name, "is larger than a recording of a day.", f"Give {MOST_BYTES:,} bytes at most.")
        return path.read_bytes()
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or "the path has a letter that no path holds"
        raise Missing("file", f"{path} cannot be read: {why}.", "Give the path of a CSV or EDF+ file.") from fault


def _unzipped(raw: bytes, name: str) -> bytes:
    if raw[:2] != b"\x1f\x8b":
        return raw
    try:
        with gzip.GzipFile(fileobj=BytesIO(raw)) as file:
            plain = file.read(MOST_BYTES + 1)
    except (OSError, EOFError, zlib.error) as fault:
        raise Refusal(name, "is a damaged gzip file.", "Pack it again.") from fault
    if len(plain) > MOST_BYTES:
        raise OutOfRange(name, "unpacks to more than a recording of a day.", f"Give {MOST_BYTES:,} bytes at most.")
    return plain


def csv_trace(raw: bytes, name: str) -> Trace:
    """The CSV of a recording. Refuses what is no number, no order of time, no known unit."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise Refusal(
            name, f"is not text: byte {fault.start} is not UTF-8.", "Give CSV, gzipped CSV or EDF+."
        ) from fault
    rows = csv.reader(StringIO(text), strict=True)
    try:
        heading = [cell.strip() for cell in next(rows, [])]
        at, column = _columns(heading, name)
        times, values = _cells(rows, at, heading.index(column), len(heading))
    except csv.Error as fault:
        raise Refusal(f"row {rows.line_num}", f"is not CSV: {fault}.", "Give numbers parted by commas.") from fault
    samples, rate_hz = on_grid(times, values)
    unread = tuple(h for h in heading if h not in {"time_s", column})
    return Trace(name, samples, rate_hz, COLUMNS[column], float(times[0]), unread)


def _columns(heading: list[str], name: str) -> tuple[int, str]:
    accepts = "The heading is like time_s,co2_mmhg (or co2_kpa, co2_percent)."
    if not any(heading):
        raise Missing("heading", f"{name} is empty, or its first row is.", accepts)
    for cell in heading:
        if cell and heading.count(cell) > 1:
            raise Contradiction("heading", f"{cell[:SHOWN]!r} stands there twice.", "Name each column once.")
    if "time_s" not in heading:
        raise Missing("time_s", f"the heading of {name} has no such column: {_short(','.join(heading))!r}.", accepts)
    co2 = [cell for cell in heading if cell in COLUMNS]
    if not co2:
        raise Missing("CO2 column", f"the heading of {name} names none: {_short(','.join(heading))!r}.", accepts)
    if len(co2) > 1:
        raise Contradiction("CO2 column", f"{' and '.join(co2)} stand side by side.", "Keep one.")
    return heading.index("time_s"), co2[0]


def _cells(rows: Iterator[list[str]], time: int, co2: int, width: int) -> tuple[Floats, Floats]:
    times, values, first = [], [], 2
    while block := list(islice(rows, BLOCK)):
        if not block[-1]:  # blank lines may end a file, and nothing else
            blank = next(n for n in range(len(block), 0, -1) if n == 1 or block[n - 2]) - 1
            if any(rows):
                raise Missing(f"row {first + blank}", "is empty.", "Take it out, or leave only its CO2 cell empty.")
            block = block[:blank]
            if not block:
                break
        for number, row in enumerate(block, first):
            if not row:
                raise Missing(f"row {number}", "is empty.", "Take it out, or leave only its CO2 cell empty.")
            if len(row) != width:
                raise Contradiction(
                    f"row {number}", f"has {len(row)} cells, the heading {width}.", "Give each row the same cells."
                )
        times.append(_numbers([row[time] for row in block], first, "time_s", empty=False))
        values.append(_numbers([row[co2] for row in block], first, "CO2", empty=True))
        first += len(block)
        if first > MOST_SAMPLES:
            raise OutOfRange(
                "file", f"has more than {MOST_SAMPLES:,} rows.", "Give a day at 250 samples a second at most."
            )
    if first < 4:
        raise Missing("rows", f"{first - 2} are too few to tell a rate.", "Give two samples at least.")
    return np.concatenate(times), np.concatenate(values)


def _numbers(cells: list[str], first: int, what: str, *, empty: bool) -> Floats:
    """Plain numbers. An empty cell or `nan` is a missing sample where one may be missing."""
    plain = [cell.strip() for cell in cells]
    if empty:
        plain = ["nan" if cell.lower() in {"", "nan"} else cell for cell in plain]
    if "".join(c for c in plain if c != "nan" or not empty).translate(NUMBER) == "":
        try:
            made = np.array(plain, dtype=np.str_).astype(np.float64)
        except ValueError:
            made = None
        if made is not None and not np.isinf(made).any():
            return made
    for number, cell in enumerate(plain, first):
        _one(cell, number, what)
    raise NotAQuantity(f"row {first}", f"{what} is not a number.", "Write digits with a point.")  # pragma: no cover


def _one(cell: str, number: int, what: str) -> None:
    """Says which cell is no number."""
    if not cell:
        raise Missing(f"row {number}", f"{what} is empty.", "Every row has its moment; only CO2 may be missing.")
    if cell == "nan" and what == "CO2":
        return
    try:
        value = float(cell) if cell.translate(NUMBER) == "" else None
    except ValueError:
        value = None
    if value is None:
        raise NotAQuantity(f"row {number}", f"{what} is {_short(cell)!r}, not a number.", "Write digits with a point.")
    if np.isinf(value):
        raise OutOfRange(
            f"row {number}", f"{what} is {_short(cell)!r}, which no field holds.", "Write a finite number."
        )


def _short(text: str) -> str:
    return text if len(text) <= SHOWN * 2 else text[: SHOWN * 2] + "..."


def on_grid(times: Floats, values: Floats) -> tuple[Floats, float]:
    """Samples on an even grid and its rate in Hz; places without a sample are nan. Time must climb from row to row.

    The step is the usual one (the median of all), drawn out over the steps of the whole file, so that moments rounded to a millisecond do
    not drift. Refuses a moment that is not after the one before, and one too near or too uneven for the grid, by its row.
    """
    steps = np.diff(times)
    if (back := np.flatnonzero(steps <= 0)).size:
        n = int(back[0])
        says = "is the moment of the row before" if steps[n] == 0 else "goes back in time"
        raise Contradiction(
            f"row {n + 3}", f"{times[n + 1]:g} s {says} ({times[n]:g} s).", "Give rows in order of time."
        )
    usual = float(np.quantile(steps, 0.5, method="lower"))
    even = steps[np.abs(steps / usual - 1) < 0.5]
    whole = np.rint(steps / usual)
    near = (whole <= 10) & (whole >= 1) & (np.abs(steps / usual - whole) < 0.5)
    step = float(steps[near].sum() / whole[near].sum()) if near.any() else float(even.mean())
    rate_hz = _round_rate(1 / step, len(steps))
    places = (times - times[0]) * rate_hz
    if places[-1] >= MOST_SAMPLES:
        n = int(np.argmax(steps))
        raise OutOfRange(
            f"row {n + 3}", f"{steps[n]:g} s pass before it: the recording would be longer than a day.", "Cut it there."
        )
    order = np.arange(len(times))
    index = np.maximum.accumulate(np.rint(places).astype(np.int64) - order) + order
    if (off := np.flatnonzero(np.abs(index - places) > 1.5)).size:
        n = int(off[0])
        raise OutOfRange(f"row {n + 2}", f"comes too close behind the rows before for steps of {1 / rate_hz:.4g} s.",
                         "Give one steady rate.")  # fmt: skip
    grid = np.full(int(index[-1]) + 1, np.nan)
    grid[index] = values
    return grid, rate_hz


def _round_rate(rate_hz: float, steps: int) -> float:
    """The whole or half rate nearby, if the file's moments cannot tell it from that: 99.9999 Hz over a minute is 100 Hz."""
    near = round(rate_hz * 2) / 2
    return near if near and abs(rate_hz / near - 1) * steps < 1.0 else rate_hz
