"""The reader of CO2 traces beside labelled recordings that were made apart from it: a simulated lung, and shapes drawn by hand.

What is asked is what was set beforehand: breaths found and not invented at 0.99 each, end-tidal CO2 within 1 mmHg in the mean, each
shape that is moderate or severe found nine times in ten, one false finding at most in a normal hour. Both makers, their degrees
and the rules of scoring stand in tests/capno_*.py and were written without looking at the reader.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import pytest

from capno_score import Score, score, whole
from capno_set import hours, labelled
from capno_truth import Made
from spiracle.capnogram.findings import read_all
from spiracle.capnogram.setup import Setup
from spiracle.doors.tables import load_facts

SHAPES = (
    "no-breaths", "fading-breaths", "leak", "obstruction", "rebreathing", "cardiogenic-oscillations", "effort-notch", "sudden-loss",
    "exponential-fall", "high-co2", "low-co2", "apnoea", "panting", "artefact",
)  # fmt: skip

pytestmark = pytest.mark.xdist_group("capnogram-labelled")


def _score(make: Made) -> Score:
    made = make()
    setup = Setup(made.rate_hz, made.unit, made.ambient_mmhg, made.kg, made.species)
    breaths, _, findings = read_all(made.samples, setup, load_facts().capnogram)
    return score(made, breaths, findings)


@lru_cache
def episodes() -> tuple[Score, ...]:
    return tuple(_score(make) for make in labelled().values())


@lru_cache
def normal_hours() -> tuple[Score, ...]:
    return tuple(_score(make) for make in hours().values())


def worst(scores: Sequence[Score], what: str) -> str:
    """The recordings to look at first."""
    told = [(len(getattr(s, what)), s.name, getattr(s, what)[:5]) for s in scores if getattr(s, what)]
    return "; ".join(f"{name}: {n} {first}" for n, name, first in sorted(told, reverse=True)[:8])


@pytest.mark.parametrize("by", ["lung", "drawn", "hour"])
def test_breaths_are_found_and_not_invented(by: str) -> None:
    scores = normal_hours() if by == "hour" else [s for s in episodes() if by in s.name]
    got = whole(scores)
    assert got.breaths > 4000
    assert got.sensitivity >= 0.99, worst(scores, "missed")
    assert got.precision >= 0.99, worst(scores, "invented")


@pytest.mark.parametrize("by", ["lung", "drawn", "hour"])
def test_end_tidal_value(by: str) -> None:
    got = whole(normal_hours() if by == "hour" else [s for s in episodes() if by in s.name])
    assert got.mean_error <= 1.0
    assert got.mean_inspired_error <= 1.0


@pytest.mark.parametrize("shape", SHAPES)
def test_moderate_and_severe_shapes_are_found(shape: str) -> None:
    told = [(s.name, e.degree, seen) for s in episodes() for e, seen in s.shapes if e.name == shape]
    assert len(told) >= 4
    missed = [t[:2] for t in told if not t[2]]
    assert len(missed) <= 0.1 * len(told), missed


def test_a_normal_hour_is_left_in_peace() -> None:
    assert whole(normal_hours()).false_per_hour <= 1.0, worst(normal_hours(), "false")


def test_few_false_findings_beside_true_ones() -> None:
    """In recordings with something the matter: beside what is true, two an hour at most."""
    assert whole(episodes()).false_per_hour <= 2.0, worst(episodes(), "false")


def test_the_scorer_itself() -> None:
    """Truth read back scores in full; breaths late by half a second, or each split in two, do not."""
    made = next(make for name, make in labelled().items() if name.startswith("normal-lung"))()
    full = whole([score(made, made.breaths)])
    assert (full.sensitivity, full.precision, full.mean_error) == (1.0, 1.0, 0.0)
    late = [type(b)(b.start_s + 0.5, b.end_s + 0.5, b.etco2, b.fico2, b.port_etco2) for b in made.breaths]
    assert whole([score(made, late)]).sensitivity < 0.05
    split = [type(b)(b.start_s + k, b.end_s, b.etco2, b.fico2, b.port_etco2) for b in made.breaths for k in (0.0, 0.9)]
    assert whole([score(made, split)]).precision < 0.6
