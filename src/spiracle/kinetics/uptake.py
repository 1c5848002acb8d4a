"""Uptake of an inhaled agent: circle, lung, vessel-rich, muscle and fat, exact for settings that change in steps.

    V_circle dFI/dt = FGF (dial - FI) - VA (FI - FA)
    V_lung   dFA/dt = VA (FI - FA) - sum of lambda Qi (FA - Pi)
    lambda kappa_i V_i dPi/dt = lambda Qi (FA - Pi)

Every flow goes both ways alike, so each stretch of constant settings is a symmetric network with an exact solution. A
prediction of a population from human constants: no reading, and no order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np

from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.gas import HUMAN, Agent, GasBody, need_flow
from spiracle.kinetics.network import Modes, modes
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange

Place = Literal["inspired", "alveolar", "vessel-rich", "muscle", "fat"]
PLACES: tuple[Place, ...] = ("inspired", "alveolar", "vessel-rich", "muscle", "fat")

POPULATION = "A population prediction, not a measurement: it gives no order. Read the gas monitor."
WASH_OUT = (
    "Wash-out is not right in this model: against people desflurane leaves too fast, halothane too slowly, "
    "isoflurane and sevoflurane within 0.02 of the start."
)
LATE = "Hours on, the model lies nearer the dial than people did: FI/FA 1.02 against 1.06 for desflurane at 8 h."
CAT = (
    "In cats this is likely too slow: on desflurane FA/FI was measured over 0.97 where the model has 0.91 to 0.95; "
    "the scaled cardiac output looks too high, and the band does not cover it."
)
NO_REBREATHING = "Breathed in is taken as the dial: the fresh gas is high enough that nothing is breathed again."
_MOST_L_MIN = 60.0
_LATE_MIN = 240.0
_BLOCK, _BLOCKS = 8, 32  # stretches solved on end, and how many such are kept: a day of settings, at most 42 MB
_NETWORKS = 32  # kept at once, about 1 MB each over two thousand animals
_NO_WAY_OUT = 1e-13  # a rate under this share of the fastest is rounding: the place is shut off


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Settings from a minute on, until the next stretch. `opened`: the animal breathes room air, off the system."""

    start_min: float
    dial_percent: float | None
    fresh_gas_l_min: float | None
    alveolar_l_min: float | None
    opened: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """Levels [%] at `times` [min]: each (..., times), with virtual animals first where there are any."""

    times: Floats
    inspired: Floats
    alveolar: Floats
    vessel_rich: Floats
    muscle: Floats
    fat: Floats
    words: tuple[str, ...]
    sources: tuple[str, ...]
    memory: bool

    def at(self, place: Place) -> Floats:
        return np.asarray(getattr(self, place.replace("-", "_")))

    def band(self, place: Place) -> Floats:
        """The 10th, 50th and 90th percentile over the virtual animals (3, times). Raises Missing where there are none."""
        levels = self.at(place)
        if levels.ndim < 2:
            raise Missing("virtual animals", "are not in this course.", "Ask for a population first.")
        return np.asarray(np.percentile(levels, (10, 50, 90), axis=0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """Minutes until a level over the virtual animals: 10th, 50th, 90th percentile; None where that share never gets there."""

    early: float | None
    middle: float | None
    late: float | None
    never_percent: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """One stretch: its modes, where each mode settles and what of it decays, and what is breathed in where not the circle."""

    start: float
    solved: Modes
    settles: Floats
    leaves: Floats
    breathed: float | None

    def levels(self, t: Floats) -> Floats:
        """(..., times, 5) for minutes since the stretch began."""
        now = self._decays(t)
        now *= self.leaves[..., None, :]
        now += self.settles[..., None, :]
        found = np.asarray(now @ np.swapaxes(self.solved.right, -1, -2))
        if self.breathed is not None:
            found[..., 0] = self.breathed
        return found

    def alveolar(self, t: Floats) -> Floats:
        """(..., times, 1) of the second place alone."""
        row = self.solved.right[..., 1, :]
        settled = (self.settles * row).sum(-1)[..., None, None]
        return np.asarray(self._decays(t) @ (self.leaves * row)[..., None] + settled)

    def _decays(self, t: Floats) -> Floats:
        return np.asarray(np.exp(self.solved.rates[..., None, :] * -t[:, None]))

    def after(self, minutes: float) -> Floats:
        """(..., 5) at one moment."""
        now = np.exp(self.solved.rates * -minutes) * self.leaves + self.settles
        return np.asarray(np.einsum("...ij,...j->...i", self.solved.right, now))


@dataclass(frozen=True, slots=True, eq=False)
class Uptake:
    """Settings that were solved once, to be asked for any minutes."""

    settings: tuple[Stretch, ...]
    body: GasBody
    agent: Agent
    _stretches: tuple[_Solved, ...]

    def course(self, times: Floats | Sequence[float]) -> Course:
        """Every place at any minutes. Raises OutOfRange for a time before the first setting."""
        when = self._when(times)
        out = self._over(when, _Solved.levels, 5)
        words = _words(self.settings, self.body)
        if when.max() - self._stretches[0].start > _LATE_MIN:
            words += (LATE,)
        inspired, alveolar, rich, muscle, fat = (out[..., i] for i in range(5))
        return Course(times=when, inspired=inspired, alveolar=alveolar, vessel_rich=rich, muscle=muscle, fat=fat,
                      words=words, sources=(*self.body.sources, *self.agent.sources),
                      memory=self.body.memory or self.agent.memory)  # fmt: skip

    def alveolar(self, times: Floats | Sequence[float]) -> Floats:
        """(..., times) of the alveoli alone, at a fifth of the work."""
        return self._over(self._when(times), _Solved.alveolar, 1)[..., 0]

    def _when(self, times: Floats | Sequence[float]) -> Floats:
        when = np.atleast_1d(np.asarray(times, dtype=np.float64))
        first = self._stretches[0].start
        if not np.all(np.isfinite(when)) or np.any(when < first):
            raise OutOfRange("time", "lies before the first setting.", f"Ask from {first:g} min on.")
        return when

    def _over(self, when: Floats, levels: Callable[[_Solved, Floats], Floats], places: int) -> Floats:
        out = np.empty((*self._stretches[0].leaves.shape[:-1], when.size, places))
        index = np.searchsorted([s.start for s in self._stretches], when, side="right") - 1
        in_turn = bool(np.all(index[1:] >= index[:-1]))
        for i in np.unique(index):
            stretch = self._stretches[i]
            # times in order are written as a run, which is twice as quick as picking them one by one
            chosen = slice(*np.searchsorted(index, (i, i + 1))) if in_turn else index == i
            out[..., chosen, :] = levels(stretch, when[chosen] - stretch.start)
        return out


def solve(settings: Sequence[Stretch], body: GasBody, agent: Agent) -> Uptake:
    """The course of an agent from an empty animal under settings that change in steps; raises as `inhaled`, but for times."""
    return Uptake(tuple(settings), body, agent, _solved(settings, body, agent))


def inhaled(settings: Sequence[Stretch], body: GasBody, agent: Agent, times: Floats | Sequence[float]) -> Course:
    """The course of an agent from an empty animal [%] at any minutes, not before the first stretch.

    Raises Missing for no settings, dial, flow or ventilation; OutOfRange for a negative flow, a dial off its scale, a time before
    the start; Contradiction for stretches out of order. Worked example: `docs/inhaled.md`.
    """
    return solve(settings, body, agent).course(times)


def minutes_to(
    target_percent: float, settings: Sequence[Stretch], body: GasBody, agent: Agent, place: Place = "alveolar"
) -> float | None:
    """Minutes from the last change of settings until a place first stands at a level, or None when those settings never bring it there.

    Exact: a bracket on the modes' own time scales, then halved. For one animal; raises as `inhaled`, and OutOfRange for a level
    that cannot be.
    """
    found = _minutes(target_percent, _solved(settings, body, agent)[-1], place)
    if found.ndim:
        raise OutOfRange("minutes to a level", "is asked of a population.", "Ask `reached` for its percentiles.")
    return None if np.isinf(found) else float(found)


def reached(
    target_percent: float, settings: Sequence[Stretch], body: GasBody, agent: Agent, place: Place = "alveolar"
) -> Reached:
    """The same over virtual animals: percentiles of the minutes, those that never get there counted as the last."""
    solved = _solved(settings, body, agent)
    found = np.atleast_1d(_minutes(target_percent, solved[-1], place))
    early, middle, late = (
        None if np.isinf(q) else float(q) for q in np.quantile(found, (0.1, 0.5, 0.9), method="higher")
    )
    return Reached(early=early, middle=middle, late=late, never_percent=float(100 * np.mean(np.isinf(found))),
                   words=_words(settings, body))  # fmt: skip


def held_l(course: Course, body: GasBody, agent: Agent) -> Floats:
    """Vapour that lung and tissues hold at each time [L of gas]: what the animal has taken up and not yet given back."""
    capacity = _capacity(body, agent)
    levels = np.stack([course.at(place) for place in PLACES[1:]], axis=-1)
    return np.asarray((levels * capacity[..., None, 1:]).sum(-1) / 100)


def _capacity(body: GasBody, agent: Agent) -> Floats:
    """What each place holds for each per cent [L]: gas space, or blood/gas x tissue/blood x volume. (..., 5)"""
    tissues = agent.blood_gas[..., None] * agent.tissue_blood * body.groups_l
    lead = np.broadcast_shapes(tissues.shape[:-1], body.lung_l.shape)
    # Without a circle its place stands apart, joined to nothing: any volume will do.
    circle = np.broadcast_to(1.0 if body.circuit_l is None else body.circuit_l, (*lead, 1))
    lung = np.broadcast_to(body.lung_l[..., None], (*lead, 1))
    return np.concatenate([circle, lung, np.broadcast_to(tissues, (*lead, 3))], axis=-1)


def _solved(settings: Sequence[Stretch], body: GasBody, agent: Agent) -> tuple[_Solved, ...]:
    """Each stretch with the levels that the one before left behind."""
    if not settings:
        raise Missing("settings", "are not there, so nothing is inhaled.", "Give the dial from a minute on.")
    _in_order(settings)
    found: list[_Solved] = []
    for i in range(0, len(settings), _BLOCK):
        found += _block(found[-1] if found else None, tuple(settings[i : i + _BLOCK]), body, agent)
    return tuple(found)


@lru_cache(maxsize=_BLOCKS)
def _block(before: _Solved | None, settings: tuple[Stretch, ...], body: GasBody, agent: Agent) -> tuple[_Solved, ...]:
    """A few stretches on end. Kept, for what was set does not change: a screen that is drawn again solves only what is new."""
    capacity = _capacity(body, agent)
    found: list[_Solved] = []
    for stretch in settings:
        here = np.zeros_like(capacity) if before is None else before.after(stretch.start_min - before.start)
        dial = _dial(stretch.dial_percent, agent)
        before = _begin(stretch, dial, *_network(*_flows(stretch), body, agent), body, capacity, here)
        found.append(before)
    return tuple(found)


def _flows(stretch: Stretch) -> tuple[float, float, bool]:
    fresh = need_flow(stretch.fresh_gas_l_min, "fresh gas", _MOST_L_MIN)
    return fresh, need_flow(stretch.alveolar_l_min, "alveolar ventilation", _MOST_L_MIN), stretch.opened


def _in_order(settings: Sequence[Stretch]) -> None:
    starts = [s.start_min for s in settings]
    if not all(np.isfinite(starts)):
        raise OutOfRange("settings, start", "is no minute.", "Give minutes.")
    if any(a >= b for a, b in pairwise(starts)):
        raise Contradiction("settings, start", "Stretches follow one another and none begins twice.", "Sort them.")


@lru_cache(maxsize=_NETWORKS)
def _network(fresh: float, alveolar: float, opened: bool, body: GasBody, agent: Agent) -> tuple[Modes, Floats]:
    """Modes and outward flows of the lung on the circle, on a system that does not rebreathe, or on room air.

    Kept: a turn of the dial alone leaves the network as it was, and a screen that is drawn again has the same ones.
    """
    capacity = _capacity(body, agent)
    breath = body.breath * alveolar
    between, outward = np.zeros((*capacity.shape, 5)), np.zeros_like(capacity)
    carried = agent.blood_gas[..., None] * body.flows_l_min
    for i in range(3):
        between[..., 1, 2 + i] = between[..., 2 + i, 1] = carried[..., i]
    if body.circuit_l is not None:
        outward[..., 0] = fresh
    if body.circuit_l is None or opened:
        outward[..., 1] = breath
    else:
        between[..., 0, 1] = between[..., 1, 0] = breath
    return modes(capacity, between, outward), outward


def _begin(
    stretch: Stretch, dial: float, solved: Modes, outward: Floats, body: GasBody, capacity: Floats, here: Floats
) -> _Solved:
    """A stretch from its levels. A mode without a way out (rate 0) keeps what it holds; any other settles at push / rate."""
    on_circle = body.circuit_l is not None and not stretch.opened
    breathed = None if on_circle else 0.0 if stretch.opened else dial
    toward = np.array([dial, breathed or 0.0, 0.0, 0.0, 0.0])
    start = np.einsum("...ij,...j->...i", solved.left, here)
    push = np.einsum("...ij,...j->...i", solved.left, outward * toward / capacity)
    open_ = solved.rates > _NO_WAY_OUT * solved.rates.max(-1, keepdims=True)
    settles = np.where(open_, push / np.where(open_, solved.rates, 1.0), 0.0)
    return _Solved(stretch.start_min, solved, settles, start - settles, breathed)


def _dial(percent: float | None, agent: Agent) -> float:
    if percent is None:
        raise Missing("dial", "was not given, and none is assumed.", "Give it in %, 0 for off.")
    if not 0 <= percent <= agent.dial_high:
        raise OutOfRange(
            "dial", f"{percent:g} % is not on a dial of {agent.name}.", f"Give 0 to {agent.dial_high:g} %."
        )
    return percent


def _minutes(target: float, stretch: _Solved, place: Place) -> Floats:
    """First time (inf: never) at which a place of each animal stands at the target within the last stretch."""
    if place not in PLACES:
        raise NotOneOf("place", f"{place!r} is no place of the model.", "Known: " + ", ".join(PLACES) + ".")
    if not 0 <= target <= 100:
        raise OutOfRange("level", f"{target:g} % cannot be.", "Give 0 to 100 %.")
    j, solved = PLACES.index(place), stretch.solved
    rates, lead = solved.rates, solved.rates.shape[:-1]
    if j == 0 and stretch.breathed is not None:
        return np.full(lead, 0.0 if stretch.breathed == target else np.inf)
    away = (stretch.settles * solved.right[..., j, :]).sum(-1) - target
    part = stretch.leaves * solved.right[..., j, :]

    def above(t: Floats) -> Floats:
        """Level less target at one time for each animal, or at a row of times (..., times)."""
        if t.ndim == len(lead):
            return np.asarray(away + (part * np.exp(-rates * t[..., None])).sum(-1))
        return np.asarray(away[..., None] + (np.exp(-rates[..., None, :] * t[..., None]) @ part[..., None])[..., 0])

    fastest = np.maximum(rates.max(-1), 1e-12)
    slowest = np.where(rates > _NO_WAY_OUT * fastest[..., None], rates, np.inf).min(-1)
    span = np.log(45e3 * fastest / np.minimum(slowest, fastest))
    times = 1e-3 / fastest[..., None] * np.exp(span[..., None] * np.linspace(0, 1, 240))
    times = np.concatenate([np.zeros((*lead, 1)), np.broadcast_to(times, (*lead, 240))], axis=-1)
    rounding = 1e-11 * (target + np.abs(part).sum(-1) + np.abs(stretch.settles * solved.right[..., j, :]).sum(-1))
    return _first_crossing(above, times, rounding)


def _first_crossing(above: Callable[[Floats], Floats], times: Floats, least: Floats) -> Floats:
    """The first zero on the grid `times` (..., n) of a function of time for each animal, halved down; inf where there is none.

    A side smaller than `least` is rounding: a level that only nears the target does not reach it.
    """
    side = above(times)
    at_start = np.abs(side[..., 0]) <= least
    cross = (np.signbit(side[..., 1:]) != np.signbit(side[..., :1])) & (np.abs(side[..., 1:]) > least[..., None])
    has, first = cross.any(-1), cross.argmax(-1)
    low = np.take_along_axis(times, first[..., None], -1)[..., 0]
    high = np.take_along_axis(times, first[..., None] + 1, -1)[..., 0]
    from_below = np.signbit(side[..., 0])
    for _ in range(60):
        middle = (low + high) / 2
        early = np.signbit(above(middle)) == from_below
        low, high = np.where(early, middle, low), np.where(early, high, middle)
    return np.asarray(np.where(at_start, 0.0, np.where(has, high, np.inf)))


def _words(settings: Sequence[Stretch], body: GasBody) -> tuple[str, ...]:
    """What is said beside the figures: always a population's, human constants, and wash-out where the dial was turned down."""
    words = [POPULATION, HUMAN]
    dials = [0.0 if s.opened else float(s.dial_percent or 0) for s in settings]
    if any(b < a for a, b in pairwise(dials)):
        words.append(WASH_OUT)
    if body.species == "cat":
        words.append(CAT)
    if body.circuit_l is None:
        words.append(NO_REBREATHING)
    return tuple(words)
