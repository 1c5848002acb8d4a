"""What went into the vein of one drug, and when: the pushes and pumps that a prediction may be worked from.

Carries D4. An entry that no model could follow is named, never guessed at: a dose by another way, an amount in another
measure, a pump whose strength is not known. The one who asks then shows no curve.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.loads import stretches_of
from spiracle.case.pushes import amount_given, drug_id, route_of
from spiracle.case.standing import given
from spiracle.case.streams import Stream, streams
from spiracle.quantity import Quantity, figure, unit

if TYPE_CHECKING:
    from collections.abc import Iterable

    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case

BY_VEIN = frozenset({"IV", "IO"})
_MG = unit("mg")
_MINUTES = Decimal(60)


@dataclass(frozen=True, slots=True)
class Pushed:
    """One dose by the vein [mg]. `id` is its entry."""

    at: datetime
    mg: float
    id: str


@dataclass(frozen=True, slots=True)
class Ran:
    """A stretch of all pumps together at one rate [mg/min]."""

    start: datetime
    stop: datetime
    mg_min: float


@dataclass(frozen=True, slots=True)
class Deliveries:
    """Everything of one drug by the vein until `until`. `unfollowed`: in words, each entry that cannot be followed."""

    drug: str
    until: datetime
    pushed: tuple[Pushed, ...] = ()
    ran: tuple[Ran, ...] = ()
    unfollowed: tuple[str, ...] = ()
    mg_min_now: float = 0.0
    """What runs on at `until` [mg/min]; a pump that is stopped then does not."""

    @property
    def first_at(self) -> datetime | None:
        starts = [*(p.at for p in self.pushed), *(r.start for r in self.ran)]
        return min(starts, default=None)

    @property
    def total_mg(self) -> float:
        ran = sum(r.mg_min * ((r.stop - r.start) / timedelta(minutes=1)) for r in self.ran)
        return sum(p.mg for p in self.pushed) + ran


def drugs_by_vein(case: Case, facts: Facts) -> tuple[str, ...]:
    """Drugs and fluids of which anything went in by hand or pump, a pump of unknown strength too, in the order of their entries."""
    pushes = (drug_id(g.drug, facts) for g in given(case))
    ran = (s.drug for s in streams(case, facts))
    return tuple(d for d in dict.fromkeys((*pushes, *ran)) if d)


def deliveries(case: Case, facts: Facts, drug: str, until: datetime) -> Deliveries:
    """Everything of one drug by `until`, doses of before the case among them. Struck entries are left out by the fold."""
    pushed: list[Pushed] = []
    unfollowed: list[str] = []
    entries: list[tuple[datetime, ev.DrugGiven | ev.GivenBefore]] = [(g.happened_at, g) for g in given(case)]
    entries += [(b.given_at, b) for b in case.live(ev.GivenBefore)]
    for at, entry in entries:
        if drug_id(entry.drug, facts) != drug:
            continue
        if at > until:
            continue
        route = route_of(entry.route, facts)
        milligrams = _mg(amount_given(entry))
        if route not in BY_VEIN or milligrams is None:
            way = "" if route in BY_VEIN else f" {route or entry.route or 'by a way that was not told'}"
            unfollowed.append(f"{figure(entry.amount)} {entry.unit}{way} at {_clock(at, until, facts)}")
        else:
            pushed.append(Pushed(at, milligrams, entry.id))
    found = [s for s in streams(case, facts) if s.drug == drug and s.infusion.started.happened_at <= until]
    ran, unread = _ran(found, facts, until)
    return Deliveries(
        drug=drug,
        until=until,
        pushed=tuple(sorted(pushed, key=lambda p: (p.at, p.id))),
        ran=ran,
        unfollowed=(*unfollowed, *unread),
        mg_min_now=sum(_running_mg_min(s, until) for s in found),
    )


def _clock(at: datetime, now: datetime, facts: Facts) -> str:
    """The time of day; of another day than now's, with its date."""
    local = at.astimezone(facts.zone)
    return f"{local:%H:%M}" if local.date() == now.astimezone(facts.zone).date() else f"{local.day} {local:%b %H:%M}"


def _mg(amount: Quantity | None) -> float | None:
    """Milligrams, or nothing for what is no mass: international units, milliequivalents, a volume."""
    if amount is None or amount.unit.dimension != _MG.dimension:
        return None
    return float(amount.number("mg"))


def _ran(
    found: Iterable[Stream], facts: Facts, until: datetime
) -> tuple[tuple[Ran, ...], tuple[str, ...]]:  # fmt: skip
    """All pumps of the drug as one line of stretches that follow one another: where two run, their rates are added."""
    changes: dict[datetime, float] = defaultdict(float)
    unread = []
    for stream in found:
        if stream.holds is None or _mg(stream.holds * Quantity.of(1, "mL")) is None:
            unread.append(
                f"what a pump held that was started at {_clock(stream.infusion.started.happened_at, until, facts)}"
            )
            continue
        if (way := route_of(stream.route, facts)) not in BY_VEIN:
            unread.append(f"a pump {way or stream.route or 'by a way that was not told'}")
            continue
        for r in stretches_of(stream, until):
            mg_min = float((Quantity.of(r.per_hour / _MINUTES, "mL") * stream.holds).number("mg"))
            changes[_ago(until, r.began)] += mg_min
            changes[_ago(until, r.ended)] -= mg_min
    return _stretches(changes), tuple(unread)


def _running_mg_min(stream: Stream, until: datetime) -> float:
    stopped = stream.infusion.stopped
    rates = [rate for since, rate in stream.steps if since <= until]
    if stream.holds is None or not rates or (stopped is not None and stopped.happened_at <= until):
        return 0.0
    return _mg(Quantity.of(rates[-1] / _MINUTES, "mL") * stream.holds) or 0.0


def _ago(until: datetime, hours: Decimal) -> datetime:
    """The whole second at which a stretch began or ended, so that stretches of two pumps meet exactly."""
    return until - timedelta(seconds=int((hours * 3600).to_integral_value()))


def _stretches(changes: dict[datetime, float]) -> tuple[Ran, ...]:
    found: list[Ran] = []
    rate = 0.0
    moments = sorted(changes)
    for start, stop in pairwise(moments):
        rate += changes[start]
        if rate > 1e-12:
            found.append(Ran(start, stop, rate))
    return tuple(found)
