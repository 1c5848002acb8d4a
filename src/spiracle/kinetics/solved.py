"""How the constants that no paper printed were solved from those it did. Pure functions."""

from __future__ import annotations

from math import log

from spiracle.refusals import Contradiction, OutOfRange

LN2 = log(2)


def second_from_half_lives(v1: float, clearance: float, fast_min: float, slow_min: float) -> tuple[float, float]:
    """(Q2 [L/kg/min], V2 [L/kg]) of two compartments from V1 [L/kg], clearance [L/kg/min] and both half-lives [min].

    k10 = CL/V1; k21 = alpha beta / k10; k12 = alpha + beta - k10 - k21; Q2 = k12 V1; V2 = Q2 / k21. Source: the characteristic
    polynomial of two compartments. Raises Contradiction where no such set exists.
    >>> [round(x, 4) for x in second_from_half_lives(0.542, 0.0322, 1.95, 61)]
    [0.1298, 1.9087]
    """
    for name, value in (("V1", v1), ("clearance", clearance), ("half-life", fast_min), ("half-life", slow_min)):
        _above_zero(name, value)
    alpha, beta, k10 = LN2 / fast_min, LN2 / slow_min, clearance / v1
    k21 = alpha * beta / k10
    k12 = alpha + beta - k10 - k21
    if k12 <= 0:
        raise Contradiction(
            "half-lives", "No set of two compartments has these constants.", "Check the printed figures."
        )
    return k12 * v1, k12 * v1 / k21


def flow_from_terminal(v1: float, vss: float, clearance: float, slow_min: float) -> float:
    """Q2 [L/kg/min] of two compartments from V1 and Vss [L/kg], clearance [L/kg/min] and terminal half-life [min].

    Q = beta (k10 - beta) / (k10/V2 - beta (1/V1 + 1/V2)), V2 = Vss - V1. Source: alpha + beta = k10 + k12 + k21 and
    alpha beta = k10 k21. Raises Contradiction where the half-life is under ln 2 x Vss / clearance.
    >>> round(flow_from_terminal(0.402, 1.701, 0.0063, 198), 5)
    0.06445
    """
    v2 = vss - v1
    for name, value in (("V1", v1), ("V2", v2), ("clearance", clearance), ("half-life", slow_min)):
        _above_zero(name, value)
    beta, k10 = LN2 / slow_min, clearance / v1
    below = k10 / v2 - beta * (1 / v1 + 1 / v2)
    if below <= 0 or k10 <= beta:
        raise Contradiction(
            "half-life", "No set of two compartments has these constants.", "Check the printed figures."
        )
    return beta * (k10 - beta) / below


def logistic_level(half: float, most: float, share: float, most_share: float = 0.95) -> float:
    """The level at which `share` of animals respond, on the logistic through `half` (50 %) and `most` (95 % unless said).

    Source: logit(p) = slope (C - C50). Shares lie strictly between 0 and 1. Units are those of the levels given.
    >>> round(logistic_level(3.7, 6.2, 0.99), 2)
    7.6
    """
    for name, value in (("share", share), ("share", most_share)):
        if not 0 < value < 1:
            raise OutOfRange(name, f"{value:g} is no share.", "Give a number between 0 and 1.")
    slope = log(most_share / (1 - most_share)) / (most - half)
    return half + log(share / (1 - share)) / slope


def _above_zero(name: str, value: float) -> None:
    if not value > 0:
        raise OutOfRange(name, f"{value:g} is not above 0.", "Give a number above 0.")
