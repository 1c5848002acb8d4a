"""Laws of findings: chunks change nothing, a finding never overlaps itself, its figures pass their limit, quiet traces stay quiet."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capno_rooms import capnogram_tables
from spiracle.capnogram.engine import Engine
from spiracle.capnogram.finding import Finding
from spiracle.capnogram.findings import Watch, as_ended, read_all
from spiracle.capnogram.latch import WORSE
from spiracle.capnogram.setup import Setup

TABLES = capnogram_tables()
KINDS = ("plain", "leak", "ramp", "raised", "ripple", "notch", "fall", "still", "gone", "quick", "low", "odd", "humps")
Row = np.ndarray


def stretch(kind: str, hz: float, rng: np.random.Generator) -> Row:
    """Some breaths of one kind, 20 to 40 s. Shapes by hand; no figure here is a limit of the product."""
    seconds, rate, out = float(rng.uniform(20, 40)), float(rng.uniform(8, 24)), 0.6
    if kind == "quick":
        rate = 110.0
    row, at, k = np.zeros(int(seconds * hz)), 0.3, 0
    while (at + 60 / rate) * hz < len(row) and kind not in {"still", "gone", "odd"}:
        length = out * 60 / rate
        u = np.arange(int(length * hz)) / hz
        breath = 38 * (1 - np.exp(-u / 0.1))
        part = u / length
        breath = {
            "leak": breath * np.where(part < 0.35, 1, 1 - 0.7 * (part - 0.35)),
            "ramp": 38 * part**0.6,
            "ripple": breath * (1 - 0.05 * (1 - np.cos(2 * np.pi * 1.7 * u))),
            "notch": breath * (1 - 0.3 * np.exp(-(((part - 0.6) / 0.08) ** 2))),
            "fall": breath * 0.82**k,
            "humps": breath * 0.5 ** (k + 1),
            "quick": breath * 0.4,
            "low": breath * 0.6,
        }.get(kind, breath)
        row[int(at * hz) : int(at * hz) + len(u)] = breath
        at, k = at + 60 / rate * float(rng.uniform(0.95, 1.05)), k + 1
    if kind == "raised":
        row = np.maximum(row, 8.0)
    if kind == "odd":
        row = rng.uniform(0, 60, len(row))
    if kind == "gone":
        row[:] = np.nan
    return row


def trace(kinds: tuple[str, ...], hz: float, seed: int) -> Row:
    rng = np.random.default_rng(seed)
    row = np.concatenate([stretch(k, hz, rng) for k in kinds])
    return row + rng.normal(0, 0.2, len(row))


def streamed(
    row: Row, setup: Setup, cuts: list[int], placed_s: float | None
) -> tuple[list[Finding], tuple[Finding, ...]]:
    engine, watch, told, fed = Engine(setup), Watch(TABLES, setup), [], 0
    if placed_s is not None:
        watch.placed(placed_s)
    for part in np.split(row, sorted(c for c in cuts if c < len(row))):
        fed += len(part)
        told += watch.take(engine.feed(part), fed / setup.rate_hz)
    told += watch.finish(engine.finish(), fed / setup.rate_hz)
    return told, watch.open


MADE = st.tuples(st.lists(st.sampled_from(KINDS), min_size=2, max_size=6).map(tuple), st.sampled_from([20.0, 50.0, 100.0]),
                 st.integers(0, 10_000), st.none() | st.floats(0, 60))  # fmt: skip


@given(MADE, st.data())
@settings(max_examples=15, deadline=None)
def test_chunks_change_nothing(made: tuple[tuple[str, ...], float, int, float | None], data: st.DataObject) -> None:
    """Not only what stands in the end: what is told, in the order it is told."""
    kinds, hz, seed, placed = made
    row, setup = trace(kinds, hz, seed), Setup(hz)
    whole = streamed(row, setup, [], placed)
    size = data.draw(st.sampled_from([1, 3, 7, 40, 333]))
    cuts = list(range(size, len(row), size)) if size > 3 or len(row) < 4000 else list(range(size, 4000, size))
    cuts += data.draw(st.lists(st.integers(1, len(row)), max_size=5))
    assert streamed(row, setup, cuts, placed) == whole
    assert read_all(row, setup, TABLES, placed)[2] == as_ended(whole[0])


@given(MADE)
@settings(max_examples=25, deadline=None)
def test_findings_are_well_formed(made: tuple[tuple[str, ...], float, int, float | None]) -> None:
    kinds, hz, seed, placed = made
    row, setup = trace(kinds, hz, seed), Setup(hz)
    told, _ = streamed(row, setup, [], placed)
    found = as_ended(told)
    assert all(f.to_s is None or f.from_s < f.to_s for f in found)
    for name in {f.name for f in found}:
        spans = [(f.from_s, f.to_s) for f in found if f.name == name]
        assert all(a[1] is not None and a[1] <= b[0] for a, b in pairwise(spans)), (name, spans)
    for f in found:
        figure = f.measured[0].value
        if f.name != "normal" and f.measured[0].what != "breaths in doubt":
            assert TABLES.ladders[f.name].shows(figure), f
            assert WORSE[TABLES.ladders[f.name].degree(figure)] <= WORSE[f.degree], f
        assert f.why.endswith(".")


@given(MADE)
@settings(max_examples=15, deadline=None)
def test_each_finding_is_told_begins_worsens_and_ends_in_that_order(
    made: tuple[tuple[str, ...], float, int, float | None],
) -> None:
    kinds, hz, seed, placed = made
    told, standing = streamed(trace(kinds, hz, seed), Setup(hz), [], placed)
    lives: dict[tuple[str, float], list[Finding]] = {}
    for f in told:
        lives.setdefault((f.name, f.from_s), []).append(f)
    for life in lives.values():
        assert [f.to_s is None for f in life] in ([True] * len(life), [True] * (len(life) - 1) + [False])
        assert all(WORSE[a.degree] <= WORSE[b.degree] for a, b in pairwise(life))
    assert sorted(f.name for f in standing) == sorted(life[-1].name for life in lives.values() if life[-1].to_s is None)


@pytest.mark.parametrize("hz", [20.0, 100.0, 250.0])
@pytest.mark.parametrize("seed", range(3))
def test_ten_quiet_minutes_bring_nothing_but_normal(hz: float, seed: int) -> None:
    row = trace(("plain",) * 1, hz, seed)
    rng = np.random.default_rng(seed)
    rate, at = float(rng.uniform(8, 30)), 0.5
    row = np.zeros(int(600 * hz))
    while (at + 60 / rate) * hz < len(row):
        u = np.arange(int(0.6 * 60 / rate * hz)) / hz
        row[int(at * hz) : int(at * hz) + len(u)] = (
            float(rng.normal(39, 0.8)) * (1 - np.exp(-u / 0.1)) * (0.95 + 0.05 * u / u[-1])
        )
        at += 60 / rate * float(rng.uniform(0.9, 1.1)) * (1.8 if rng.random() < 0.02 else 1.0)
    row += rng.normal(0, 0.3, len(row)) + np.linspace(0, 1, len(row))
    assert {f.name for f in read_all(row, Setup(hz), TABLES)[2]} == {"normal"}
