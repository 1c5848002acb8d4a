"""The record itself: strikes, artefacts, gaps, handing over, taking the tube out, and what a signature closes."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_people import need_words, person, someone_else
from spiracle.case.decide_protocols import may_be_struck
from spiracle.case.fold import Case, Line
from spiracle.case.ruling import Rules
from spiracle.case.standing import packs, signed, since_technician
from spiracle.case.tube import went_in
from spiracle.refusals import Contradiction, Missing, NotAllowed, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

EMERGENCY = (ev.ArrestBegan, ev.ArrestStepDone, ev.ArrestEnded, ev.HelpCalled, ev.HelpArrived)
AFTER_SIGNING = (ev.RecordAmended, ev.OutcomeNoted, ev.EntryStruck, ev.SheetPrinted, ev.GapExplained, *EMERGENCY)
BALANCED = (ev.SyringeDrawn, ev.DrugGiven, ev.DrugWasted, ev.DrugReturned, ev.ContainerReceived, ev.StockCounted)
AT_ONCE = timedelta(minutes=2)  # a wrong touch taken back by the hand that made it
CLOCKS = timedelta(minutes=5)  # two tablets may differ by this much
MARKABLE = (ev.ReadingTaken, ev.PressureTaken, ev.SignSeen)
SIGNERS = frozenset({"technician", "head of anaesthesia"})
DOSE = re.compile(
    r"\d(?:[.,]\d+)?\s*(?:mg|mcgs?|µg|μg|ug|ml|iu|meq|mmol|cc|units?|milligrams?|micrograms?|millilit(?:re|er)s?)"
    r"(?![\w/]*/[dl])\b(?:\s*/\s*\w+)*",
    re.IGNORECASE,
)


def closed(case: Case, event: ev.Event) -> None:
    """After the veterinarian signed, only amendments and what belongs to them; an emergency is never shut out."""
    if signed(case, "veterinarian") is None or isinstance(event, AFTER_SIGNING):
        return
    if getattr(event, "emergency", False):
        return
    raise NotAllowed("record", "was signed by the veterinarian.", "Add it as an amendment.")


def entry_struck(case: Case, event: ev.EntryStruck, facts: Facts, _now: datetime) -> None:
    line = _target(case, event.target)
    if event.happened_at < line.event.happened_at - CLOCKS:
        raise Contradiction("happened at", "is before the entry it strikes.", "Give the time it was struck.")
    need_words(event.reason, "reason", "Say in a few words what was wrong.")
    target = line.event
    may_be_struck(case, event, target, facts)
    if isinstance(target, ev.CaseOpened):
        raise NotAllowed("target", "the opening of a case is not struck.", "Open a new case.")
    if isinstance(target, ev.RecordSigned | ev.RecordAmended):
        raise NotAllowed("target", "a signature or an amendment is not struck.", "Add an amendment.")
    if isinstance(target, ev.EntryStruck):
        struck = case.line(target.target)
        if struck is not None and isinstance(struck.event, ev.EntryStruck):
            raise NotAllowed("target", "is a strike of a strike.", "Strike the entry itself.")
    if line.struck is not None:
        raise Contradiction("target", "was struck already.", "Nothing more is needed.")
    _balance(case, event, target, facts)


def _balance(case: Case, event: ev.EntryStruck, target: ev.Event, facts: Facts) -> None:
    """What went out of a syringe is struck before the syringe; a controlled drug before a second pair of eyes."""
    if isinstance(target, ev.SyringeDrawn):
        names = {g.syringe for g in case.live(ev.DrugGiven)} | {w.syringe for w in case.live(ev.DrugWasted)}
        names |= {i.syringe for i in case.live(ev.InfusionStarted)}
        if target.syringe in names | {r.syringe for r in case.live(ev.DrugReturned)}:
            raise Contradiction(
                "target", f"drug was taken from {target.syringe}.", "Strike what was taken from it first."
            )
    if isinstance(target, ev.BagMixed) and target.bag in {i.bag for i in case.live(ev.InfusionStarted)}:
        raise Contradiction("target", f"{target.bag} was run.", "Strike the infusion that ran from it first.")
    if event.seen_by:
        someone_else(facts, event.seen_by, event.by, "seen by")
    if not isinstance(target, BALANCED) or not facts.drugs.controlled_class(target.drug):
        return
    at_once = event.by == target.by and event.recorded_at - target.recorded_at <= AT_ONCE
    if not event.seen_by and not at_once:
        raise Missing("seen by", f"{target.drug} is a controlled drug.", "Name the second person who knows of it.")


def artefact_marked(case: Case, event: ev.ArtefactMarked, _facts: Facts, _now: datetime) -> None:
    line = _target(case, event.target)
    if not isinstance(line.event, MARKABLE):
        raise NotAllowed("target", "is not a reading.", "Strike the entry if it is wrong.")
    if line.struck is not None:
        raise Contradiction("target", "was struck.", "Nothing more is needed.")
    if line.artefact is not None:
        raise Contradiction("target", "is marked already.", "Nothing more is needed.")


def _target(case: Case, id_: str) -> Line:
    line = case.line(id_)
    if line is None:
        raise Unknown("target", f"{id_[:60]!r} is not an entry of this case.", "Choose the entry again.")
    return line


def note_written(_case: Case, event: ev.NoteWritten, _facts: Facts, _now: datetime) -> None:
    need_words(event.text, "note", "Write something.")
    found = DOSE.search(event.text)
    if found:
        raise NotAllowed("note", f"{found[0]!r} is a dose: in a note nothing checks or adds it.",
                         "Enter a drug, fluid or loss as itself; leave the number out of the note.")  # fmt: skip


def gap_explained(_case: Case, event: ev.GapExplained, _facts: Facts, _now: datetime) -> None:
    known = {code for kind in ev.every_event() for code in kind.covers}
    if event.element.split(" ")[0] not in known:  # "F4 09:15" and "I3 s2" name one row or one syringe of an element
        raise Unknown("element", f"{event.element[:20]!r} is not an element of the record.", "Choose one of the gaps.")
    need_words(event.reason, "reason", "Say why it is not there.")


def sheet_printed(_case: Case, event: ev.SheetPrinted, _facts: Facts, _now: datetime) -> None:
    need_words(event.print_id, "print", "Give the id on the print.")


def handed_over(_case: Case, event: ev.HandedOver, facts: Facts, _now: datetime) -> None:
    someone_else(facts, event.to, event.by, "to")


def extubated(case: Case, event: ev.Extubated, _facts: Facts, _now: datetime) -> None:
    """Every pack that went in is out, and no line of the card is open; or it is said why the tube came out anyway."""
    if went_in(case) is None and case.live(ev.Extubated):
        raise Contradiction(
            "tube", "came out already.", "Note the tube that went in since, or strike the earlier entry."
        )
    inside, out = packs(case)
    if inside != out and not event.reason.strip():
        raise NotAllowed(
            "packs", f"{inside} went in, {out} came out.", "Find them and mark them out, or say why the tube is out."
        )
    if event.open_lines and not event.reason.strip():
        raise Missing(
            "reason", f"{len(event.open_lines)} lines of the card are open.", "Say why the tube came out anyway."
        )


def record_signed(case: Case, event: ev.RecordSigned, facts: Facts, _now: datetime) -> None:
    """The technician first, the veterinarian after; each by their own hand, once."""
    if event.role == "veterinarian":
        if not facts.hospital.is_veterinarian(event.by):
            raise NotAllowed("hand", "is not a veterinarian.", "Let the veterinarian sign.")
        _covered(case, event)
    elif facts.hospital.person(event.by).role not in SIGNERS:
        raise NotAllowed("hand", "does not sign as technician.", "Let the technician in charge sign.")
    if signed(case, event.role) is not None and not (event.role == "technician" and since_technician(case)):
        raise NotAllowed("role", f"the {event.role} has signed.", "Add an amendment.")


def _covered(case: Case, event: ev.RecordSigned) -> None:
    """The veterinarian signs what the technician signed, all of it."""
    first, later = signed(case, "technician"), since_technician(case)
    if first is None:
        raise NotAllowed("role", "the technician has not signed yet.", "Let the technician sign first.")
    if event.happened_at < first.happened_at:
        raise Contradiction("happened at", "is before the technician signed.", "Give the time it was signed.")
    if later:
        raise NotAllowed(
            "role", f"{len(later)} entries came after the technician signed.", "Let the technician sign again."
        )


def arrest_ended(case: Case, event: ev.ArrestEnded, _facts: Facts, _now: datetime) -> None:
    began = case.last(ev.ArrestBegan)
    if began is None or event.happened_at < began.happened_at:
        raise Contradiction("arrest", "had not begun then.", "Note when it began.")


def record_amended(case: Case, event: ev.RecordAmended, _facts: Facts, _now: datetime) -> None:
    if signed(case, "technician") is None and signed(case, "veterinarian") is None:
        raise NotAllowed("record", "is not signed, so nothing is amended.", "Enter it, or strike what was wrong.")
    need_words(event.text, "text", "Say what is added or corrected.")
    need_words(event.reason, "reason", "Say why.")
    if event.target:
        _target(case, event.target)


def hand_only(_case: Case, event: ev.Event, facts: Facts, _now: datetime) -> None:
    """Entries of which nothing is asked beyond a known hand."""
    if event.by != "unknown":
        person(facts, event.by, "hand")


RULES: Rules = {
    ev.EntryStruck: entry_struck,
    ev.ArtefactMarked: artefact_marked,
    ev.NoteWritten: note_written,
    ev.GapExplained: gap_explained,
    ev.SheetPrinted: sheet_printed,
    ev.HandedOver: handed_over,
    ev.Extubated: extubated,
    ev.RecordSigned: record_signed,
    ev.RecordAmended: record_amended,
    ev.ArrestBegan: hand_only,
    ev.ArrestEnded: arrest_ended,
    ev.HelpCalled: hand_only,
    ev.HelpArrived: hand_only,
    ev.AnalgesiaPlanned: hand_only,
    ev.Discharged: hand_only,
    ev.OutcomeNoted: hand_only,
    ev.EffectNoted: hand_only,
}
