"""If everything stopped now: how far the level is from its plateau, when it has halved, when it has fallen to a chosen level.

Carries D4. A time beyond the horizon is said to be beyond it, never a figure.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from spiracle.case.intervals import interval_of
from spiracle.case.pushes import drug_id
from spiracle.kinetics.timing import time_to_fall
from spiracle.sheets.level_words import minutes_words, span_words
from spiracle.sheets.shapes import EffectMark, Fall
from spiracle.sheets.syringes import dose_row
from spiracle.sheets.told import Told

if TYPE_CHECKING:
    from spiracle.kinetics.exponentials import Floats
    from spiracle.sheets.levels import Followed

WITHIN_MIN = 12 * 60.0
AFTER_STOP = frozenset({"waking, tube out", "walking", "recovered", "analgesia from", "asleep"})


def plateau_text(f: Followed, now: Floats) -> str:
    """How much of the level that the present rate leads to is there already; nothing where nothing runs."""
    rate = f.went.mg_min_now / f.kg
    if rate <= 0:
        return ""
    clearance = np.broadcast_to(np.asarray(f.crowd.disposition.clearance), now.shape)
    if not np.all(clearance > 0):
        return ""
    steady = rate / clearance * f.crowd.residual
    low, _, high = f.crowd.band(steady[:, None])
    share = f.crowd.band((now / steady * 100)[:, None])
    a, b = round(float(share[0][0])), round(float(share[2][0]))
    reach = span_words(f.scale, float(low[0]), float(high[0]))
    if a >= 100:
        return f"above the level that this rate leads to ({reach}), falling toward it"
    return f"≈ {a} to {min(b, 100)} % of the level that this rate leads to ({reach})"


def half_text(f: Followed, now: Floats) -> str:
    """The time to half of what is there now, given how long it went in for."""
    fall = _fall(f, now / 2)
    return f"stopped now, half of it is left after {_said(*fall)}" if fall is not None else ""


def falls_of(f: Followed, marks: tuple[EffectMark, ...], now: Floats) -> tuple[Fall, ...]:
    found = [_line(f, text, now * part, now * part) for text, part in (("half of now", 0.5), ("a fifth of now", 0.2))]
    low_now = float(f.crowd.band(now[:, None])[2][0]) * f.scale.factor
    for mark in marks:
        if mark.text in AFTER_STOP and mark.low < low_now:
            found.append(
                _line(f, f"{mark.text}, {mark.level_text}", _flat(now, mark.high / f.scale.factor),
                      _flat(now, mark.low / f.scale.factor), mark.memory)
            )  # fmt: skip
    return tuple(x for x in (*found, _redose(f.t, f.went.drug)) if x is not None)


def _flat(now: Floats, level: float) -> Floats:
    return np.full(now.shape, level)


def _line(
    f: Followed, text: str, first: Floats, last: Floats, memory: bool = False
) -> Fall | None:  # fmt: skip
    """From the quick animals at the upper level to the slow ones at the lower."""
    early, late = _fall(f, first), _fall(f, last)
    if early is None or late is None:
        return None
    a, b = early[0], late[1]
    at = None if a is None else f.t.now + timedelta(seconds=round(a * 60))
    to = None if b is None else f.t.now + timedelta(seconds=round(b * 60))
    return Fall(text=text, minutes_text=_said(a, b), from_at=at, to_at=to, memory=memory)


def _fall(f: Followed, level: Floats) -> tuple[float | None, float | None] | None:
    """10 and 90 % of the animals' minutes from now until the level is reached; None for those beyond the horizon."""
    target = level / f.crowd.residual
    minutes = time_to_fall(f.crowd.disposition, f.schedule, f.now_min, target, f.site, WITHIN_MIN)
    early, _, late = f.crowd.times(np.asarray(minutes))
    return early, late


def _said(early: float | None, late: float | None) -> str:
    if early is None:
        return f"not within {WITHIN_MIN / 60:g} h"
    if late is None:
        return f"≈ {minutes_words(early, early)} at the soonest, in some not within {WITHIN_MIN / 60:g} h"
    return f"≈ {minutes_words(early, late)}"


def _redose(t: Told, drug: str) -> Fall | None:
    """When the tables' interval since the last dose is over; it is the row's, not the model's."""
    last = next((g for g in reversed(t.given) if drug_id(g.drug, t.facts) == drug), None)
    order = t.orders.get(last.order) if last is not None else None
    row = dose_row(t, order) if order is not None else None
    span = interval_of(row) if row is not None else None
    if last is None or row is None or span is None:
        return None
    due = last.happened_at + span
    words = (
        f"at {due.astimezone(t.names.zone):%H:%M}"
        if due > t.now
        else f"over since {due.astimezone(t.names.zone):%H:%M}"
    )
    return Fall(text="interval of its dose row since the last dose", minutes_text=words, from_at=due, to_at=due,
                memory=row.facts.memory)  # fmt: skip
