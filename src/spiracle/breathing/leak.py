"""The leak test held against the published limits, which disagree: they are shown side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from spiracle.breathing.tables import BreathingTables
from spiracle.quantity import Quantity
from spiracle.refusals import OutOfRange
from spiracle.source import Input, Mark, Working

Verdict = Literal["passes", "sources differ", "fault"]


@dataclass(frozen=True, slots=True)
class LeakVerdict:
    """`passes` under every limit, `fault` over every one, else the sources differ and the stricter is named."""

    verdict: Verdict
    words: str
    working: Working


def leak_verdict(facts: BreathingTables, leak: Quantity, at: Quantity) -> LeakVerdict:
    """A leak [mL/min] found at a test pressure [cmH2O]. A test under 20 or over 30 cmH2O is refused: no limit speaks of it."""
    low, high = facts.setting("leak-pressure-low").quantity, facts.setting("leak-pressure-high").quantity
    if not low <= at <= high:
        raise OutOfRange(
            "leak test, pressure", f"{at} is not a pressure the limits speak of.", f"Test at {low} to {high}."
        )
    flow = leak.number("mL/min")
    if not 0 <= flow <= 20_000:
        raise OutOfRange(
            "leak test, flow", f"{leak} is not a leak flow.", "Give the flow that holds the pressure, like 150 mL/min."
        )
    # The leak grows with pressure: a test at or above a limit's pressure can pass it, one below it cannot.
    passing = [row for row in facts.leaks if flow <= row.most and at.number("cmH2O") >= row.at]
    failing = [row for row in facts.leaks if flow > row.most]
    held = tuple(f"at most {row.most} mL/min at {row.at} cmH2O: {row.says}{' (from memory)' if row.memory else ''}"
                 for row in facts.leaks)  # fmt: skip
    working = Working(f"{leak} at {at}", (Input("leak", str(leak), Mark.MEASURED), Input("pressure", str(at), Mark.MEASURED)),
                      held=held, sources=tuple(dict.fromkeys(s for row in facts.leaks for s in row.source)),
                      memory=any(row.memory for row in facts.leaks))  # fmt: skip
    if not passing:
        return LeakVerdict("fault", f"{leak} at {at} is over every limit: find the leak before use.", working)
    if not failing:
        return LeakVerdict("passes", f"{leak} at {at} is within the limits for this pressure.", working)
    return LeakVerdict(
        "sources differ", f"{leak} at {at} passes one limit and fails another: find and mend it.", working
    )
