"""One breath as the engine reads it: moments in seconds since the first sample, pressures in mmHg whatever the monitor's unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import msgspec

Quality = Literal["good", "doubtful"]


class Breath(msgspec.Struct, frozen=True, gc=False):
    """An expiration and the inspiration before it. Known at the downstroke, so nothing here looks ahead.

    start_s, end_s       expiration: foot of the upstroke, start of the downstroke into the next inspiration
    before_s             end of the expiration before: inspiration runs from there to start_s. None at first and after a gap
    etco2, fico2         end-tidal (highest of the last part of the plateau), lowest of the inspiration before [mmHg]; None if unseen
    top, foot            highest and lowest of this breath [mmHg]: height = top - foot
    upstroke_s           10 to 90 % of the height
    upstroke_slope       mmHg/s between those
    plateau_slope        mmHg/s, straight line through the middle of the plateau
    alpha_deg            angle between upstroke and plateau, in the frame where `capnogram/angle.py` says what a second and a mmHg measure
    plateau_fraction     share of the expiration spent on the plateau, 0 to 1
    area                 mmHg*s above the foot over the expiration
    downstroke_s         90 to 10 % of the height after end_s, as far as seen when the breath was closed; None if unseen
    fallen_s             moment at which two thirds of its height were gone, end_s at the earliest
    ripple               depth of the deepest dip inside the plateau that climbs back [mmHg]; 0 if none
    ripple_per_min       rate of regular ripples on plateau and tail, or None
    rate_per_min         60 / (start_s - start of the breath before); None for the first and after a gap
    ie_ratio             inspiration / expiration; None where either is unknown
    missing              share of samples missing within the breath, 0 to 1
    known_s              the moment it was handed over, in the time of the trace: it may be leaned on from then, however chunks fell
    """

    start_s: float
    end_s: float
    before_s: float | None
    etco2: float
    fico2: float | None
    top: float
    foot: float
    upstroke_s: float
    upstroke_slope: float
    plateau_slope: float
    alpha_deg: float
    plateau_fraction: float
    area: float
    downstroke_s: float | None
    ripple: float
    ripple_per_min: float | None
    rate_per_min: float | None
    ie_ratio: float | None
    missing: float
    quality: Quality
    doubts: tuple[str, ...] = ()
    fallen_s: float = 0.0
    known_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Trouble:
    """A stretch of the signal that is no breathing: samples missing, off the scale, stuck at one value away from zero, or moving as
    no gas moves. to_s is None while it lasts; known_s is the moment this was told, in the time of the trace."""

    kind: Literal["missing", "off scale", "stuck", "noise"]
    from_s: float
    to_s: float | None
    known_s: float = 0.0
