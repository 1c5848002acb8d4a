"""The clock of an arrest: which cycle, when it ends, which drug is due. Time comes in; nothing here reads a clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from spiracle.emergency.rows import ItemRow, Timing
from spiracle.refusals import OutOfRange


@dataclass(frozen=True, slots=True)
class NextDose:
    """When a drug that is repeated falls due: not before `from_at`, not after `to_at`."""

    item: str
    drug: str
    from_at: datetime
    to_at: datetime


@dataclass(frozen=True, slots=True)
class ArrestClock:
    """`cycle` counts from 1; `spent` are items that are given once and were."""

    cycle: int
    cycle_ends: datetime
    seconds_left: int
    next_due: tuple[NextDose, ...]
    spent: tuple[str, ...]


def arrest_clock(
    timing: Timing,
    items: Sequence[ItemRow],
    began_at: datetime,
    now: datetime,
    given: Mapping[str, Sequence[datetime]],
) -> ArrestClock:
    """The state of an arrest. `given` holds, by drug, when it was given since the arrest began; earlier doses do not count."""
    if now < began_at:
        raise OutOfRange("time", "is before the arrest began.", "Check the clock.")
    cycle_s = timing.cycle_s
    done = int((now - began_at).total_seconds()) // cycle_s
    ends = began_at + timedelta(seconds=cycle_s * (done + 1))
    due: list[NextDose] = []
    spent: list[str] = []
    for row in items:
        since = sorted(t for t in given.get(row.drug, ()) if t >= began_at)
        if not since:
            continue
        if row.once:
            spent.append(row.id)
        elif row.every_min:
            low, high = row.every_min
            due.append(
                NextDose(row.id, row.drug, since[-1] + timedelta(minutes=low), since[-1] + timedelta(minutes=high))
            )
    left = max(0, int((ends - now).total_seconds()))
    return ArrestClock(done + 1, ends, left, tuple(due), tuple(spent))
