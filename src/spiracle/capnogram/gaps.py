"""Arithmetic beside the trace: from end-tidal towards arterial CO2, and what a sensor's time constant means."""

from __future__ import annotations

import math

from spiracle.refusals import OutOfRange


def expected_paco2_mmhg(etco2_mmhg: float, bias_mmhg: float) -> float:
    """Arterial CO2 that a published mean gap would give [mmHg]. A prediction: single animals lie wide of it (CA10 to CA14).

    Source: definition of the gap, PaCO2 less end-tidal. End-tidal below 0 or above 150 mmHg is refused.
    >>> round(expected_paco2_mmhg(40, 2.46), 2)
    42.46
    """
    if not 0 <= etco2_mmhg <= 150:
        raise OutOfRange("end-tidal CO2", f"{etco2_mmhg:g} mmHg is no end-tidal value.", "0 to 150 mmHg.")
    return etco2_mmhg + bias_mmhg


def between_gaps_mmhg(one_mmhg: float, other_mmhg: float) -> float:
    """How much wider one mean gap is than another [mmHg].

    >>> round(between_gaps_mmhg(8.55, 3.28), 2)
    5.27
    """
    return one_mmhg - other_mmhg


def response_s(time_constant_s: float) -> float:
    """Seconds a first-order sensor takes from 10 to 90 %: ln 9 time constants, about 2.2 (CG8). Not positive is refused.

    >>> round(response_s(0.1), 3)
    0.22
    """
    if not time_constant_s > 0:
        raise OutOfRange("time constant", f"{time_constant_s:g} s is none.", "More than 0 s.")
    return math.log(9) * time_constant_s
