"""The tube that lies there: when it went in, which size, what was seen since, and what it was before it came out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import TypeAlias

from spiracle.case.events import (
    AttemptBegan,
    AttemptEnded,
    CuffChecked,
    Event,
    Extubated,
    ProofNoted,
    TubePlaced,
    TubeWithdrawn,
)
from spiracle.case.fold import Case
from spiracle.quantity import Quantity, round_significant


@dataclass(frozen=True, slots=True)
class Lying:
    """A tube in place. `since`: from then on signs count for it. `placed` is its entry where somebody noted one."""

    since: datetime
    id_mm: Decimal
    placed: TubePlaced | None = None


Step: TypeAlias = AttemptBegan | AttemptEnded | TubePlaced | TubeWithdrawn | Extubated
STEPS: tuple[type[Step], ...] = (AttemptBegan, AttemptEnded, TubePlaced, TubeWithdrawn, Extubated)


def _steps(case: Case, until: datetime | None) -> list[Event]:
    """What moves a tube, in the order in which it happened; of one instant, in the order of the list above."""
    found: list[Event] = [e for kind in STEPS for e in case.live(kind) if until is None or e.happened_at <= until]
    return sorted(found, key=lambda e: (e.happened_at, e.recorded_at))


def _walk(steps: list[Event]) -> Lying | None:
    """A new attempt, a failed one, a tube taken out each end what was in place before; another size begins anew."""
    lies: Lying | None = None
    tried: dict[str, Decimal] = {}
    for e in steps:
        match e:
            case AttemptBegan():
                tried[e.attempt], lies = e.tube_id_mm, None
            case AttemptEnded(outcome="in"):
                size = tried.get(e.attempt)
                lies = lies or (None if size is None else Lying(e.happened_at, size))
            case TubePlaced():
                same = lies is not None and lies.id_mm == e.id_mm
                lies = replace(lies, placed=e) if same and lies is not None else Lying(e.happened_at, e.id_mm, e)
            case _:
                lies = None
    return lies


def lying(case: Case, until: datetime | None = None) -> Lying | None:
    """The tube in place, now or as it was at a moment; None if there is none."""
    return _walk(_steps(case, until))


def last_lay(case: Case) -> Lying | None:
    """The tube in place, or the one that lay there until the animal was extubated: what a record shows afterwards."""
    steps = _steps(case, None)
    if steps and isinstance(steps[-1], Extubated):
        steps = steps[:-1]
    return _walk(steps)


def went_in(case: Case) -> datetime | None:
    """When the tube in place went in, so that no sign of an earlier try or tube counts for it; None if none is in place."""
    lies = lying(case)
    return None if lies is None else lies.since


def signs_since(case: Case, start: datetime) -> dict[str, int | None]:
    """The last word on each sign since then, with the breaths counted; a sign not seen is no sign."""
    found = {p.sign: p for p in case.live(ProofNoted) if p.happened_at >= start}
    return {sign: p.breaths for sign, p in found.items() if p.seen}


def cuff_cmh2o(event: CuffChecked) -> Decimal | None:
    """The cuff's pressure in centimetres of water, whichever gauge it was read from; None where it was not read."""
    if event.pressure_mmhg is None:
        return event.pressure_cmh2o
    return round_significant(Quantity.of(event.pressure_mmhg, "mmHg").number("cmH2O"), 3)
