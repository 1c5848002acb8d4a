"""The rows of a message that make up waves, found and joined."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from spiracle.monitors import flags as marks
from spiracle.monitors.heard import Wave
from spiracle.monitors.rows import SUFFIXES, Row, unit_of, unit_of_triple
from spiracle.monitors.segments import ARRAYS, Segment
from spiracle.monitors.tables import MonitorTables
from spiracle.monitors.times import read_stamp
from spiracle.monitors.units import decimal_of
from spiracle.monitors.wave_rows import (
    Samples,
    Sampling,
    count_gap,
    held_why,
    positive,
    resolution_why,
    vectors,
    wave_of,
)
from spiracle.refusals import OutOfRange

# Attribute rows by name; test messages write the number as nought or short (seen in third-party code).
RATE, RESOLUTION = "MDC_ATTR_SAMP_RATE", "MDC_ATTR_NU_MSMT_RES"
ATTRIBUTES = frozenset({RATE, RESOLUTION})


def is_wave(row: Row) -> bool:
    """Whether a row is a wave or a part of one."""
    return row.kind in ARRAYS or row.suffix in SUFFIXES or row.term.ref in ATTRIBUTES


def waves(tables: MonitorTables, rows: list[Row]) -> tuple[Wave, ...]:
    """Every wave of a message. Rows of one wave share their group and the first four numbers of OBX-4."""
    wave_rows = [row for row in rows if is_wave(row)]
    total = sum(row.segment.array.count("^") + row.segment.array.count("~") + 1 for row in wave_rows)
    if total > tables.limit("message-samples"):
        raise OutOfRange("message", f"holds {total} samples.", f"At most {tables.limit('message-samples')} are read.")
    together: dict[tuple[int, tuple[int, ...]], list[Row]] = {}
    for row in wave_rows:
        together.setdefault((row.group.index, row.place[:4]), []).append(row)
    found: list[Wave] = []
    for kin in together.values():
        found += _classic(tables, kin) if any(row.suffix in SUFFIXES for row in kin) else _plain(tables, kin)
    return tuple(found)


def _plain(tables: MonitorTables, kin: list[Row]) -> list[Wave]:
    """Attribute style. Two arrays at one place, or an attribute said twice, hold each other."""
    arrays = [row for row in kin if row.kind in ARRAYS]
    said = [row for row in kin if row.term.ref in ATTRIBUTES]
    why = "two waves at one place" if len(arrays) > 1 else ""
    if len({row.term.ref for row in said}) < len(said):
        why = why or "its sampling is said twice"
    rates = [row.segment for row in said if row.term.ref == RATE]
    steps = [row.segment for row in said if row.term.ref == RESOLUTION]
    return [_of_array(tables, row, _rate(tables, rates), _step(steps), why) for row in arrays]


def _rate(tables: MonitorTables, rates: list[Segment]) -> Decimal | None:
    if len(rates) != 1:
        return None
    unit = unit_of(tables, rates[0])
    return positive(rates[0].text(5)) if unit is not None and unit.ucum == "Hz" else None


def _step(steps: list[Segment]) -> Decimal | None:
    """The resolution, None where none is said; one that cannot be read is nought, which fits no samples."""
    return (positive(steps[0].text(5)) or Decimal(0)) if steps else None


def _of_array(tables: MonitorTables, row: Row, rate: Decimal | None, step: Decimal | None, why: str) -> Wave:
    sampling = Sampling(rate_hz=rate, unit=unit_of(tables, row.segment), resolution=step)
    channels = vectors(row.kind, row.segment.array, tables)
    samples = channels[0] if len(channels) == 1 else Samples(why="several channels, and none of them is named")
    why = why or row.why or samples.why or resolution_why(samples, step)
    return _made(tables, row, sampling, samples, why, row.at)


def _made(tables: MonitorTables, row: Row, sampling: Sampling, samples: Samples, why: str, at: datetime | None) -> Wave:
    status = row.status if row.status in marks.STATUS else ""
    standing = marks.standing(tables, row.status, row.flags)
    start, end = row.group.start.at, row.group.end.at
    gap = count_gap(samples.whole, sampling, (start, end) if start is not None and end is not None else None)
    flagged = standing if standing not in {"measured", "validated"} and status else ""
    return wave_of(
        code=row.term.code,
        ref=row.term.ref,
        row=row.term.row,
        sampling=sampling,
        samples=samples,
        why=held_why(tables, row.term.row, sampling, status, row.term.why or why),
        gap=gap or flagged,
        no_value=standing in marks.GAPS,
        device_at=at,
    )


def _classic(tables: MonitorTables, kin: list[Row]) -> list[Wave]:
    """Chapter 7 style: one channel row and one data row; the time row, where there is one, is the start."""
    by: dict[str, list[Row]] = {}
    for row in kin:
        by.setdefault(row.suffix, []).append(row)
    data, channel, time = (by.get(suffix, []) for suffix in ("WAV", "CHN", "TIM"))
    if not data:
        return []
    row = data[0]
    why = "" if len(data) == 1 and len(channel) == 1 and len(time) <= 1 else "not one channel row and one data row"
    at = row.at
    if time and not why:
        stamp = read_stamp(time[0].segment.text(5))
        at, why = stamp.at, stamp.why
    vectors_ = vectors(row.kind, row.segment.array, tables) if row.kind in ARRAYS else (Samples(why="no array"),)
    count = len(channel[0].segment.parts(5)) if len(channel) == 1 else 0
    if len(vectors_) != count:
        why = why or f"{len(vectors_)} channels of data for {count} that are defined"
    if count > 1:
        why = why or "several channels, and none of them is named by a term"
    return [
        _made(tables, row, _channel(tables, channel, i), samples, why or row.why or samples.why, at)
        for i, samples in enumerate(vectors_[: max(count, 1)])
    ]


def _channel(tables: MonitorTables, channel: Sequence[Row], index: int) -> Sampling:
    """One channel's definition (type CD): sensitivity and unit in its third part, correction and baseline in its fourth, sampling
    frequency in its fifth (HL7 v2.6 chapter 2A; the tests hold it against a library's structure tables)."""
    if len(channel) != 1:
        return Sampling()
    segment, rep = channel[0].segment, index + 1
    unit = unit_of_triple(tables, *(segment.text(5, 3, n, rep) for n in (2, 3, 4)))
    sensitivity = _or_default(segment.text(5, 3, 1, rep), Decimal(0))
    correction = _or_default(segment.text(5, 4, 1, rep), Decimal(1))
    baseline = _or_default(segment.text(5, 4, 2, rep), Decimal(0))
    if sensitivity is None or correction is None or baseline is None or not sensitivity * correction:
        return Sampling()
    rate = positive(segment.text(5, 5, 1, rep))
    return Sampling(rate_hz=rate, unit=unit, sensitivity=sensitivity * correction, baseline=baseline)


def _or_default(text: str, default: Decimal) -> Decimal | None:
    """A number, `default` where nothing is said, None where what is said is none."""
    return decimal_of(text) if text else default
