"""From packets to runs: what counts on is one run, what does not begins another. Nothing is moved, filled or resampled. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from math import ceil

import numpy as np
import numpy.typing as npt

from spiracle.doors.waves.packing import Block, Ints, joined, lasting_us
from spiracle.doors.waves.rows import moment, us_of
from spiracle.doors.waves.shapes import Broke, Damaged, Run

DRIFT_US = 250_000  # how far a run's own count may leave our clock before it is broken and begun again


def runs_of(blocks: Sequence[Block], monitor: str, wave: str) -> Iterator[Run]:
    """The runs of one wave of one device, by their first samples.

    Packets are on end when the next begins within half a sample of where the last one ended. A device's own count that goes on
    (`seq`) is better evidence than a clock: then a quarter of a second is allowed.
    """
    block = joined(blocks)
    edges = np.concatenate(([0], np.cumsum(block.sizes)))
    for first, after, broke in _stretches(block, edges):
        lo, hi = int(edges[first]), int(edges[after])
        form = block.forms[block.form[first]]
        yield Run(monitor, wave, form.unit, form.rate_hz, form.scale, form.offset, moment(int(block.first_us[first])),
                  block.samples[lo:hi], block.missing[lo:hi], edges[first:after] - lo, block.arrived_ms[first:after], broke,
                  int(block.seq[first]) if block.counted[first] else None)  # fmt: skip


def _stretches(block: Block, edges: Ints) -> Iterator[tuple[int, int, Broke]]:
    """First packet, packet after the last, and why it began."""
    half = np.array([0.5e6 / f.rate_hz for f in block.forms])[block.form]
    off = block.first_us[1:] - (block.first_us + lasting_us(block))[:-1]
    counted = block.counted[1:] & block.counted[:-1] & (block.seq[1:] == (block.seq + block.sizes)[:-1])
    on_end = (np.abs(off) <= half[1:]) | (counted & (np.abs(off) <= DRIFT_US))
    same = _same(block)
    breaks = [0, *(np.flatnonzero(~(on_end & same)) + 1).tolist(), len(block.sizes)]
    for first, after in pairwise(breaks):
        why: Broke = "start"
        if first:
            why = "format" if not same[first - 1] else "gap" if off[first - 1] > 0 else "overlap"
        yield from _drifting(block, edges, (first, after, why))


def _same(block: Block) -> npt.NDArray[np.bool_]:
    """Whether each packet has the form of the one before it; why samples are missing does not matter here."""
    bare = [replace(f, gap="") for f in block.forms]
    kind = np.array([bare.index(f) for f in bare])[block.form]
    found: npt.NDArray[np.bool_] = kind[1:] == kind[:-1]
    return found


def _drifting(block: Block, edges: Ints, stretch: tuple[int, int, Broke]) -> Iterator[tuple[int, int, Broke]]:
    first, after, why = stretch
    while True:
        rate = block.forms[block.form[first]].rate_hz
        due = block.first_us[first] + (edges[first:after] - edges[first]) * 1e6 / rate
        far = np.flatnonzero(np.abs(block.first_us[first:after] - due) > DRIFT_US)
        if not len(far):
            yield first, after, why
            return
        yield first, first + int(far[0]), why
        first, why = first + int(far[0]), "clock"


def after_damage(runs: Iterable[Run], damaged: Sequence[Damaged]) -> Iterator[Run]:
    """Runs of one device by their first samples. One before which something damaged lies says so: what lacks there was kept."""
    before: Run | None = None
    for run in runs:
        end = before.until if before is not None else None
        torn = run.broke in {"start", "gap"} and any(
            d.first_at < run.first_at and (end is None or d.until > end) for d in damaged
        )
        yield replace(run, broke="damage") if torn else run
        before = run


def cut(run: Run, start_us: int, end_us: int) -> Run | None:
    """The samples of a run from one moment to before another, or None if there is none."""
    first = us_of(run.first_at)
    lo = max(0, ceil((start_us - first) * run.rate_hz / 1e6))
    hi = min(len(run.samples), ceil((end_us - first) * run.rate_hz / 1e6))
    if lo >= hi:
        return None
    if lo == 0 and hi == len(run.samples):
        return run
    packets = (run.starts < hi) & (np.append(run.starts[1:], len(run.samples)) > lo)
    return replace(run, first_at=moment(first + round(lo * 1e6 / run.rate_hz)), samples=run.samples[lo:hi],
                   missing=run.missing[lo:hi], starts=np.maximum(run.starts[packets] - lo, 0),
                   arrived_ms=run.arrived_ms[packets], broke="start" if lo else run.broke,
                   seq=None if run.seq is None else run.seq + lo)  # fmt: skip
