"""Syringes and infusions as they stand: what was drawn, what went in, what is left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from spiracle.case.events import (
    DrugGiven,
    DrugReturned,
    DrugWasted,
    InfusionChanged,
    InfusionStarted,
    InfusionStopped,
    SyringeDrawn,
)
from spiracle.case.fold import Case

NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Syringe:
    """A syringe that was drawn: drawn = given + wasted + returned + left."""

    drawn: SyringeDrawn
    given_ml: Decimal
    wasted_ml: Decimal
    returned_ml: Decimal
    last_given: DrugGiven | None
    pushes: int

    @property
    def left_ml(self) -> Decimal:
        return self.drawn.volume_ml - self.given_ml - self.wasted_ml - self.returned_ml


def syringes(case: Case) -> tuple[Syringe, ...]:
    """All that stand, in the order in which they were drawn."""
    return tuple(_counted(case, drawn) for drawn in case.live(SyringeDrawn))


def syringe(case: Case, name: str) -> Syringe | None:
    drawn = next((d for d in reversed(case.live(SyringeDrawn)) if d.syringe == name), None)
    return None if drawn is None else _counted(case, drawn)


def _counted(case: Case, drawn: SyringeDrawn) -> Syringe:
    pushes = [g for g in case.live(DrugGiven) if g.syringe == drawn.syringe]
    wasted = [w.volume_ml for w in case.live(DrugWasted) if w.syringe == drawn.syringe]
    returned = [r.volume_ml for r in case.live(DrugReturned) if r.syringe == drawn.syringe]
    return Syringe(drawn, sum((g.volume_ml or NONE for g in pushes), NONE), sum(wasted, NONE), sum(returned, NONE),
                   pushes[-1] if pushes else None, len(pushes))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Infusion:
    """Something that runs or ran: its rates in order, and what is known of its end."""

    started: InfusionStarted
    steps: tuple[tuple[datetime, Decimal], ...]
    dose_rate: Decimal | None
    dose_unit: str
    stopped: InfusionStopped | None

    @property
    def rate_ml_h(self) -> Decimal:
        return self.steps[-1][1]

    @property
    def since(self) -> datetime:
        return self.steps[-1][0]

    @property
    def running(self) -> bool:
        return self.stopped is None

    def volume_ml(self, until: datetime) -> Decimal:
        """What ran in by `until`: the pump's own total where it was read at the stop, else rate times time."""
        if self.stopped is not None and self.stopped.total_ml is not None and until >= self.stopped.happened_at:
            return self.stopped.total_ml
        end = min(until, self.stopped.happened_at) if self.stopped is not None else until
        total = NONE
        for (from_at, rate), to_at in zip(self.steps, [*(at for at, _ in self.steps[1:]), end], strict=True):
            hours = Decimal(max(0, int((min(to_at, end) - from_at).total_seconds()))) / 3600
            total += rate * hours
        return total


def infusions(case: Case) -> tuple[Infusion, ...]:
    """All that were started and stand, in order of their start."""
    return tuple(_ran(case, started) for started in case.live(InfusionStarted))


def infusion(case: Case, name: str) -> Infusion | None:
    return next((i for i in reversed(infusions(case)) if i.started.infusion == name), None)


def _ran(case: Case, started: InfusionStarted) -> Infusion:
    changes = [c for c in case.live(InfusionChanged) if c.infusion == started.infusion]
    stops = [s for s in case.live(InfusionStopped) if s.infusion == started.infusion]
    steps = ((started.happened_at, started.rate_ml_h), *((c.happened_at, c.rate_ml_h) for c in changes))
    told = next((c for c in reversed(changes) if c.dose_rate is not None), None)
    rate, unit = (told.dose_rate, told.dose_unit) if told else (started.dose_rate, started.dose_unit)
    return Infusion(started, steps, rate, unit, stops[-1] if stops else None)
