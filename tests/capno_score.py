"""How well a reader of traces does on labelled ones: breaths found and invented, end-tidal error, shapes found, false findings.

A breath is found when one of the reader's begins within 0.3 s of it and within 30 % of its cycle, each paired once, nearest first.
A shape is found when a finding of its very name overlaps it, or begins soon after it. A finding is false when nothing true
supports it: no episode of that name near, and not what the true breaths themselves say.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from capno_truth import Episode, Recording, TrueBreath

GRACE_S, AFTER_S = 15.0, 45.0  # a finding may come this late; may outlast what it stands for by this
SOUGHT = ("moderate", "severe")


class ReadBreath(Protocol):
    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...
    @property
    def etco2(self) -> float: ...
    @property
    def fico2(self) -> float | None: ...


class ReadFinding(Protocol):
    @property
    def name(self) -> str: ...
    @property
    def from_s(self) -> float: ...
    @property
    def to_s(self) -> float | None: ...
    @property
    def degree(self) -> str: ...


@dataclass
class Score:
    name: str
    found: int = 0
    missed: list[float] = field(default_factory=list)  # where
    invented: list[float] = field(default_factory=list)
    ends_off: int = 0
    errors: list[float] = field(default_factory=list)  # end-tidal, mmHg
    inspired_errors: list[float] = field(default_factory=list)
    shapes: list[tuple[Episode, bool]] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    hours: float = 0.0


def score(recording: Recording, breaths: Sequence[ReadBreath], findings: Sequence[ReadFinding] = ()) -> Score:
    made = Score(recording.name, hours=recording.seconds / 3600)
    truth, doubted = _sure(recording)
    _breaths(made, truth, doubted, breaths, recording.seconds)
    for episode in recording.episodes:
        if episode.degree in SOUGHT and episode.name not in {"", "normal"}:
            made.shapes.append((episode, any(f.name == episode.name and _near(f, episode, GRACE_S) for f in findings)))
    for f in findings:
        if f.name != "normal" and not _true(f, recording, truth):
            until = "..." if f.to_s is None else f"{f.to_s:.0f}"
            made.false.append(f"{f.name} {f.degree} {f.from_s:.0f}-{until}")
    return made


def _sure(recording: Recording) -> tuple[list[TrueBreath], list[TrueBreath]]:
    """The breaths anybody would count; and those that are disputed or whose edges are missing from the trace."""
    lost = np.isnan(recording.samples)
    sure, doubted = [], []
    for b in recording.breaths:
        hz = recording.rate_hz
        edges = [lost[max(0, int((t - 0.1) * hz)) : int((t + 0.1) * hz) + 1] for t in (b.start_s, b.end_s)]
        share = float(lost[int(b.start_s * hz) : int(b.end_s * hz) + 1].mean())
        (doubted if not b.sure or share > 0.3 or any(e.any() for e in edges) else sure).append(b)
    return sure, doubted


def _breaths(
    made: Score, truth: list[TrueBreath], doubted: list[TrueBreath], read: Sequence[ReadBreath], seconds: float
) -> None:
    starts = [b.start_s for b in read]
    pairs = []
    for k, b in enumerate(truth):
        gaps = [abs(b.start_s - truth[j].start_s) for j in (k - 1, k + 1) if 0 <= j < len(truth)]
        close = min(0.3, 0.3 * min([*gaps, 60.0]))
        for j in range(bisect_left(starts, b.start_s - close), bisect_left(starts, b.start_s + close + 1e-9)):
            pairs.append((abs(starts[j] - b.start_s), k, j, close))
    taken_k: set[int] = set()
    taken_j: set[int] = set()
    for _, k, j, close in sorted(pairs):
        if k in taken_k or j in taken_j:
            continue
        taken_k.add(k)
        taken_j.add(j)
        made.errors.append(read[j].etco2 - truth[k].etco2)
        fico2 = read[j].fico2
        if fico2 is not None:
            made.inspired_errors.append(fico2 - truth[k].fico2)
        made.ends_off += abs(read[j].end_s - truth[k].end_s) > close
    made.found = len(taken_k)
    made.missed = [b.start_s for k, b in enumerate(truth) if k not in taken_k]
    last = truth[-1].end_s if truth else seconds
    made.invented = [b.start_s for j, b in enumerate(read) if j not in taken_j and not _disputed(b, doubted)
                     and not (b.start_s > last and seconds - b.start_s < 20 and truth and _cut_off(last, seconds))]  # fmt: skip


def _cut_off(last_end: float, seconds: float) -> bool:
    """The recording ended within the breath after the last whole one."""
    return seconds - last_end < 16


def _disputed(b: ReadBreath, doubted: list[TrueBreath]) -> bool:
    return any(b.start_s < d.end_s + 0.4 and d.start_s - 0.4 < b.end_s for d in doubted)


def _near(f: ReadFinding, e: Episode, after: float) -> bool:
    return f.from_s <= e.to_s + after and (f.to_s is None or f.to_s >= e.from_s)


def _true(f: ReadFinding, recording: Recording, truth: list[TrueBreath]) -> bool:
    if any(e.name and (f.name == e.name or f.name in e.also) and _near(f, e, AFTER_S) for e in recording.episodes):
        return True
    to = recording.seconds if f.to_s is None else f.to_s
    inside = [b for b in truth if f.from_s - 1 <= b.start_s <= to + 1]
    lost = np.isnan(recording.samples[int(f.from_s * recording.rate_hz) : int(to * recording.rate_hz) + 1])
    if f.name == "artefact" and lost.size and lost.mean() > 0.1:
        return True
    if len(inside) < 3:
        return False
    et = float(np.median([b.etco2 for b in inside]))
    cycle = float(np.median(np.diff([b.start_s for b in inside])))
    says = {"high-co2": et > 44.5, "low-co2": et < 35.5, "panting": cycle < 1.2,
            "rebreathing": float(np.median([b.fico2 for b in inside])) > 1.5}  # fmt: skip
    return says.get(f.name, False)


@dataclass(frozen=True)
class Whole:
    """All recordings together."""

    breaths: int
    sensitivity: float
    precision: float
    mean_error: float
    worst_error: float
    mean_inspired_error: float
    ends_off: float
    shapes: dict[str, tuple[int, int]]  # found, of
    false_per_hour: float


def whole(scores: Sequence[Score]) -> Whole:
    found, missed = sum(s.found for s in scores), sum(len(s.missed) for s in scores)
    invented = sum(len(s.invented) for s in scores)
    errors = np.abs([e for s in scores for e in s.errors] or [0.0])
    inspired = np.abs([e for s in scores for e in s.inspired_errors] or [0.0])
    shapes: dict[str, tuple[int, int]] = {}
    for s in scores:
        for episode, seen in s.shapes:
            had = shapes.get(episode.name, (0, 0))
            shapes[episode.name] = (had[0] + seen, had[1] + 1)
    return Whole(
        found + missed, found / max(1, found + missed), found / max(1, found + invented), float(errors.mean()), float(errors.max()),
        float(inspired.mean()), sum(s.ends_off for s in scores) / max(1, found), shapes,
        sum(len(s.false) for s in scores) / max(1e-9, sum(s.hours for s in scores)),
    )  # fmt: skip
