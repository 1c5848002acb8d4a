"""The day sheet: one line a case, in a fixed order of rooms so that places are learned; what asks for someone beside it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from spiracle.case import events as ev
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.refusals import Refusal
from spiracle.sheets.advice import advice
from spiracle.sheets.airway_proof import airway_part
from spiracle.sheets.collar import about, asa_text, draft_reasons
from spiracle.sheets.due import due
from spiracle.sheets.names import capital, kg_text
from spiracle.sheets.phases import present
from spiracle.sheets.prepare import premedicated_at
from spiracle.sheets.readings import READINGS
from spiracle.sheets.shapes import Board, BoardLine, LanePart, Num, PlanSheet
from spiracle.sheets.told import Told, told

SHOWN = ("heart_rate", "spo2", "map")
KEPT = timedelta(hours=24)


def board(cases: Mapping[str, Case], facts: Facts, now: datetime) -> Board:
    """All cases of the day. A case that nobody opened is left out; one that ended stays for a day."""
    found = [told_ for case in cases.values() if (told_ := _told(case, facts, now)) is not None]
    lines = [(t, line(t)) for t in found]
    lines.sort(key=lambda p: (p[1].room or "~", p[1].planned_at or p[0].opened.happened_at, p[1].name, p[1].case))
    return Board(
        as_of=now,
        now=tuple(x for t, x in lines if not x.ended and _begun(t)),
        to_come=tuple(
            sorted((x for t, x in lines if not x.ended and not _begun(t)), key=lambda x: (x.planned_at or now, x.name))
        ),
        ended=tuple(x for t, x in lines if x.ended and t.now - (t.ended_at or t.now) < KEPT),
    )


def _told(case: Case, facts: Facts, now: datetime) -> Told | None:
    try:
        return told(case, facts, now)
    except Refusal:
        return None


def _begun(t: Told) -> bool:
    """On the table, or about to be: something was given or the case is an emergency."""
    return bool(t.given) or t.induced_at is not None or t.opened.kind == "emergency"


def line(t: Told) -> BoardLine:
    planned = t.case.last(ev.ProcedurePlanned)
    asks = _asks(t)
    return BoardLine(
        case=t.opened.case,
        room=room(t),
        name=t.name,
        about=about(t),
        procedure=planned.procedure if planned else "",
        state=capital(present(t)),
        asks=asks[0],
        asks_priority=asks[1],  # type: ignore[arg-type]
        hand=_hand(t),
        planned_at=t.opened.planned_at,
        lane=lane(t, planned.minutes if planned else None),
        last=tuple(_last(t, name) for name in SHOWN),
        estimated=t.estimated,
        draft=bool(draft_reasons(t, 0)),
        weight_text=kg_text(t.weight.kg) if t.weight else "",
        asa=asa_text(t),
        ended=t.ended_at is not None,
    )


def room(t: Told) -> str:
    """Where the animal is now: moved, else as planned, else as opened."""
    moved = [p.to_room for p in t.case.live(ev.Positioned) if p.to_room]
    watch = t.case.last(ev.RecoveryWatchBegan)
    planned = t.case.last(ev.ProcedurePlanned)
    if watch is not None and watch.place:
        return watch.place
    return moved[-1] if moved else planned.room if planned and planned.room else t.opened.room


def _hand(t: Told) -> str:
    """Whose case it is: the watcher in recovery, else who anaesthetises now, else the hand of the last entry."""
    watch = t.case.last(ev.RecoveryWatchBegan)
    if watch is not None:
        return t.names.hand(watch.watcher)
    left = {p.person: p.happened_at for p in t.case.live(ev.PersonLeft)}
    here = [
        p
        for p in t.case.live(ev.PersonJoined)
        if p.part in {"anaesthetist", "relief"} and not (p.person in left and left[p.person] >= p.happened_at)
    ]
    if here:
        return t.names.hand(here[-1].person)
    return t.names.hand(t.case.lines[-1].event.by) if t.given else ""


def _asks(t: Told) -> tuple[str, str | None]:
    """The most urgent advice in a few words, else what is overdue, else what keeps the plan a draft."""
    found = advice(t, airway_part(t, (), PlanSheet(lines=())), ())
    if found and found[0].priority != "low":
        return found[0].title.rstrip("."), found[0].priority
    late = next((d for d in due(t) if d.at <= t.now), None)
    if late is not None:
        return late.title, "low"
    if t.induced_at is None and (reasons := draft_reasons(t, 0)):
        return reasons[0], None
    return "", None


def _last(t: Told, name: str) -> Num:
    shape, seen = READINGS[name], t.current(name)
    if seen is None:
        return Num(text="—", unit=shape.printed_unit)
    return Num(text=seen.text, unit=shape.printed_unit, mark=seen.mark, at=seen.at, by=t.names.hand(seen.by))


def lane(t: Told, minutes: int | None) -> tuple[LanePart, ...]:
    """Sedated, asleep, waking, and how long is still expected; each part ends where the next begins."""
    sedated, asleep, waking = premedicated_at(t), t.induced_at, t.mark("agent off") or t.extubated_at
    parts: list[LanePart] = []
    if sedated is not None and (asleep is None or sedated < asleep):
        parts.append(LanePart(kind="sedated", from_at=sedated, to_at=asleep))
    if asleep is not None:
        parts.append(LanePart(kind="asleep", from_at=asleep, to_at=waking or t.ended_at))
    if waking is not None:
        parts.append(LanePart(kind="waking", from_at=waking, to_at=t.ended_at))
    start = asleep or t.opened.planned_at
    if minutes is not None and start is not None and waking is None and t.ended_at is None:
        end = start + timedelta(minutes=minutes)
        if end > t.now:
            parts.append(LanePart(kind="expected", from_at=max(start, t.now), to_at=end))
    return tuple(parts)
