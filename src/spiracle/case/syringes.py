"""Syringes and infusions as they stand: what was drawn, what went in, what is left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from spiracle.case.events import (
    BagMixed,
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
    """A syringe that was drawn: drawn = given + ran + wasted + returned + left. `ran_ml` went in by a pump."""

    drawn: SyringeDrawn
    given_ml: Decimal
    wasted_ml: Decimal
    returned_ml: Decimal
    last_given: DrugGiven | None
    pushes: int
    ran_ml: Decimal = NONE

    @property
    def left_ml(self) -> Decimal:
        return self.drawn.volume_ml - self.given_ml - self.ran_ml - self.wasted_ml - self.returned_ml


def syringes(case: Case, at: datetime | None = None) -> tuple[Syringe, ...]:
    """All that stand, in the order in which they were drawn, with what ran from them by `at` (by the last entry, if not told)."""
    return tuple(_counted(case, drawn, at) for drawn in case.live(SyringeDrawn))


def syringe(case: Case, name: str, at: datetime | None = None) -> Syringe | None:
    drawn = next((d for d in reversed(case.live(SyringeDrawn)) if d.syringe == name), None)
    return None if drawn is None else _counted(case, drawn, at)


def _counted(case: Case, drawn: SyringeDrawn, at: datetime | None) -> Syringe:
    pushes = [g for g in case.live(DrugGiven) if g.syringe == drawn.syringe]
    wasted = [w.volume_ml for w in case.live(DrugWasted) if w.syringe == drawn.syringe]
    returned = [r.volume_ml for r in case.live(DrugReturned) if r.syringe == drawn.syringe]
    given = sum((g.volume_ml or NONE for g in pushes), NONE)
    gone, back = sum(wasted, NONE), sum(returned, NONE)
    ran = _ran_from(case, drawn, drawn.volume_ml - given - gone - back, at)
    return Syringe(drawn, given, gone, back, pushes[-1] if pushes else None, len(pushes), ran)


TENTH = Decimal("0.1")  # what a pump shows of a volume


def _ran_from(case: Case, drawn: SyringeDrawn, there: Decimal, at: datetime | None) -> Decimal:
    """What pumps took from it. Rate times time is an estimate, to a tenth of a mL and never more than was there; a total that
    was read from the pump counts as read."""
    from_it = [i for i in infusions(case) if i.started.syringe == drawn.syringe]
    if not from_it:
        return NONE
    until = at if at is not None else case.lines[-1].event.happened_at
    read = sum((i.stopped.total_ml for i in from_it if i.stopped is not None and i.stopped.total_ml is not None), NONE)
    unread = [i for i in from_it if i.stopped is None or i.stopped.total_ml is None]
    told = sum((i.volume_ml(until) for i in unread), NONE).quantize(TENTH)
    return read + max(NONE, min(told, there - read))


@dataclass(frozen=True, slots=True)
class MixedBag:
    """A bag with drugs in it: what ran from it, and what is left."""

    mixed: BagMixed
    ran_ml: Decimal

    @property
    def left_ml(self) -> Decimal:
        return max(NONE, self.mixed.volume_ml - self.ran_ml)


def bag_of(case: Case, name: str, at: datetime | None = None) -> MixedBag | None:
    """A bag by its id, with what ran from it by `at` (by the last entry, if not told)."""
    mixed = next((b for b in reversed(case.live(BagMixed)) if b.bag == name), None) if name else None
    if mixed is None:
        return None
    until = at if at is not None else case.lines[-1].event.happened_at
    return MixedBag(mixed, sum((i.volume_ml(until) for i in infusions(case) if i.started.bag == name), NONE))


def bags(case: Case, at: datetime | None = None) -> tuple[MixedBag, ...]:
    """Every bag that was mixed and stands."""
    return tuple(b for m in case.live(BagMixed) if (b := bag_of(case, m.bag, at)) is not None)


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
