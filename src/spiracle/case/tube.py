"""The tube that lies there now: when it went in, which signs were seen since."""

from __future__ import annotations

from datetime import datetime

from spiracle.case.events import AttemptEnded, Extubated, ProofNoted, TubePlaced
from spiracle.case.fold import Case


def went_in(case: Case) -> datetime | None:
    """When the tube in place went in: the last attempt that ended "in", or the tube noted; None if it came out again."""
    ends = case.live(AttemptEnded)
    last, placed, out = (ends[-1] if ends else None), case.last(TubePlaced), case.last(Extubated)
    if last is not None and last.outcome != "in" and (placed is None or placed.happened_at < last.happened_at):
        return None
    times = [x.happened_at for x in (last, placed) if x is not None]
    if not times or (out is not None and out.happened_at >= min(times)):
        return None
    return min(times)


def signs_since(case: Case, start: datetime) -> dict[str, int | None]:
    """The last word on each sign since then, with the breaths counted; a sign not seen is no sign."""
    found = {p.sign: p for p in case.live(ProofNoted) if p.happened_at >= start}
    return {sign: p.breaths for sign, p in found.items() if p.seen}
