"""If everything stopped now: how far the level is from its plateau, when it has halved, when it has fallen to a chosen level.

Carries D4. A time beyond the horizon is said to be beyond it, never a figure.

A tenth of the animals are under a level by the moment at which the 10th percentile of their curves meets it: so the quick and
the slow end of a time are read from the band of the falling curves themselves, by straight lines in time and logarithm of level.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from spiracle.case.intervals import interval_of
from spiracle.case.pushes import drug_id
from spiracle.sheets.level_words import minutes_words, span_words
from spiracle.sheets.shapes import EffectMark, Fall
from spiracle.sheets.syringes import dose_row
from spiracle.sheets.told import Told

if TYPE_CHECKING:
    from spiracle.kinetics.exponentials import Floats
    from spiracle.sheets.levels import Followed

WITHIN_MIN = 12 * 60.0
GRID = np.concatenate(([0.0], np.geomspace(0.2, WITHIN_MIN, 55)))
RISING = 0.05  # a level is called rising while its peak is still this much of it away
AFTER_STOP = frozenset({"waking, tube out", "walking", "recovered", "analgesia from", "asleep"})


@dataclass(frozen=True, slots=True)
class Falling:
    """The band after a stop now: of the levels themselves [mg/L] in the chosen set's own animals, and in all of them of each one's
    share of its level now; of its coming peak while the last push still works its way in (`rises`)."""

    low: Floats
    high: Floats
    share_low: Floats
    share_high: Floats
    rises: bool

    @property
    def of(self) -> str:
        return "its coming peak" if self.rises else "now"

    def to_level(self, upper: float, lower: float) -> tuple[float | None, float | None]:
        """Minutes until the quick tenth is at the upper level and the slow tenth at the lower."""
        return _meets(self.low, upper), _meets(self.high, lower)

    def to_share(self, share: float) -> tuple[float | None, float | None]:
        return _meets(self.share_low, share), _meets(self.share_high, share)


def falling(f: Followed) -> Falling:
    whole = f.lying(f.schedule, f.now_min + GRID)
    low, _, high = f.crowd.own_band(whole)
    unscaled = whole / f.crowd.residual[:, None]
    now, most = unscaled[:, :1], unscaled.max(axis=1, keepdims=True)
    rises = bool(np.median(most - now) > RISING * np.median(most))
    share_low, _, share_high = f.crowd.band(unscaled / (most if rises else now))
    return Falling(low, high, share_low, share_high, rises)


def _meets(curve: Floats, level: float) -> float | None:
    """The last time [min] at which a curve comes down through a level; 0 where it is under it at once, None beyond the grid."""
    above = np.flatnonzero(curve > level)
    if not above.size:
        return 0.0
    last = int(above[-1])
    if last + 1 >= curve.size:
        return None
    a, b = np.log(curve[last]), np.log(max(float(curve[last + 1]), 1e-300))
    part = (a - np.log(level)) / (a - b) if a > b else 0.0
    return float(GRID[last] + part * (GRID[last + 1] - GRID[last]))


def plateau_text(f: Followed) -> str:
    """How much of the level that the present rate leads to is there already; nothing where nothing runs."""
    rate = f.went.mg_min_now / f.kg
    now = f.lying(f.schedule, np.array([f.now_min]))[:, 0]
    clearance = np.broadcast_to(np.asarray(f.crowd.disposition.clearance), now.shape)
    if rate <= 0 or not np.all(clearance > 0):
        return ""
    steady = rate / clearance * f.crowd.residual
    low, _, high = f.crowd.band(steady[:, None])
    share_low, _, share_high = f.crowd.band((now / steady * 100)[:, None])
    a, b = round(float(share_low[0])), round(float(share_high[0]))
    reach = span_words(f.scale, float(low[0]), float(high[0]))
    if a >= 100:
        return f"above the level that this rate leads to ({reach}), falling toward it"
    return f"≈ {a} to {b} % of the level that this rate leads to ({reach})"


def half_text(f: Followed, fall: Falling) -> str:
    """The time to half of what is there now, or of the peak that is still to come, given how long it went in for."""
    what = f"of {fall.of}" if fall.rises else "of it"
    when = "stopped now" if f.went.mg_min_now > 0 else "if nothing more goes in"
    return f"{when}, half {what} is left after {_said(*fall.to_share(0.5))}"


def falls_of(f: Followed, fall: Falling, marks: tuple[EffectMark, ...]) -> tuple[Fall, ...]:
    """Half and a fifth of now, each published level under what is still to come, and when the dose row's interval is over."""
    shares = ((f"half of {fall.of}", 0.5), (f"a fifth of {fall.of}", 0.2))
    found = [_line(f.t, text, fall.to_share(part)) for text, part in shares]
    for mark in marks:
        upper, lower = mark.high / f.scale.factor, mark.low / f.scale.factor
        if mark.text in AFTER_STOP and lower < float(fall.high.max()):
            found.append(_line(f.t, f"{mark.text}, {mark.level_text}", fall.to_level(upper, lower), mark.memory))
    redose = _redose(f.t, f.went.drug)
    return (*found, redose) if redose is not None else tuple(found)


def _line(t: Told, text: str, span: tuple[float | None, float | None], memory: bool = False) -> Fall:
    early, late = (None if x is None else t.now + timedelta(seconds=round(x * 60)) for x in span)
    return Fall(text=text, minutes_text=_said(*span), from_at=early, to_at=late, memory=memory)


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
    when = f"{due.astimezone(t.names.zone):%H:%M}"
    return Fall(text="interval of its dose row since the last dose", minutes_text=f"at {when}" if due > t.now else f"over since {when}",
                from_at=due, to_at=due, memory=row.facts.memory)  # fmt: skip
