"""Recordings that can be played as a monitor: CSV, plain or gzipped, with waves and numbers by column, and EDF+ with waves.

Strict, as everything that is read from a file: the unit stands in the heading or in the header, an empty cell is a missing sample or
no news of a number, and what is not understood is refused by its column or row.
"""

from __future__ import annotations

import csv
import gzip
import re
import warnings
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from io import BytesIO, StringIO
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from spiracle.monitors.units import decimal_of
from spiracle.refusals import Contradiction, Missing, NotAQuantity, NotOneOf, OutOfRange, Refusal

MOST_BYTES = 400_000_000
MOST_ROWS = 8_700_000  # a day at 100 samples a second
MOST_DECIMALS = 6

# Column of a CSV: the term of our table, its unit (UCUM).
WAVES = {
    "co2_mmhg": ("co2-wave", "mm[Hg]"), "co2_kpa": ("co2-wave", "kPa"), "co2_percent": ("co2-wave", "%"),
    "pleth": ("pleth-wave", "1"), "pressure_mmhg": ("art-wave", "mm[Hg]"),
}  # fmt: skip
NUMBERS = {
    "heart_rate_per_min": ("heart-rate", "/min"), "pulse_per_min": ("pulse-oximeter", "/min"), "spo2_percent": ("spo2", "%"),
    "perfusion_index_percent": ("perfusion-index", "%"), "respiratory_rate_per_min": ("resp-rate-co2", "/min"),
    "etco2_mmhg": ("co2-et", "mm[Hg]"), "etco2_kpa": ("co2-et", "kPa"), "fico2_mmhg": ("co2-insp", "mm[Hg]"),
    "fico2_kpa": ("co2-insp", "kPa"), "nibp_sys_mmhg": ("nibp-sys", "mm[Hg]"), "nibp_mean_mmhg": ("nibp-mean", "mm[Hg]"),
    "nibp_dia_mmhg": ("nibp-dia", "mm[Hg]"), "art_sys_mmhg": ("art-sys", "mm[Hg]"), "art_mean_mmhg": ("art-mean", "mm[Hg]"),
    "art_dia_mmhg": ("art-dia", "mm[Hg]"), "temperature_c": ("temp-esoph", "Cel"), "fio2_percent": ("o2-insp", "%"),
    "isoflurane_et_percent": ("isoflurane-et", "%"), "sevoflurane_et_percent": ("sevoflurane-et", "%"),
}  # fmt: skip
EDF_SIGNALS = ((re.compile("co[_ ]?2", re.I), "co2-wave"), (re.compile("pleth", re.I), "pleth-wave"),
               (re.compile(r"\b(abp|art|ibp)\b|arterial", re.I), "art-wave"))  # fmt: skip
EDF_UNITS = {"mmhg": "mm[Hg]", "mm[hg]": "mm[Hg]", "kpa": "kPa", "%": "%", "": "1", "1": "1", "au": "1", "a.u.": "1"}
NO_SAMPLE = re.compile(r"digital (-?\d{1,6}) = no sample")


@dataclass(frozen=True, slots=True)
class WaveTrack:
    """One wave on an even grid from the recording's first moment: value = sample * scale, None is missing."""

    term: str
    unit: str
    rate_hz: Decimal
    scale: Decimal
    samples: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class NumberAt:
    """A number as it stands in the file, at its second."""

    at_s: float
    term: str
    unit: str
    value: str


@dataclass(frozen=True, slots=True)
class Recording:
    name: str
    seconds: float
    waves: tuple[WaveTrack, ...]
    numbers: tuple[NumberAt, ...]
    unread: tuple[str, ...] = ()


def read_recording(path: Path) -> Recording:
    """The file's waves and numbers. Raises Refusal by name for anything that cannot be played as it stands."""
    raw = _bytes_of(path)
    if raw[:8] == b"0       ":
        return edf_recording(raw, path.name)
    return csv_recording(raw, path.name)


def _bytes_of(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise OutOfRange(path.name, "is larger than a recording of a day.", f"Give {MOST_BYTES:,} bytes at most.")
        raw = path.read_bytes()
    except (OSError, ValueError) as fault:
        raise Missing("file", f"{path} cannot be read: {fault}.", "Give the path of a CSV or EDF+ file.") from fault
    if raw[:2] != b"\x1f\x8b":
        return raw
    try:
        with gzip.GzipFile(fileobj=BytesIO(raw)) as file:
            plain = file.read(MOST_BYTES + 1)
    except (OSError, EOFError, zlib.error) as fault:
        raise Refusal(path.name, "is a damaged gzip file.", "Pack it again.") from fault
    if len(plain) > MOST_BYTES:
        raise OutOfRange(path.name, "unpacks to more than a recording of a day.", f"Give {MOST_BYTES:,} bytes at most.")
    return plain


def csv_recording(raw: bytes, name: str) -> Recording:
    """A CSV whose first column is time_s. Refuses columns without a known name and unit, broken rows, time that does not climb."""
    try:
        rows = csv.reader(StringIO(raw.decode("utf-8-sig"), newline=""), strict=True)
        heading = [cell.strip() for cell in next(rows, [])]
        _check_heading(heading, name)
        times, columns = _columns(rows, heading)
    except UnicodeDecodeError as fault:
        raise Refusal(
            name, f"is not text: byte {fault.start} is not UTF-8.", "Give CSV, gzipped CSV or EDF+."
        ) from fault
    except csv.Error as fault:
        raise Refusal(name, f"is not CSV: {fault}.", "Give numbers parted by commas.") from fault
    if not times:
        raise Missing("rows", f"{name} has none.", "Give one row at least.")
    waved = [head for head in heading if head in WAVES]
    rate, places = _grid(times) if waved else (Decimal(1), [])
    waves = tuple(_wave(head, columns[head], rate, places) for head in waved)
    numbers = sorted(
        (n for head in heading if head in NUMBERS for n in _numbers(head, times, columns[head])), key=lambda n: n.at_s
    )
    seconds = float(len(waves[0].samples) / rate) if waves else float(times[-1] - times[0]) + 1.0
    return Recording(name, seconds, waves, tuple(numbers))


def _check_heading(heading: list[str], name: str) -> None:
    known = "time_s first, then of waves " + ", ".join(WAVES) + "; of numbers " + ", ".join(NUMBERS) + "."
    if not heading or heading[0] != "time_s":
        raise Missing("time_s", f"is not the first column of {name}.", known)
    for head in heading[1:]:
        if head not in WAVES and head not in NUMBERS:
            raise NotOneOf("heading", f"{head[:40]!r} names no quantity with its unit that can be played.", known)
    if len(heading) < 2:
        raise Missing("heading", f"{name} has no column beside time_s.", known)
    for part, table in (
        ("column", {h: h for h in heading}),
        ("term", {h: (WAVES | NUMBERS)[h][0] for h in heading[1:]}),
    ):
        names = heading if part == "column" else list(heading[1:])
        said = [table[h] for h in names]
        double = next((n for n, s in zip(names, said, strict=True) if said.count(s) > 1), None)
        if double is not None:
            raise Contradiction(
                "heading", f"{double!r} stands there twice, or its quantity in two units.", "Keep one of them."
            )


def _columns(rows: Iterator[list[str]], heading: list[str]) -> tuple[list[Decimal], dict[str, list[Decimal | None]]]:
    times: list[Decimal] = []
    columns: dict[str, list[Decimal | None]] = {head: [] for head in heading[1:]}
    for number, row in enumerate(rows, 2):
        if not row:
            continue
        if len(row) != len(heading):
            raise Contradiction(
                f"row {number}", f"has {len(row)} cells, the heading {len(heading)}.", "Give each row the same cells."
            )
        if number > MOST_ROWS:
            raise OutOfRange(
                "file", f"has more than {MOST_ROWS:,} rows.", "Give a day at 100 samples a second at most."
            )
        at = _cell(row[0], number, "time_s")
        if at is None or (times and at <= times[-1]):
            raise Contradiction(
                f"row {number}", "time_s is empty or not after the row before.", "Give rows in order of time."
            )
        times.append(at)
        for head, cell in zip(heading[1:], row[1:], strict=True):
            columns[head].append(_cell(cell, number, head))
    return times, columns


def _cell(cell: str, number: int, head: str) -> Decimal | None:
    text = cell.strip()
    if text.lower() in {"", "nan"}:
        return None
    value = decimal_of(text)
    if value is None or abs(value) > 10**9:
        raise NotAQuantity(
            f"row {number}",
            f"{head} is {text[:24]!r}, not a plain number.",
            "Write digits with a point; leave gaps empty.",
        )
    return value


def _grid(times: list[Decimal]) -> tuple[Decimal, list[int]]:
    """The rate and each row's place. Times may be rounded: a step counts as the nearest whole number of usual steps, to 0.4 of one."""
    if len(times) < 2:
        raise Missing("rows", "are too few to tell the rate of a wave.", "Give two at least.")
    steps = [float(after - before) for before, after in pairwise(times)]
    usual = median(steps)
    small = [step for step in steps if step < 1.25 * usual]
    rate = len(small) / sum(small)
    if not 1 <= rate <= 1000:
        raise OutOfRange(
            "time_s", f"gives {rate:.3g} samples a second.", "Waves of 1 to 1000 samples a second can be played."
        )
    places = [0]
    for number, step in enumerate(steps, 3):
        count = round(step * rate)
        if count < 1 or abs(step * rate - count) > 0.4:
            raise Contradiction(
                f"row {number}", f"comes {step:g} s after the one before, at {rate:.4g} Hz.", "Give one steady rate."
            )
        places.append(places[-1] + count)
    if places[-1] >= MOST_ROWS:
        raise OutOfRange("time_s", "spans more than a day.", "Cut the recording.")
    whole = round(Decimal(rate), 1)
    near = abs(float(whole) / rate - 1) < 0.002
    return whole if near else round(Decimal(rate), 3), places


def _wave(head: str, cells: list[Decimal | None], rate: Decimal, places: list[int]) -> WaveTrack:
    term, unit = WAVES[head]
    decimals = max((-int(cell.as_tuple().exponent) for cell in cells if cell is not None), default=0)
    if decimals > MOST_DECIMALS:
        raise OutOfRange(head, f"has {decimals} decimals.", f"Give {MOST_DECIMALS} at most.")
    samples: list[int | None] = [None] * (places[-1] + 1)
    for place, cell in zip(places, cells, strict=True):
        samples[place] = int(cell.scaleb(max(decimals, 0))) if cell is not None else None
    return WaveTrack(term, unit, rate, Decimal(1).scaleb(-max(decimals, 0)), tuple(samples))


def _numbers(head: str, times: list[Decimal], cells: list[Decimal | None]) -> Iterator[NumberAt]:
    term, unit = NUMBERS[head]
    for at, cell in zip(times, cells, strict=True):
        if cell is not None:
            yield NumberAt(float(at - times[0]), term, unit, f"{cell:f}")


def edf_recording(raw: bytes, name: str) -> Recording:
    """The waves of an EDF+ file that are known by label and unit. Samples are taken to a tenth of the file's own step, or finer."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            continuous, waves, unread = _edf_waves(raw)
    except Exception as fault:  # the library's own errors are of many kinds, and none may pass this door
        raise Refusal(name, "is not a whole EDF+ file.", "Export the recording again.") from fault
    if not continuous:
        raise Refusal(name, "has breaks between its records (EDF+D).", "Give it as EDF+C, or as CSV.")
    if not waves:
        raise Missing(
            "signals", f"none of {name} is known by its label and unit.", "CO2 (mmHg, kPa, %), Pleth, ABP (mmHg)."
        )
    if len({wave.term for wave in waves}) < len(waves):
        raise Contradiction("signals", f"{name} has several of one kind.", "Keep one CO2, one Pleth, one ABP.")
    return Recording(name, max(float(len(w.samples) / w.rate_hz) for w in waves), waves, (), unread)


def _edf_waves(raw: bytes) -> tuple[bool, tuple[WaveTrack, ...], tuple[str, ...]]:
    """Whether the file is without breaks, its known waves, and the labels of the others."""
    from edfio import read_edf

    edf = read_edf(raw)
    if not edf.is_continuous:
        return False, (), ()
    known = [(signal, _edf_term(signal)) for signal in edf.signals]
    waves = tuple(_edf_wave(signal, term) for signal, term in known if term is not None)
    return True, waves, tuple(signal.label for signal, term in known if term is None)


def _edf_term(signal: Any) -> str | None:
    term = next((term for pattern, term in EDF_SIGNALS if pattern.search(signal.label)), None)
    unit = EDF_UNITS.get(signal.physical_dimension.strip().lower())
    fits = {"co2-wave": {"mm[Hg]", "kPa", "%"}, "pleth-wave": {"1", "%"}, "art-wave": {"mm[Hg]"}}
    return term if term is not None and unit in fits[term] else None


def _edf_wave(signal: Any, term: str) -> WaveTrack:
    step = abs((signal.physical_max - signal.physical_min) / (signal.digital_max - signal.digital_min))
    decimals = next((d for d in range(MOST_DECIMALS + 1) if 10.0**-d <= step / 10), MOST_DECIMALS)
    told = NO_SAMPLE.search(signal.prefiltering)
    absent = signal.digital == int(told.group(1)) if told else None
    values = (signal.data * 10.0**decimals).round().astype(int).tolist()
    samples = [None if absent is not None and absent[n] else value for n, value in enumerate(values)]
    unit = EDF_UNITS[signal.physical_dimension.strip().lower()]
    return WaveTrack(
        term, unit, Decimal(str(float(signal.sampling_frequency))), Decimal(1).scaleb(-decimals), tuple(samples)
    )
