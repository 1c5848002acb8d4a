"""Which monitors are on this patient now. A person said so for each of them, and nothing else says it: no room, no name."""

from __future__ import annotations

from dataclasses import dataclass

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.standing import ended_at, opened


def pairings(case: Case) -> tuple[ev.MonitorPaired, ...]:
    """The latest pairing of every monitor that is still on, the first paired first.

    A monitor that was taken off stays off until somebody pairs it again, also where the entry that took it off is struck: its
    numbers may have been another patient's since. When the case is over, nothing is on it any more.
    """
    if ended_at(case) is not None:
        return ()
    steps = [line for line in case.every(ev.MonitorPaired) if line.struck is None]
    steps += case.every(ev.MonitorUnpaired)
    on: dict[str, ev.MonitorPaired] = {}
    for line in sorted(steps, key=lambda x: (x.event.happened_at, x.event.recorded_at, x.entry.seq)):
        step = line.event
        if isinstance(step, ev.MonitorPaired):
            on[step.monitor] = step
        elif isinstance(step, ev.MonitorUnpaired):
            on.pop(step.monitor, None)
    return tuple(on.values())


def paired_now(case: Case, monitor: str) -> ev.MonitorPaired | None:
    return next((p for p in pairings(case) if p.monitor == monitor), None)


@dataclass(frozen=True, slots=True)
class OtherCase:
    """Another open case, as far as a pairing has to know it: what it is called, its number, the monitors that are on it."""

    case: str
    words: str
    number: str
    monitors: frozenset[str]


def other_case(id_: str, case: Case) -> OtherCase:
    first = opened(case)
    name, number, room = ("", "", "") if first is None else (first.name, first.number, first.room)
    words = " ".join(w for w in (name, number) if w) or f"case {id_[:8]}"
    return OtherCase(id_, f"{words} in {room}" if room else words, number, frozenset(p.monitor for p in pairings(case)))
