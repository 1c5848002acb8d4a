"""Timing for the benchmarks: medians of many runs, always beside a named baseline measured in the same run.

Machines differ and are noisy, so what counts is the ratio; the goals in milliseconds are printed beside it.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Result:
    """One line of the report. `value` and `baseline` in the same unit."""

    name: str
    value: float
    unit: str
    baseline_name: str = ""
    baseline: float | None = None
    goal: float | None = None
    note: str = ""
    more: dict[str, float] = field(default_factory=dict)

    @property
    def ratio(self) -> str:
        return f"{self.value / self.baseline:,.1f} ×" if self.baseline else ""

    @property
    def met(self) -> str:
        return "" if self.goal is None else "yes" if self.value <= self.goal else "NO"


def median_ms(run: Callable[[], object], repeats: int = 30, warm: int = 3) -> float:
    """The median time of one call in milliseconds, after some that do not count."""
    for _ in range(warm):
        run()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def percentile(times: list[float], per_cent: float) -> float:
    ordered = sorted(times)
    return ordered[min(len(ordered) - 1, round(per_cent / 100 * (len(ordered) - 1)))]


def table(results: list[Result]) -> str:
    lines = ["| what | measured | goal | met | baseline, same run | ratio | note |", "|---|---|---|---|---|---|---|"]
    for r in results:
        goal = f"{r.goal:g} {r.unit}" if r.goal is not None else ""
        base = f"{r.baseline_name}: {r.baseline:,.3g} {r.unit}" if r.baseline is not None else r.baseline_name
        lines.append(f"| {r.name} | {r.value:,.3g} {r.unit} | {goal} | {r.met} | {base} | {r.ratio} | {r.note} |")
    return "\n".join(lines)
