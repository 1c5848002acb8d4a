"""Levels in plasma and at the effect site after any schedule: exact at every instant, for one animal or thousands.

Between two changes of the schedule each mode of the compartments is one exponential, so a level at any time is worked out from the
state at the last change; there is no step size. mg/kg in, mg/L (= ug/mL) out, minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Floats, fills, gathers, passes, remains
from spiracle.kinetics.network import Modes
from spiracle.kinetics.schedule import Schedule, Steps
from spiracle.refusals import OutOfRange

_AT_ONCE = 400_000  # numbers of one working array; more animals than that are taken in turns
_GRID_AT_ONCE = 150_000
_CLOSE = 1e-4  # ke0 within this share of a rate: the effect site's own mode would lose four figures or more
_SLOW = 1e-5  # a rate so slow that its steady state is a hundred thousand times what the flow has brought
_BRIEF = 1e-7  # a flow so short for a rate that its two ends, taken from each other, leave fewer than nine figures


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """`plasma` and `effect` [mg/L] of shape (animals..., times); `effect` is None where the model has no ke0."""

    times: Floats
    plasma: Floats
    effect: Floats | None


@dataclass(frozen=True, slots=True, eq=False)
class Amounts:
    """`held` [mg/kg] in each compartment (animals..., compartments, times) and `eliminated` [mg/kg] (animals..., times)."""

    times: Floats
    held: Floats
    eliminated: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The state at each change of a schedule, from which every later instant follows.

    Animals lie in one row of N. `mode` (P, N, n) and `site` (P, N) are the modes and the effect level just after change P.
    """

    rates: Floats
    enters: Floats
    seen: Floats
    ke0: Floats | None
    steps: Steps
    mode: Floats
    site: Floats

    def at(self, times: Floats) -> tuple[Floats, Floats | None]:
        """Plasma and effect level (N, T) at times (T,), or at each animal's own times (N, T)."""
        piece, since = self._since(times)
        rows = np.arange(self.rates.shape[0])[:, None]
        z, flow = self.mode[piece, rows], self.steps.flow[piece][..., None]
        rates, enters, seen, gone = (
            self.rates[:, None, :],
            self.enters[:, None, :],
            self.seen[:, None, :],
            since[..., None],
        )
        runs = bool(np.any(flow))
        now = z * remains(rates, gone)
        if runs:
            now += flow * enters * gathers(rates, gone)
        plasma = _sum(now * seen)
        if self.ke0 is None:
            return plasma, None
        to = self.ke0[:, None, None]
        came = z * passes(rates, to, gone)
        if runs:
            came += flow * enters * fills(rates, to, gone)
        ke0 = self.ke0[:, None]
        return plasma, self.site[piece, rows] * remains(ke0, since) + ke0 * _sum(came * seen)

    def slope(self, times: Floats) -> Floats:
        """How fast the plasma level changes [mg/L/min] (N, T), just after each time."""
        piece, since = self._since(times)
        rows, rates = np.arange(self.rates.shape[0])[:, None], self.rates[:, None, :]
        gone = remains(rates, since[..., None])
        start = self.steps.flow[piece][..., None] * self.enters[:, None, :] - rates * self.mode[piece, rows]
        return _sum(start * gone * self.seen[:, None, :])

    def _since(self, times: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
        """Which piece each time lies in, and how long after its start; both (1 or N, T)."""
        piece = np.atleast_2d(np.searchsorted(self.steps.times, times, "right") - 1)
        return piece, np.atleast_2d(times) - self.steps.times[piece]

    def part(self, animals: slice) -> Course:
        ke0 = None if self.ke0 is None else self.ke0[animals]
        return Course(
            self.rates[animals], self.enters[animals], self.seen[animals], ke0, self.steps, self.mode[:, animals], self.site[:, animals]
        )  # fmt: skip


def course(
    disposition: Disposition, schedule: Schedule | Steps, animals: npt.NDArray[np.intp] | slice = slice(None)
) -> Course:
    """Carry the state of all animals, or some of the row, through every change of the schedule."""
    steps = schedule.steps() if isinstance(schedule, Schedule) else schedule
    apart, ke0 = _row(disposition), effect_rate(disposition)
    enters, seen = apart.left[animals, :, 0] / _first_volume(disposition)[animals], apart.right[animals, 0, :]
    return _carry(apart.rates[animals], enters, seen, None if ke0 is None else ke0[animals], steps)


def carried_on(disposition: Disposition, held: Floats, site: Floats) -> Course:
    """A course with nothing more given, from `held` levels (N, n) and effect levels (N,) at minute 0."""
    apart, nothing = _row(disposition), Steps(np.zeros(1), np.zeros(1), np.zeros(1))
    mode = np.einsum("nij,nj->ni", apart.left, held)
    return Course(
        apart.rates, mode * 0.0, apart.right[:, 0, :], effect_rate(disposition), nothing, mode[None], site[None]
    )


def levels(disposition: Disposition, schedule: Schedule, times_min: npt.ArrayLike) -> Levels:
    """Levels (animals..., times) at any times in any order; at the instant of a bolus, just after it.

    levels(Disposition(0.5, 0.1), Schedule((Bolus(0, 1),)), [0, 5]).plasma = [2, 2 exp(-1)]. Raises OutOfRange for a time that is
    negative or not finite.
    """
    times = _times(times_min)
    whole = course(disposition, schedule)
    count = whole.rates.shape[0]
    plasma, effect = _room(count, times.size, whole.ke0 is not None)
    _write(whole, times, plasma, effect)
    return _levels(disposition, times, plasma, effect)


def on_grid(disposition: Disposition, schedule: Schedule, every_min: float, points: int) -> Levels:
    """The same levels at 0, every_min, 2 every_min ...: for long rows of times and many animals.

    exp(-r (i + j)) = exp(-r i) exp(-r j), so a row of times is a product of two short rows. That wants each mode by itself, which
    costs figures where ke0 nearly equals a rate, or a flow meets a rate near 0: such animals are taken the long way.
    """
    if not (np.isfinite(every_min) and every_min > 0):
        raise OutOfRange("every", f"{every_min:g} min is no step.", "Give a step above 0 min.")
    if points < 1:
        raise OutOfRange("points", f"{points} points.", "Give at least one.")
    times = np.arange(points, dtype=np.float64) * float(every_min)
    steps = _until(schedule.steps(), times[-1])
    runs = bool(np.any(steps.flow))
    apart = _alone(disposition, runs)
    count = apart.rates.shape[0]
    plasma, effect = _room(count, points, disposition.ke0 is not None)
    rows = _rows(steps.times, times)
    mode = _each_change(apart, steps)
    turn = max(1, _GRID_AT_ONCE // (points + rows.since.size * apart.rates.shape[1]))
    for first in range(0, count, turn):
        _grid(apart, mode, rows, times, slice(first, first + turn), plasma, effect)
    flat = apart.slowest * times[-1] <= _SLOW
    brief = apart.slowest * _shortest_flow(steps) <= _BRIEF
    close = np.flatnonzero(apart.close | flat | brief if runs else apart.close)
    if close.size:
        some, site = _room(close.size, points, effect is not None)
        _write(course(disposition, steps, close), times, some, site)
        plasma[close] = some
        if effect is not None and site is not None:
            effect[close] = site
    return _levels(disposition, times, plasma, effect)


def amounts(disposition: Disposition, schedule: Schedule, times_min: npt.ArrayLike) -> Amounts:
    """What each compartment holds and what has left; what left is clearance x the area under the plasma curve, worked out by itself."""
    times = _times(times_min)
    whole, apart, steps = course(disposition, schedule), _row(disposition), schedule.steps()
    rates, enters = whole.rates[:, None, :], whole.enters[:, None, :]
    spans = np.diff(steps.times)[:, None, None]
    grown = whole.mode[:-1] * gathers(whole.rates, spans) + steps.flow[:-1, None, None] * whole.enters * fills(
        whole.rates, 0.0, spans
    )
    start = np.concatenate((np.zeros((1, *whole.rates.shape)), np.cumsum(grown, axis=0)))
    piece, since = whole._since(times)
    gone, flow, rows = since[..., None], steps.flow[piece][..., None], np.arange(rates.shape[0])[:, None]
    z = whole.mode[piece, rows]
    now = z * remains(rates, gone) + flow * enters * gathers(rates, gone)
    area = start[piece, rows] + z * gathers(rates, gone) + flow * enters * fills(rates, 0.0, gone)
    shape, n = disposition.shape, whole.rates.shape[1]
    capacity = np.stack([np.broadcast_to(np.asarray(v), shape) for v in disposition.volumes], -1).reshape(-1, n, 1)
    held = capacity * np.einsum("nij,ntj->nit", apart.right, now)
    clearance = np.broadcast_to(np.asarray(disposition.clearance), shape).reshape(-1, 1)
    gone_out = clearance * _sum(area * whole.seen[:, None, :])
    return Amounts(times, held.reshape(*shape, n, times.size), gone_out.reshape(*shape, times.size))


def effect_rate(disposition: Disposition) -> Floats | None:
    """ke0 as a row over the animals, or None."""
    if disposition.ke0 is None:
        return None
    return np.broadcast_to(np.asarray(disposition.ke0), disposition.shape).reshape(-1)


def _row(disposition: Disposition) -> Modes:
    """The modes with the animals in one row."""
    apart = disposition.modes()
    n = apart.rates.shape[-1]
    return Modes(apart.rates.reshape(-1, n), apart.right.reshape(-1, n, n), apart.left.reshape(-1, n, n))


def _first_volume(disposition: Disposition) -> Floats:
    return np.broadcast_to(np.asarray(disposition.v1), disposition.shape).reshape(-1, 1)


def _carry(rates: Floats, enters: Floats, seen: Floats, ke0: Floats | None, steps: Steps) -> Course:
    spans = np.diff(steps.times)[:, None, None]
    flow = steps.flow[:-1, None, None]
    runs = bool(np.any(flow))
    fade = remains(rates, spans)
    mode = steps.jump[:, None, None] * enters
    if runs:
        mode[1:] += flow * enters * gathers(rates, spans)
    for p in range(len(fade)):
        mode[p + 1] += mode[p] * fade[p]
    site = np.zeros(mode.shape[:2])
    if ke0 is not None:
        came = mode[:-1] * passes(rates, ke0[:, None], spans)
        if runs:
            came += flow * enters * fills(rates, ke0[:, None], spans)
        site[1:] = ke0 * _sum(came * seen)
        left = remains(ke0, spans[..., 0])
        for p in range(len(left)):
            site[p + 1] += site[p] * left[p]
    return Course(rates, enters, seen, ke0, steps, mode, site)


@dataclass(frozen=True, slots=True, eq=False)
class _Alone:
    """Modes that each run by themselves: those of the plasma, that of the steady state if a pump runs, that of the effect site.

    `by_dose` and `by_flow` (N, m) are what a unit bolus and a unit rise of the rate add to each; plasma is the sum of the first
    `plasma` of them, effect the sum weighed by `effect` (N, m). `close` marks the animals for which this costs figures; so do
    flows where the `slowest` rate is near 0.
    """

    rates: Floats
    by_dose: Floats
    by_flow: Floats
    plasma: int
    effect: Floats | None
    close: npt.NDArray[np.bool_]
    slowest: Floats


@lru_cache(maxsize=32)
def _alone(disposition: Disposition, runs: bool) -> _Alone:
    apart, ke0 = _row(disposition), effect_rate(disposition)
    rates, n = apart.rates, apart.rates.shape[1]
    dose = apart.right[:, 0, :] * apart.left[:, :, 0] / _first_volume(disposition)
    held = dose / np.where(rates > 0, rates, 1.0)
    steady, zero = held.sum(1, keepdims=True), np.zeros((len(rates), 1))
    speeds, doses, flows = [rates], [dose], [-held]
    if runs:
        speeds, doses, flows = [*speeds, zero], [*doses, zero], [*flows, steady]
    near = np.zeros(len(rates), dtype=bool)
    if ke0 is None:
        return _Alone(_beside(speeds), _beside(doses), _beside(flows), n + runs, None, near, rates.min(1))
    to = ke0[:, None]
    gap = to - rates
    near = np.any(np.abs(gap) <= _CLOSE * np.maximum(to, rates), axis=1)
    share = to / np.where(gap == 0, 1.0, gap)
    lost = -(share * dose).sum(1, keepdims=True)
    drained = -lost / np.where(to > 0, to, 1.0)
    weights = [share, ((share * held).sum(1, keepdims=True) - drained) / steady] if runs else [share]
    rows = _beside([*speeds, to]), _beside([*doses, lost]), _beside([*flows, drained])
    return _Alone(*rows, n + runs, _beside([*weights, np.ones_like(to)]), near, np.minimum(rates.min(1), ke0))


def _beside(columns: list[Floats]) -> Floats:
    return np.concatenate(columns, axis=1)


def _each_change(apart: _Alone, steps: Steps) -> Floats:
    """The modes (P, N, m) just after each change."""
    turned = np.diff(steps.flow, prepend=0.0)
    mode = steps.jump[:, None, None] * apart.by_dose
    if np.any(turned):
        mode += turned[:, None, None] * apart.by_flow
    fade = remains(apart.rates, np.diff(steps.times)[:, None, None])
    for p in range(len(fade)):
        mode[p + 1] += np.multiply(fade[p], mode[p], out=fade[p])
    return mode


def _shortest_flow(steps: Steps) -> float:
    """The shortest stretch between two changes in which anything flows [min]."""
    return float(np.min(np.diff(steps.times)[steps.flow[:-1] > 0], initial=np.inf))


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """A grid of times as rows of `long` points, each from the state at one change; rows that begin inside another lie over it.

    `change` and `since` say from which change each row starts, and how long after it; the first `full` rows make up the grid.
    """

    long: int
    full: int
    change: npt.NDArray[np.intp]
    since: Floats
    over: tuple[tuple[int, int], ...]


def _rows(changes: Floats, times: Floats) -> _Rows:
    long = max(1, min(round(times.size**0.5), times.size // changes.size))
    regular = np.arange(0, times.size, long)
    first = np.unique(np.searchsorted(times, changes, "left"))
    within = first[(first % long != 0) & (first < times.size)]
    ends = np.minimum((within // long + 1) * long, times.size)
    ends[:-1] = np.minimum(ends[:-1], within[1:])
    starts = times[np.concatenate((regular, within))]
    change = np.searchsorted(changes, starts, "right") - 1
    return _Rows(
        long, regular.size, change, starts - changes[change], tuple(zip(within.tolist(), ends.tolist(), strict=True))
    )


def _grid(
    apart: _Alone, mode: Floats, rows: _Rows, times: Floats, some: slice, plasma: Floats, effect: Floats | None
) -> None:  # fmt: skip
    """Write some animals' levels: the state at the start of each row, times the exponentials along a row."""
    rates = apart.rates[some]
    state = remains(rates, rows.since[:, None, None])
    state *= mode[rows.change, some]
    along = remains(rates[:, :, None], times[: rows.long])
    _lay(state[..., : apart.plasma], along[:, : apart.plasma], rows, plasma[some])
    if effect is not None and apart.effect is not None:
        state *= apart.effect[some]
        _lay(state, along, rows, effect[some])


def _lay(state: Floats, along: Floats, rows: _Rows, into: Floats) -> None:
    whole = into.shape[1] // rows.long
    even = whole * rows.long
    each = state.transpose(1, 0, 2)
    np.matmul(each[:, :whole], along, out=into[:, :even].reshape(-1, whole, rows.long))
    if whole < rows.full:
        into[:, even:] = np.matmul(each[:, whole : rows.full], along[:, :, : into.shape[1] - even])[:, 0]
    if rows.over:
        late = np.matmul(each[:, rows.full :], along)
        for n, (start, end) in enumerate(rows.over):
            into[:, start:end] = late[:, n, : end - start]


def _until(steps: Steps, last: float) -> Steps:
    kept = max(1, int(np.searchsorted(steps.times, last, "right")))
    return Steps(steps.times[:kept], steps.jump[:kept], steps.flow[:kept])


def _room(count: int, points: int, effect: bool) -> tuple[Floats, Floats | None]:
    return np.empty((count, points)), np.empty((count, points)) if effect else None


def _write(whole: Course, times: Floats, plasma: Floats, effect: Floats | None) -> None:
    """Work out a course's levels in turns that fit the memory near at hand."""
    count, n = whole.rates.shape
    each = max(1, _AT_ONCE // max(1, times.size * n))
    for first in range(0, count, each):
        turn = slice(first, first + each)
        plasma[turn], site = whole.part(turn).at(times)
        if effect is not None and site is not None:
            effect[turn] = site


def _levels(disposition: Disposition, times: Floats, plasma: Floats, effect: Floats | None) -> Levels:
    full = (*disposition.shape, times.size)
    return Levels(times, plasma.reshape(full), None if effect is None else effect.reshape(full))


def _times(times_min: npt.ArrayLike) -> Floats:
    times = np.asarray(times_min, dtype=np.float64).reshape(-1)
    if not np.all(np.isfinite(times)) or np.any(times < 0):
        raise OutOfRange("times", "A time lies before the case or is no time.", "Give minutes from 0 on.")
    return times


def _sum(terms: Floats) -> Floats:
    """Sum over the last, short axis: adding its few columns is quicker than reducing over it."""
    total = terms[..., 0]
    for k in range(1, terms.shape[-1]):
        total = total + terms[..., k]
    return total
