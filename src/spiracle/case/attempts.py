"""The tube's story: each attempt with what was new in it, what came of it, and why its tube came out again.

Pure; told from the log alone, so that a size changed after a leak reads as one story and not as two anaesthetics.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case.events import AttemptBegan, AttemptEnded, DrugGiven, Extubated, ReadingTaken, TubeWithdrawn
from spiracle.case.fold import Case

FOR_THE_LARYNX = "larynx"


@dataclass(frozen=True, slots=True)
class AttemptStory:
    """One attempt. `withdrawn`: its tube lay there and came out before the animal woke; `lowest_spo2` as noted, else as read."""

    began: AttemptBegan
    number: int
    ended: AttemptEnded | None = None
    lowest_spo2: Decimal | None = None
    withdrawn: TubeWithdrawn | None = None

    @property
    def seconds(self) -> int | None:
        """How long the try took; None while it runs."""
        return None if self.ended is None else round((self.ended.happened_at - self.began.happened_at).total_seconds())


def story(case: Case) -> tuple[AttemptStory, ...]:
    """All attempts of this anaesthetic in their order, an earlier extubation notwithstanding."""
    ends = {e.attempt: e for e in case.live(AttemptEnded)}
    began = case.live(AttemptBegan)
    found = []
    for number, attempt in enumerate(began, 1):
        end = ends.get(attempt.attempt)
        until = began[number].happened_at if number < len(began) else None
        found.append(AttemptStory(attempt, number, end, _lowest(case, attempt, end), _withdrawn(case, end, until)))
    return tuple(found)


def _withdrawn(case: Case, end: AttemptEnded | None, until: datetime | None) -> TubeWithdrawn | None:
    """The entry that took this attempt's tube out: after it went in, before the next attempt and before an extubation."""
    if end is None or end.outcome != "in":
        return None
    out = next((x.happened_at for x in case.live(Extubated) if x.happened_at >= end.happened_at), None)
    last = min((t for t in (until, out) if t is not None), default=None)
    gone = (w for w in case.live(TubeWithdrawn) if w.happened_at >= end.happened_at)
    return next((w for w in gone if last is None or w.happened_at <= last), None)


def _lowest(case: Case, began: AttemptBegan, end: AttemptEnded | None) -> Decimal | None:
    if end is not None and end.lowest_spo2 is not None:
        return end.lowest_spo2
    lines = (x for x in case.every(ReadingTaken) if not x.struck and not x.artefact)
    read = [x.event for x in lines if isinstance(x.event, ReadingTaken)]
    seen = [r.value for r in read if r.reading == "spo2" and r.quality != "invalid" and r.happened_at >= began.happened_at
            and (end is None or r.happened_at <= end.happened_at)]  # fmt: skip
    return min(seen, default=None)


@dataclass(frozen=True, slots=True)
class LarynxNumbed:
    """The last local anaesthetic on the larynx, and from when the tube may be passed."""

    given: DrugGiven
    ready_at: datetime


def larynx_numbed(case: Case, wait: timedelta) -> LarynxNumbed | None:
    """None where nothing was put on the larynx. The dose counts in the shared ceiling like any other."""
    given = [g for g in case.live(DrugGiven) if FOR_THE_LARYNX in g.purpose.casefold()]
    return LarynxNumbed(given[-1], given[-1].happened_at + wait) if given else None
