"""The frame in which the alpha angle is measured. An angle needs one: how long a second and how high a mmHg are drawn."""

from __future__ import annotations

import math

SECOND_MM = 25.0
MMHG_MM = 0.5
MARK = "common practice: a strip at 25 mm a second on which 40 mmHg stand 20 mm high; published angles seldom name their frame"


def alpha_deg(upstroke_slope: float, plateau_slope: float) -> float:
    """Angle between upstroke and plateau [degrees], slopes in mmHg/s, above 0 and below 270.

    180 less the angle of the upstroke plus that of the plateau, both above the horizontal of the frame.
    >>> round(alpha_deg(200, 2), 1)
    106.3
    >>> alpha_deg(50, 50)
    180.0
    """
    frame = MMHG_MM / SECOND_MM
    return 180.0 - math.degrees(math.atan(upstroke_slope * frame)) + math.degrees(math.atan(plateau_slope * frame))
