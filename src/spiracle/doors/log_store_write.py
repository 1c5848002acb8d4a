"""Letting entries in: fold the case, decide, append; and if somebody wrote meanwhile, fold and decide again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from spiracle.case.decide import decide
from spiracle.case.events import (
    DrugOrdered,
    Entry,
    EntryStruck,
    Event,
    MachineAssigned,
    MonitorPaired,
    PressureTaken,
    ProtocolStarted,
    ReadingTaken,
)
from spiracle.case.fold import Case, fold
from spiracle.case.ledger import LEDGER
from spiracle.case.machines import machine_book
from spiracle.case.pairing import other_case
from spiracle.case.protocols import protocols
from spiracle.doors.clock import Clock
from spiracle.doors.log_store_writer import Overtaken
from spiracle.refusals import IdTaken, Refusal
from spiracle.sheets.shapes import Answer, Answers, Refused

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.doors.log_store import LogStore

TRIES = 50
# Entries that may rest on a protocol or on a machine's book; a strike may give such an entry back.
FROM_LEDGER = (DrugOrdered, EntryStruck, MachineAssigned, ProtocolStarted)
FROM_OTHERS = (EntryStruck, MonitorPaired)  # a monitor is on one patient: whether another open case has it
OF_A_DEVICE = (PressureTaken, ReadingTaken)
ENDED_FOR = timedelta(hours=24)


def shape_of(refusal: Refusal) -> Refused:
    """A refusal as a page gets it."""
    return Refused(name=refusal.name, field=refusal.field, says=refusal.says, accepts=refusal.accepts, use=refusal.use)


def write(store: LogStore, facts: Facts, clock: Clock, case: str, events: Sequence[Event | Answer]) -> Answers:
    """One answer per event, in order. An `Answer` among the events (one that could not be read) is passed through."""
    answers = tuple(e if isinstance(e, Answer) else _write_one(store, facts, clock, case, e) for e in events)
    return Answers(answers=answers, seq=store.case(case)[1])


def with_ledger(facts: Facts, store: LogStore, case: str) -> Facts:
    """Deciding is given facts alone: for a patient's case the hospital's protocols and the book of its machines are laid in, as
    the ledger has them now."""
    if case == LEDGER:
        return facts
    ledger = store.case(LEDGER)[0]
    return replace(facts, protocols=protocols(ledger), machines=machine_book(ledger))


def with_others(facts: Facts, store: LogStore, case: str, now: datetime) -> Facts:
    """The other open cases laid in: who has which monitor. Those with a monitor are all of them, however old."""
    since = now - ENDED_FOR
    found = dict.fromkeys((*store.open_cases(since), *store.paired_cases(since)))
    others = (c for c in found if c not in {case, LEDGER})
    return replace(facts, other_cases=tuple(other_case(c, store.case(c)[0]) for c in others))


def _asks_others(event: Event | Answer) -> bool:
    """Whether the other open cases have a say: who has which monitor."""
    return isinstance(event, FROM_OTHERS) or (isinstance(event, OF_A_DEVICE) and event.source == "device")


def _write_one(store: LogStore, facts: Facts, clock: Clock, case: str, event: Event) -> Answer:
    for _ in range(TRIES):
        folded, seq = store.case(case)
        if isinstance(event, FROM_LEDGER):
            facts = with_ledger(facts, store, case)
        if _asks_others(event):
            facts = with_others(facts, store, case, clock.now())
        try:
            known = _known(folded, event)
            if known is not None:
                return Answer(id=event.id, written=True, seq=known.seq)
            entries = store.append(case, decide(folded, event, facts, clock.now()), seq)
        except Overtaken:
            continue
        except Refusal as refusal:
            return Answer(id=event.id, written=False, refused=shape_of(refusal))
        return Answer(id=event.id, written=True, seq=entries[0].seq)
    raise TimeoutError(f"case {case} is being written to without a pause")


def _known(case: Case, event: Event) -> Entry | None:
    """The entry this event became when it was sent before; the same id with other content is refused."""
    line = case.line(event.id)
    if line is None:
        return None
    if line.event != event:
        raise IdTaken("id", f"{event.id} already stands for something else.", "Give a new entry a new id.")
    return line.entry


def _not_elsewhere(store: LogStore, event: Event) -> None:
    """An id that stands in another case would be refused when it is written."""
    found = store.find(event.id)
    if found is not None and found[1].event != event:
        raise IdTaken("id", f"{event.id} already stands for something else.", "Give a new entry a new id.")


def would(store: LogStore, facts: Facts, clock: Clock, case: str, events: Sequence[Event | Answer]) -> Answers:
    """What `write` would answer, each event decided as if those before it had been written. Nothing is."""
    folded, seq = store.case(case)
    facts = with_ledger(facts, store, case)
    if any(_asks_others(e) for e in events):
        facts = with_others(facts, store, case, clock.now())
    entries, answers = [line.entry for line in folded.lines], []
    for event in events:
        if isinstance(event, Answer):
            answers.append(event)
            continue
        try:
            known = _known(folded, event)
            _not_elsewhere(store, event)
            lawful = () if known is not None else decide(folded, event, facts, clock.now())
        except Refusal as refusal:
            answers.append(Answer(id=event.id, written=False, refused=shape_of(refusal)))
            continue
        entries += [Entry(seq + 1 + n, clock.now(), e) for n, e in enumerate(lawful)]
        folded = fold(entries) if lawful else folded
        answers.append(Answer(id=event.id, written=False, seq=known.seq if known is not None else None))
    return Answers(answers=tuple(answers), seq=seq)
