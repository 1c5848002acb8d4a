"""Waves as EDF+ (through edfio): every sample the device's own, every gap stated, nothing resampled.

Decided: one continuous file (EDF+C) in which a place without a sample holds a digital value that no sample of that signal has; the
signal's header says which, and an annotation with onset and length names every such stretch. The discontinuous kind (EDF+D) would
break all signals where one of them has a gap, and general readers refuse it.

A signal holds what one device sent of one wave in one format; another device, rate or scale is another signal. A run begins at the
nearest place of its signal's grid (half a sample off at most); its exact moment stands in an annotation. Moments are UTC.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

import msgspec
import numpy as np
import numpy.typing as npt

from spiracle.doors.waves.rows import us_of
from spiracle.doors.waves.shapes import Note, Run
from spiracle.refusals import Missing, OutOfRange

if TYPE_CHECKING:
    from edfio import EdfAnnotation, EdfSignal

LOW, HIGH = -32768, 32767
MOST_RECORD_BYTES = 61_440  # what a data record should not exceed (EDF's own description)
MOST_ANNOTATION = 250  # letters
WORST_LSB = 0.5
# Ranges to lay the header's two points at: their physical values have eight letters each, so some ends come out rounder.
POINTS = tuple(
    (lo, hi) for lo in (LOW, -32500, -32000, -30000, -25000, -20000) for hi in (HIGH, 32500, 32000, 30000, 25000, 20000)
)

Key = tuple[str, str, str, float, float, float]
Digital = npt.NDArray[np.int64]


class EdfPatient(msgspec.Struct, frozen=True, kw_only=True):
    """Whose recording it is, only where that was asked for: without it the patient's field says X throughout."""

    code: str = "X"
    sex: Literal["F", "M", "X"] = "X"
    born: date | None = None
    name: str = "X"


@dataclass(slots=True)
class _Lane:
    """One signal of the file: runs at places of its grid that do not overlap."""

    key: Key
    label: str
    runs: list[tuple[int, Run]] = field(default_factory=list)
    end: int = 0


def edf(runs: Sequence[Run], notes: Sequence[Note] = (), patient: EdfPatient | None = None) -> bytes:
    """The file. Refuses by name what EDF+ cannot hold: no run, samples that span more than 16 bits, rates without a common record."""
    import edfio

    if not runs:
        raise Missing("waves", "there are no waves to write.")
    start = min(r.first_at for r in runs).astimezone(UTC).replace(microsecond=0)
    length = math.ceil((max(r.until for r in runs) - start).total_seconds()) + 1
    lanes = _lanes(runs, start)
    rates = [_rate(lane.key[3], length) for lane in lanes]
    record = math.lcm(*(r.denominator for r in rates))
    if sum(2 * r * record for r in rates) > MOST_RECORD_BYTES:
        raise OutOfRange("rates", "have no common record of a size that EDF+ allows.", "Take them as parquet.")
    records = math.ceil(length / record)
    signals, annotations = [], []
    for lane, rate in zip(lanes, rates, strict=True):
        signal, absent = _signal(lane, rate, int(rate * record) * records)
        signals.append(signal)
        annotations += [*_begins(lane, start), *_absences(lane, rate, absent)]
    annotations += _noted(notes, start, records * record)
    who = patient or EdfPatient()
    return edfio.Edf(
        signals,
        patient=edfio.Patient(code=_part(who.code), sex=who.sex, birthdate=who.born, name=_part(who.name)),
        recording=edfio.Recording(startdate=start.date(), additional=("UTC",)),
        starttime=start.time(),
        data_record_duration=record,
        annotations=annotations,
    ).to_bytes()


def _part(text: str) -> str:
    """A part of a header's field: no blanks, plain letters."""
    plain = "_".join(text.split()).encode("ascii", "replace").decode()
    return plain or "X"


def _rate(rate_hz: float, length: int) -> Fraction:
    """A rate as a fraction, exact enough that a whole recording is not half a sample off."""
    found = Fraction(rate_hz).limit_denominator(1000)
    if abs(float(found) - rate_hz) * length > WORST_LSB:
        raise OutOfRange("rate", f"{rate_hz} samples a second fit no record of EDF+.", "Take them as parquet.")
    return found


def _lanes(runs: Sequence[Run], start: datetime) -> list[_Lane]:
    """Runs of one device and format in one lane; what overlaps by more than a sample gets a lane more, so nothing is lost."""
    lanes: list[_Lane] = []
    labels: dict[str, int] = {}
    begin = us_of(start)
    for run in sorted(runs, key=lambda r: r.first_at):
        key = (run.wave, run.monitor, run.unit, run.rate_hz, run.scale, run.offset)
        at = round((us_of(run.first_at) - begin) * run.rate_hz / 1e6)
        lane = next((x for x in lanes if x.key == key and at >= x.end - 1), None)
        if lane is None:
            labels[run.wave] = labels.get(run.wave, 0) + 1
            number = f" {labels[run.wave]}" if labels[run.wave] > 1 else ""
            lane = _Lane(key, f"{_part(run.wave)[:12]}{number}")
            lanes.append(lane)
        at = max(at, lane.end)
        lane.runs.append((at, run))
        lane.end = at + len(run.samples)
    return lanes


def _signal(lane: _Lane, rate: Fraction, count: int) -> tuple[EdfSignal, npt.NDArray[np.bool_]]:
    import edfio

    _, monitor, unit, _, scale, offset = lane.key
    if scale == 0:
        raise OutOfRange("scale", f"{lane.label} has a scale of nought.", "Take it as parquet.")
    turn = -1 if scale < 0 else 1  # a header's physical minimum is below its maximum
    absent = np.ones(count, dtype=bool)
    digital: Digital = np.zeros(count, dtype=np.int64)
    for at, run in lane.runs:
        part = slice(at, at + len(run.samples))
        absent[part], digital[part] = run.missing, turn * run.samples.astype(np.int64)
    present = digital[~absent]
    least, most = (int(present.min()), int(present.max())) if len(present) else (0, 0)
    shift = 0 if least > LOW and most <= HIGH else least - LOW - 1
    if most - shift > HIGH:
        raise OutOfRange("samples", f"{lane.label} spans more than the 16 bits of EDF+.", "Take it as parquet.")
    (lo, hi), physical = _points((least - shift, most - shift), shift, (abs(scale), offset))
    written = np.where(absent, lo, digital - shift).astype(np.int16)
    signal = edfio.EdfSignal.from_digital(
        written, float(rate), label=lane.label, transducer_type=_part(monitor)[:80],
        physical_dimension=unit if unit.isascii() and len(unit) <= 8 else "", physical_range=physical,
        digital_range=(lo, hi), prefiltering=f"none by the archive; digital {lo} = no sample")  # fmt: skip
    return signal, absent


def _points(span: tuple[int, int], shift: int, by: tuple[float, float]) -> tuple[tuple[int, int], tuple[float, float]]:
    """Digital and physical ends for the header, such that its eight letters an end put every sample where it was.

    The lower end is the mark of absence, so it lies below every sample.
    """
    scale, offset = by
    best: tuple[float, tuple[int, int], tuple[float, float]] | None = None
    for lo, hi in POINTS:
        if lo >= span[0] or hi < span[1]:
            continue
        exact = ((lo + shift) * scale + offset, (hi + shift) * scale + offset)
        ends = (_eight(exact[0]), _eight(exact[1]))
        if ends[0] is None or ends[1] is None or ends[0] >= ends[1]:
            continue
        off = max(abs(e - x) for e, x in zip(ends, exact, strict=True) if e is not None) / scale
        if best is None or off < best[0] - 1e-9:
            best = (off, (lo, hi), (ends[0], ends[1]))
    if best is None or best[0] > WORST_LSB:
        raise OutOfRange(
            "scale", f"{scale} with offset {offset} cannot be written in a header of EDF+.", "Take it as parquet."
        )
    return best[1], best[2]


def _eight(value: float) -> float | None:
    """The nearest value that eight letters can say, as the library will write it."""
    whole = len(str(int(abs(value)))) + (value < 0)
    if abs(value) >= 1e8 or whole > 8:
        return None
    places = max(0, 8 - 1 - whole)
    near = round(value, places)
    return int(near) if near.is_integer() else near


def _begins(lane: _Lane, start: datetime) -> Iterator[EdfAnnotation]:
    from edfio import EdfAnnotation

    why = {"start": "begins", "gap": "goes on after a gap", "overlap": "goes on, earlier than it was due",
           "format": "begins in another format", "clock": "goes on by a clock set anew",
           "damage": "goes on after a stretch that is damaged in the archive"}  # fmt: skip
    for _, run in lane.runs:
        text = f"{lane.label}: {why[run.broke]}; {run.monitor}, {run.unit}, {run.rate_hz:g} Hz"
        yield EdfAnnotation((run.first_at - start) / timedelta(seconds=1), None, _short(text))


def _absences(lane: _Lane, rate: Fraction, absent: npt.NDArray[np.bool_]) -> Iterator[EdfAnnotation]:
    from edfio import EdfAnnotation

    edges = np.flatnonzero(np.diff(absent, prepend=False, append=False))
    for first, after in edges.reshape(-1, 2).tolist():
        yield EdfAnnotation(float(first / rate), float((after - first) / rate), f"{lane.label}: no sample")


def _noted(notes: Sequence[Note], start: datetime, length: int) -> Iterator[EdfAnnotation]:
    from edfio import EdfAnnotation

    outside = 0
    for note in notes:
        onset = (note.at - start) / timedelta(seconds=1)
        if 0 <= onset < length:
            yield EdfAnnotation(onset, note.seconds, _short(note.text))
        else:
            outside += 1
    if outside:
        yield EdfAnnotation(0.0, None, f"entries before or after this recording, not written here: {outside}")


def _short(text: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in text)
    return plain if len(plain) <= MOST_ANNOTATION else plain[: MOST_ANNOTATION - 1] + "…"
