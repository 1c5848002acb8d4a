"""The tube that lies there now: when it went in, which signs were seen since."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from itertools import pairwise

from spiracle.case.events import (
    AttemptBegan,
    AttemptEnded,
    CuffChecked,
    Extubated,
    ProofNoted,
    TubePlaced,
    TubeWithdrawn,
)
from spiracle.case.fold import Case
from spiracle.quantity import Quantity, round_significant


def went_in(case: Case) -> datetime | None:
    """When the tube in place went in, so that no sign of an earlier try or tube counts for it; None if none is in place.

    A new attempt, a failed one and taking the tube out each end what was in place before.
    """
    ends = case.live(AttemptEnded)
    barriers = (case.last(AttemptBegan), case.last(Extubated), case.last(TubeWithdrawn))
    over = [e.happened_at for e in barriers if e is not None]
    over += [e.happened_at for e in ends if e.outcome != "in"]
    barrier = max(over, default=None)
    placed = [p for p in case.live(TubePlaced) if barrier is None or p.happened_at >= barrier]
    times = [e.happened_at for e in ends if e.outcome == "in" and (barrier is None or e.happened_at >= barrier)]
    times += [p.happened_at for p in placed]
    changed = [b.happened_at for a, b in pairwise(placed) if b.id_mm != a.id_mm]
    return max(changed) if changed else min(times, default=None)  # another size: nothing seen before holds for it


def signs_since(case: Case, start: datetime) -> dict[str, int | None]:
    """The last word on each sign since then, with the breaths counted; a sign not seen is no sign."""
    found = {p.sign: p for p in case.live(ProofNoted) if p.happened_at >= start}
    return {sign: p.breaths for sign, p in found.items() if p.seen}


def cuff_cmh2o(event: CuffChecked) -> Decimal | None:
    """The cuff's pressure in centimetres of water, whichever gauge it was read from; None where it was not read."""
    if event.pressure_mmhg is None:
        return event.pressure_cmh2o
    return round_significant(Quantity.of(event.pressure_mmhg, "mmHg").number("cmH2O"), 3)
