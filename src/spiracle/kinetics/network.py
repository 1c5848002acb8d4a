"""A network of well-stirred places joined by symmetric conductances, taken apart into its modes.

Each place holds `capacity x level`; between two places flows conductance x difference of levels; outward leaves outward x
level. Because the conductances are symmetric, scaling by the root of the capacities gives a symmetric matrix, whose
eigenvectors are orthogonal however close the rates lie. No two equal rates, no zero rate is a special case.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spiracle.kinetics.exponentials import Floats, Number, gathers, remains
from spiracle.refusals import OutOfRange


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """Levels x(t) = right @ (exp(-rates t) * (left @ x0)). `rates` [1/min] (..., n) rising; `right`, `left` (..., n, n)."""

    rates: Floats
    right: Floats
    left: Floats

    def after(self, x0: Floats, inflow: Floats, t: Number) -> Floats:
        """Levels after t [min] from levels x0 (..., n), with `inflow` (..., n) in level per minute (amount per minute / capacity).

        Shape (..., n) for one t, (..., T, n) for a row of T times. Zero rates are no special case.
        """
        times = np.asarray(t, dtype=np.float64)
        here = np.einsum("...ij,...j->...i", self.left, x0)
        push = np.einsum("...ij,...j->...i", self.left, inflow)
        rates = self.rates
        if times.ndim:
            here, push, rates, times = here[..., None, :], push[..., None, :], rates[..., None, :], times[:, None]
        return np.asarray(
            np.einsum(
                "...ij,...tj->...ti" if times.ndim else "...ij,...j->...i",
                self.right,
                here * remains(rates, times) + push * gathers(rates, times),
            )
        )


def modes(capacity: Floats, between: Floats, outward: Floats) -> Modes:
    """The modes of a network: capacity (..., n) > 0; between (..., n, n) symmetric, >= 0, its diagonal not read; outward (..., n) >= 0.

    The rates are taken from the flows of each mode, sum of conductance x (difference of levels)^2, which cannot be negative and
    keeps more figures of the slow rates than the eigenvalue itself. Raises OutOfRange for what is no network.
    """
    capacity, between, outward = (np.asarray(a, dtype=np.float64) for a in (capacity, between, outward))
    n = capacity.shape[-1]
    between = np.where(np.eye(n, dtype=bool), 0.0, between)
    _held(capacity, between, outward)
    root = np.sqrt(capacity)
    matrix = -between / (root[..., :, None] * root[..., None, :])
    matrix[..., range(n), range(n)] = (outward + between.sum(-1)) / capacity
    _, vectors = np.linalg.eigh(matrix)
    right = vectors / root[..., :, None]
    left = np.swapaxes(vectors * root[..., :, None], -1, -2)
    rates = (outward[..., :, None] * right**2).sum(-2)
    for a in range(n):
        for b in range(a):
            rates = rates + between[..., a, b, None] * (right[..., a, :] - right[..., b, :]) ** 2
    return Modes(rates, right, left)


def _held(capacity: Floats, between: Floats, outward: Floats) -> None:
    if not np.all((capacity > 0) & (capacity < np.inf)):
        raise OutOfRange("network, capacity", "A place must hold something.", "Give capacities above 0.")
    if not (np.all((between >= 0) & (between < np.inf)) and np.all((outward >= 0) & (outward < np.inf))):
        raise OutOfRange("network, conductance", "A flow cannot be negative.", "Give conductances of 0 or more.")
    if not np.array_equal(between, np.swapaxes(between, -1, -2)):
        raise OutOfRange("network, conductance", "Flow there and back differ.", "Give one conductance for each pair.")
