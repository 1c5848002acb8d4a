"""What the archived CO2 wave shows, read again from its runs for an export: each finding a line with beginning and end, marked as ours."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from spiracle.capnogram.engine import Engine
from spiracle.capnogram.finding import Finding
from spiracle.capnogram.findings import Watch, as_ended
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.tables import CapnogramTables
from spiracle.doors.waves.shapes import Note, Run
from spiracle.refusals import Refusal

CO2 = "co2"
APART = timedelta(minutes=5)  # what lies further apart is read for itself
BACK = timedelta(milliseconds=250)  # a clock set anew; what overlaps by more is read for itself
UNITS = {"mm[Hg]": "mmHg", "kPa": "kPa", "%": "percent"}
OURS = "Read by Spiracle"


@dataclass(frozen=True, slots=True)
class Animal:
    """What the case says of it: weight and species, where known, and when tubes went in."""

    kg: float | None = None
    species: str | None = None
    tubes: tuple[datetime, ...] = ()


def read_notes(runs: Iterable[Run], animal: Animal, tables: CapnogramTables) -> tuple[Note, ...]:
    """The findings of all CO2 runs in the order they began; a wave that cannot be read says so in one line."""
    found = [n for trace in _traces(runs) for n in _read(trace, animal, tables)]
    return tuple(sorted(found, key=lambda n: n.at))


def _traces(runs: Iterable[Run]) -> Iterator[list[Run]]:
    """Runs of one device, unit and rate that are near enough to be read on end."""
    devices: defaultdict[tuple[str, str, float], list[Run]] = defaultdict(list)
    for run in sorted(runs, key=lambda r: r.first_at):
        if run.wave == CO2:
            devices[run.monitor, run.unit, run.rate_hz].append(run)
    for mine in devices.values():
        trace: list[Run] = []
        for run in mine:
            if trace and not -BACK <= run.first_at - trace[-1].until <= APART:
                yield trace
                trace = []
            trace.append(run)
        yield trace


def _read(trace: Sequence[Run], animal: Animal, tables: CapnogramTables) -> Iterator[Note]:
    first = trace[0]
    try:
        setup = Setup(first.rate_hz, UNITS.get(first.unit, first.unit), kg=animal.kg, species=animal.species)
    except Refusal as refusal:
        yield Note(
            at=first.first_at, text=f"Not read by Spiracle ({CO2}, {first.monitor}): {refusal.field}: {refusal.says}"
        )
        return
    samples, ties = _on_end(trace)
    until_s = len(samples) / first.rate_hz
    engine, watch = Engine(setup), Watch(tables, setup)
    for tube in animal.tubes:
        at_s = (tube - first.first_at).total_seconds()
        if 0 <= at_s <= until_s:
            watch.placed(at_s)
    told = [*watch.take(engine.feed(samples), until_s)]
    told += watch.finish(engine.finish(), until_s)
    for finding in as_ended(told):
        begins = _moment(ties, finding.from_s, first.rate_hz)
        ends = _moment(ties, until_s if finding.to_s is None else finding.to_s, first.rate_hz)
        seconds = max((ends - begins).total_seconds(), 0.0)
        yield Note(at=begins, seconds=seconds, text=_words(finding, first.monitor, tables))


def _on_end(trace: Sequence[Run]) -> tuple[npt.NDArray[np.float64], list[tuple[int, datetime]]]:
    """The samples with what lacks between as nan, and at which place each run began by our clock."""
    parts: list[npt.NDArray[np.float64]] = []
    ties: list[tuple[int, datetime]] = []
    count, end = 0, trace[0].first_at
    for run in trace:
        lacking = max(round((run.first_at - end).total_seconds() * run.rate_hz), 0)
        parts += [np.full(lacking, np.nan), run.values]
        ties.append((count + lacking, run.first_at))
        count, end = count + lacking + len(run.samples), run.until
    return np.concatenate(parts), ties


def _moment(ties: Sequence[tuple[int, datetime]], seconds: float, rate_hz: float) -> datetime:
    index = seconds * rate_hz
    tied, when = ties[max(bisect_right(ties, index, key=lambda t: t[0]) - 1, 0)]
    return when + timedelta(seconds=(index - tied) / rate_hz)


def _words(f: Finding, monitor: str, tables: CapnogramTables) -> str:
    degree = "" if f.name == "normal" else f", {f.degree}"
    stands = ", to the end of the trace" if f.to_s is None else ""
    return f"{OURS} ({CO2}, {monitor}): {f.name}: {tables.finding(f.name).title}{degree}{stands}. {f.why}"
