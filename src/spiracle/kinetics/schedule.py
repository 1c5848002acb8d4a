"""What was given and when, as boluses and one pump's infusions; refused where it cannot be true."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from spiracle.kinetics.exponentials import Floats
from spiracle.refusals import Contradiction, OutOfRange


@dataclass(frozen=True, slots=True)
class Bolus:
    """A dose [mg/kg] at a minute of the case; `over_min` above 0 makes it a short infusion that may overlap others."""

    at_min: float
    dose: float
    over_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Infusion:
    """A constant rate [mg/kg/min] from one minute to another."""

    start_min: float
    stop_min: float
    rate: float


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """The schedule as a solver needs it: from `times[p]` on flows `flow[p]` [mg/kg/min], after `jump[p]` [mg/kg] at that instant."""

    times: Floats
    jump: Floats
    flow: Floats


@dataclass(frozen=True, slots=True)
class Schedule:
    """Boluses and infusions of one drug, in any order of entry. Kept sorted by time.

    Raises OutOfRange for a negative or unknown number or a dose before the case, Contradiction for an infusion that stops
    before it starts or two infusions at once.
    """

    boluses: tuple[Bolus, ...] = ()
    infusions: tuple[Infusion, ...] = ()

    def __post_init__(self) -> None:
        for n, bolus in enumerate(self.boluses, 1):
            _from_start(f"bolus {n}, at", bolus.at_min)
            _not_negative(f"bolus {n}, dose", bolus.dose, "mg/kg")
            _not_negative(f"bolus {n}, over", bolus.over_min, "min")
        for n, run in enumerate(self.infusions, 1):
            _from_start(f"infusion {n}, from", run.start_min)
            _from_start(f"infusion {n}, to", run.stop_min)
            _not_negative(f"infusion {n}, rate", run.rate, "mg/kg/min")
            if run.stop_min <= run.start_min:
                raise Contradiction(
                    f"infusion {n}, to", f"It stops at {run.stop_min:g} min, not after its start at {run.start_min:g} min.",
                    "Give a stop after the start.",
                )  # fmt: skip
        _one_at_a_time(self.infusions)
        object.__setattr__(self, "boluses", tuple(sorted(self.boluses, key=lambda b: b.at_min)))
        object.__setattr__(self, "infusions", tuple(sorted(self.infusions, key=lambda i: i.start_min)))

    def with_bolus(self, bolus: Bolus) -> Schedule:
        return Schedule((*self.boluses, bolus), self.infusions)

    def stopped_at(self, minute: float) -> Schedule:
        """The same schedule with nothing given after `minute`: later entries dropped, running ones cut there."""
        boluses = [_cut(b, minute) for b in self.boluses if b.at_min <= minute]
        runs = [Infusion(i.start_min, min(i.stop_min, minute), i.rate) for i in self.infusions if i.start_min < minute]
        return Schedule(tuple(b for b in boluses if b is not None), tuple(runs))

    def total_by(self, minute: float) -> float:
        """All that was given up to and including `minute` [mg/kg]."""
        given = [b.dose * _share(minute, b.at_min, b.over_min) for b in self.boluses if b.at_min <= minute]
        run = [i.rate * (min(i.stop_min, minute) - i.start_min) for i in self.infusions if i.start_min < minute]
        return math.fsum((*given, *run))

    def steps(self) -> Steps:
        """Boluses and the merged rate, piece by piece, starting at 0. Each piece's rate is summed afresh, so nothing is left over
        when the last flow stops."""
        at, dose, over = _columns([(b.at_min, b.dose, b.over_min) for b in self.boluses])
        once = over == 0
        flows = [(b.at_min, b.at_min + b.over_min, b.dose / b.over_min) for b in self.boluses if b.over_min > 0]
        start, stop, rate = _columns(flows + [(i.start_min, i.stop_min, i.rate) for i in self.infusions])
        times = np.unique(np.concatenate(([0.0], at[once], start, stop)))
        jump = np.asarray(np.bincount(np.searchsorted(times, at[once]), dose[once], times.size), dtype=np.float64)
        runs = (start[:, None] <= times) & (times < stop[:, None])
        return Steps(times, jump, rate @ runs if rate.size else np.zeros(times.size))


def _columns(rows: Sequence[tuple[float, float, float]]) -> Floats:
    return np.array(rows, dtype=np.float64).reshape(-1, 3).T


def _share(minute: float, start: float, over: float) -> float:
    return 1.0 if over == 0 else min(1.0, (minute - start) / over)


def _cut(bolus: Bolus, minute: float) -> Bolus | None:
    """A slow bolus stopped half-way has given the half; one that would only begin then has given nothing."""
    if bolus.at_min + bolus.over_min <= minute:
        return bolus
    share = _share(minute, bolus.at_min, bolus.over_min)
    return Bolus(bolus.at_min, bolus.dose * share, minute - bolus.at_min) if share > 0 else None


def _from_start(field: str, minute: float) -> None:
    if not math.isfinite(minute):
        raise OutOfRange(field, f"{minute} is no time.", "Give minutes from the start of the case.")
    if minute < 0:
        raise OutOfRange(field, f"{minute:g} min lies before the case.", "Give 0 min or later.")


def _not_negative(field: str, value: float, unit: str) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise OutOfRange(field, f"{value:g} {unit} cannot be given.", f"Give 0 {unit} or more.")


def _one_at_a_time(runs: tuple[Infusion, ...]) -> None:
    order = sorted(range(len(runs)), key=lambda n: runs[n].start_min)
    for one, two in pairwise(order):
        if runs[two].start_min < runs[one].stop_min:
            raise Contradiction(
                f"infusion {two + 1}, from",
                f"It starts at {runs[two].start_min:g} min while infusion {one + 1} runs until {runs[one].stop_min:g} min.",
                "Give infusions that follow one another; ends may touch.",
            )
