"""How one drug spreads and leaves: one to three compartments and an effect site, for one animal or a whole row of them.

Per kilogram throughout: volumes [L/kg], clearances [L/kg/min], rates [1/min]; doses in mg/kg give levels in mg/L (ug/mL).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from spiracle.kinetics.exponentials import Floats, Number
from spiracle.kinetics.network import Modes, modes
from spiracle.refusals import Contradiction, Missing, OutOfRange


class Terms(NamedTuple):
    """Level after a unit bolus: sum of coefficients x exp(-rates t). (..., n), the fastest first."""

    coefficients: Floats
    rates: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Disposition:
    """`exchange` holds up to two pairs (clearance between, volume). Numbers, or arrays over animals that broadcast; `shape` is
    theirs, () for one animal.

    An exchange with no flow drops out. Clearance 0 is allowed: nothing leaves. Raises Missing or OutOfRange with the name
    of the value at fault.
    """

    v1: Number
    clearance: Number
    exchange: tuple[tuple[Number, Number], ...] = ()
    ke0: Number | None = None
    shape: tuple[int, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if len(self.exchange) > 2:
            raise OutOfRange("exchange", f"{len(self.exchange)} peripheral volumes.", "Give at most two.")
        v1, clearance = _above("v1", self.v1, "L/kg"), _at_least("clearance", self.clearance, "L/kg/min")
        ke0 = None if self.ke0 is None else _at_least("ke0", self.ke0, "1/min")
        pairs = []
        for n, (q, v) in enumerate(self.exchange, 2):
            flow = _at_least(f"q{n}", q, "L/kg/min")
            if np.any(np.asarray(flow) > 0):
                pairs.append((flow, _above(f"v{n}", v, "L/kg")))
        for name, value in (("v1", v1), ("clearance", clearance), ("exchange", tuple(pairs)), ("ke0", ke0)):
            object.__setattr__(self, name, value)
        try:
            shape = np.broadcast_shapes(*(np.shape(value) for value in self._values() if value is not None))
            object.__setattr__(self, "shape", shape)
        except ValueError:
            raise Contradiction(
                "animals", "The rows of values differ in length.", "Give one value for each animal."
            ) from None

    @classmethod
    def of_volumes(
        cls,
        v1: Number,
        clearance: Number,
        second: tuple[Number, Number] | None = None,
        third: tuple[Number, Number] | None = None,
        ke0: Number | None = None,
    ) -> Disposition:
        """From volumes and clearances: `second` and `third` are (clearance between, volume)."""
        return cls(v1, clearance, tuple(pair for pair in (second, third) if pair is not None), ke0)

    @classmethod
    def of_constants(
        cls, v1: Number, *, k10: Number | None = None, clearance: Number | None = None, k12: Number = 0.0, k21: Number = 0.0,
        k13: Number = 0.0, k31: Number = 0.0, ke0: Number | None = None,
    ) -> Disposition:  # fmt: skip
        """From rate constants [1/min]. A k12 above 0 whose k21 is 0 never comes back: it counts as outflow. Without k12, k21 drops out."""
        volume = _above("v1", v1, "L/kg")
        if (k10 is None) == (clearance is None):
            if k10 is None:
                raise Missing("k10", "Nothing says how the drug leaves.", "Give k10 or clearance.")
            raise Contradiction("k10", "k10 and clearance are both given.", "Give one of them.")
        out = clearance if k10 is None else _at_least("k10", k10, "1/min") * volume
        out = _at_least("clearance", out, "L/kg/min")
        pairs = []
        for there, back, n in ((k12, k21, 2), (k13, k31, 3)):
            go, come = _at_least(f"k1{n}", there, "1/min"), _at_least(f"k{n}1", back, "1/min")
            returns = np.asarray(come) > 0
            out = out + np.where(returns, 0.0, go * volume)
            flow = np.where(returns, go * volume, 0.0)
            pairs.append((flow, np.where(flow > 0, flow / np.where(returns, come, 1.0), volume)))
        return cls(v1, out, tuple(pairs), ke0)

    @property
    def volumes(self) -> tuple[Number, ...]:
        return (self.v1, *(v for _, v in self.exchange))

    @property
    def k10(self) -> Number:
        return self.clearance / self.v1

    @property
    def k12(self) -> Number:
        return self._exchange(0, self.v1)

    @property
    def k21(self) -> Number:
        return self._exchange(0)

    @property
    def k13(self) -> Number:
        return self._exchange(1, self.v1)

    @property
    def k31(self) -> Number:
        return self._exchange(1)

    def modes(self) -> Modes:
        """The modes of the compartments, worked out once for each set of values. Levels as in `network`."""
        return _modes_of(self)

    def coefficients(self) -> Terms:
        """Coefficients [1/(L/kg)] and rates of the level after a unit bolus: they sum to 1/V1, and coefficient/rate to 1/clearance."""
        apart = self.modes()
        first = apart.right[..., 0, :] * apart.left[..., :, 0] / np.asarray(self.v1)[..., None]
        return Terms(first[..., ::-1], apart.rates[..., ::-1])

    def half_lives(self) -> Floats:
        """ln 2 / rate [min] (..., n), the fastest first; infinite where nothing leaves."""
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(2) / self.modes().rates[..., ::-1])

    def vss(self) -> Number:
        """Volume of distribution at steady state [L/kg]: the sum of the volumes."""
        return sum(self.volumes[1:], start=self.v1)

    def mrt(self) -> Number:
        """Mean residence time [min]: Vss / clearance; infinite where nothing leaves."""
        with np.errstate(divide="ignore"):
            return _plain(np.asarray(self.vss()) / np.asarray(self.clearance))

    def _exchange(self, n: int, volume: Number | None = None) -> Number:
        if n >= len(self.exchange):
            return 0.0
        flow, own = self.exchange[n]
        return flow / (own if volume is None else volume)

    def _values(self) -> tuple[Number | None, ...]:
        return (self.v1, self.clearance, *(x for pair in self.exchange for x in pair), self.ke0)

    def _key(self) -> tuple[object, ...]:
        return tuple(v if v is None else (np.shape(v), np.asarray(v).tobytes()) for v in self._values())

    def __eq__(self, other: object) -> bool:
        return self is other or (isinstance(other, Disposition) and self._key() == other._key())

    def __hash__(self) -> int:
        return hash(self._key())


@lru_cache(maxsize=64)
def _modes_of(disposition: Disposition) -> Modes:
    n, shape = len(disposition.volumes), disposition.shape
    capacity = np.stack([np.broadcast_to(v, shape) for v in disposition.volumes], -1)
    between, outward = np.zeros((*shape, n, n)), np.zeros((*shape, n))
    outward[..., 0] = disposition.clearance
    for place, (flow, _) in enumerate(disposition.exchange, 1):
        between[..., 0, place] = between[..., place, 0] = flow
    return modes(capacity, between, outward)


def _plain(value: Floats) -> Number:
    """One animal's value as a plain number, a row of them as an array that nobody can change."""
    if not value.ndim:
        return float(value)
    value.flags.writeable = False
    return value


def _number(field: str, value: Number | None, unit: str) -> Floats:
    if value is None:
        raise Missing(field, "No value.", f"Give {field} in {unit}.")
    try:
        number = np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise OutOfRange(field, f"{value!r} is no number.", f"Give {field} in {unit}.") from None
    if not np.all(np.isfinite(number)):
        raise OutOfRange(field, "It is not a finite number.", f"Give {field} in {unit}.")
    return number


def _above(field: str, value: Number | None, unit: str) -> Number:
    number = _number(field, value, unit)
    if not np.all(number > 0):
        raise OutOfRange(field, f"{number.min():g} {unit} holds nothing.", f"Give {field} above 0 {unit}.")
    return _plain(number)


def _at_least(field: str, value: Number | None, unit: str) -> Number:
    number = _number(field, value, unit)
    if not np.all(number >= 0):
        raise OutOfRange(field, f"{number.min():g} {unit} is negative.", f"Give {field} of 0 {unit} or more.")
    return _plain(number)
