"""Integrals of exponentials that keep their figures when rates meet, or vanish, or lie decades apart.

All are divided differences of exp: written as differences they would lose their figures when two rates are nearly equal,
so they are formed through expm1 and, for the second one, a short series. Rates and times are >= 0, any shapes that
broadcast; 1/min and min throughout. Relative error a few units in the last place.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Number = float | Floats

_SERIES_BELOW = 1.0
_SERIES_TERMS = 19  # (k + 1) / (k + 2)! is under 1e-17 from here on


def remains(rate: Number, t: Number) -> Floats:
    """exp(-rate t): the share that is left."""
    z = np.asarray(np.multiply(rate, t))
    np.negative(z, out=z)
    return np.asarray(np.exp(z, out=z))


def gathers(rate: Number, t: Number) -> Floats:
    """Integral over s from 0 to t of exp(-rate s): what a flow of 1 leaves behind [min]. At rate 0 it is t.

    gathers(0.5, 2) = (1 - exp(-1)) / 0.5 = 1.2642.
    """
    z = np.multiply(rate, t)
    flat = z == 0
    return np.where(flat, 1.0, -np.expm1(-z) / np.where(flat, 1.0, z)) * t


def passes(first: Number, second: Number, t: Number) -> Floats:
    """Integral of exp(-first s) exp(-second (t - s)): one place emptying into the next [min]. Equal rates give t exp(-rate t).

    passes(1, 2, 1) = exp(-1) - exp(-2) = 0.23254.
    """
    return remains(np.minimum(first, second), t) * gathers(np.abs(np.subtract(first, second)), t)


def fills(first: Number, second: Number, t: Number) -> Floats:
    """Integral of gathers(first, s) exp(-second (t - s)): a flow of 1 through one place into the next [min^2].

    fills(0, 0, t) = t^2 / 2. fills(1, 2, 1) = (1 - exp(-1))/1 - (1 - exp(-2))/2 = 0.19979 (for rates 1 and 2: gathers minus gathers).
    """
    near, far = np.broadcast_arrays(
        np.multiply(np.minimum(first, second), t), np.multiply(np.maximum(first, second), t)
    )
    small = far < _SERIES_BELOW
    share = np.empty(far.shape)
    if np.any(small):
        share[small] = _series(near[small], far[small])
    if not np.all(small):
        u, v = near[~small], far[~small]
        share[~small] = (gathers(u, 1.0) - np.exp(-u) * gathers(v - u, 1.0)) / v
    return share * np.square(t)


def _series(u: Floats, v: Floats) -> Floats:
    """The divided difference exp[0, -u, -v] as a series of homogeneous polynomials: sum of (-1)^k h_k(u, v) / (k + 2)!."""
    total = np.full(u.shape, 0.5)
    whole, power, over = np.ones(u.shape), np.ones(u.shape), 0.5
    for k in range(1, _SERIES_TERMS):
        power = power * u
        whole = whole * v + power
        over /= -(k + 2)
        total += over * whole
    return total
