"""What holds for every entry whatever it says: well-formed ids, numbers, times and words, an open case, a known hand."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from uuid import UUID

import msgspec

from spiracle.case.events import (
    ArrestBegan,
    ArrestEnded,
    ArrestStepDone,
    CaseOpened,
    EntryStruck,
    Event,
    HelpCalled,
)
from spiracle.case.fold import Case
from spiracle.case.ledger import LEDGER, OF_THE_HOUSE
from spiracle.case.standing import is_emergency, opened
from spiracle.refusals import Contradiction, Missing, NotAllowed, NotAQuantity, OutOfRange, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

AHEAD = timedelta(minutes=5)  # how far two clocks may differ before an entry is "in the future"
BEFORE = timedelta(hours=48)  # how long before opening something may have happened that is entered as an event
LARGEST, PLACES = Decimal(10_000_000), 9
WORDS, LINES, LONG = 200, 4000, frozenset({"text", "note", "history", "detail", "reason", "instructions", "statement",
                                          "problem", "plan", "concerns", "raw", "trouble", "description"})  # fmt: skip
MANY = 200
APART = timedelta(hours=48)  # how far the clocks may differ for an urgent entry: it is kept, and both clocks with it
TAKEN_BACK = timedelta(minutes=10)  # how long somebody unnamed may take back an urgent touch of their own
URGENT = (ArrestBegan, ArrestStepDone, ArrestEnded, HelpCalled)
NOBODY = "unknown"  # the hand of an emergency entry whose writer is named later


def check(case: Case, event: Event, facts: Facts, now: datetime) -> None:
    """Every rule of form, cheapest first."""
    _ids(event)
    for name in _fields(type(event)):
        _value(name, getattr(event, name))
    _open_case(case, event)
    _times(case, event, now)
    _hand(case, event, facts)


@lru_cache(maxsize=256)
def _fields(kind: type[Event]) -> tuple[str, ...]:
    return tuple(f.name for f in msgspec.structs.fields(kind))


def title(name: str) -> str:
    """A field's name as people say it."""
    return name.removesuffix("_kg").removesuffix("_ml").removesuffix("_c").replace("_", " ")


def _ids(event: Event) -> None:
    for name in ("id", "case"):
        text = getattr(event, name)
        try:
            sound = str(UUID(text)) == text
        except ValueError:
            sound = False
        if not sound:
            raise Unknown(name, f"{text[:60]!r} is not a UUID in lower case.", "Give the id the tablet made.")


def _value(name: str, value: Any) -> None:
    match value:
        case bool() | None:
            return
        case Decimal() | int():
            _number(name, Decimal(value))
        case str():
            _words(name, value)
        case datetime():
            _zoned(name, value)
        case tuple():
            if len(value) > MANY:
                raise OutOfRange(title(name), f"{len(value)} items are too many.", f"Give at most {MANY}.")
            for item in value:
                _value(name, item)
        case msgspec.Struct():
            for field in msgspec.structs.fields(type(value)):
                _value(field.name, getattr(value, field.name))


def _number(name: str, value: Decimal) -> None:
    if not value.is_finite():
        raise NotAQuantity(title(name), f"{value} is not a number.", "Give a plain number.")
    exponent = value.as_tuple().exponent
    if value < 0:
        raise OutOfRange(title(name), f"{value} is below zero.", "Give zero or more.")
    if value.adjusted() > 8 or value > LARGEST or not isinstance(exponent, int) or exponent < -PLACES:
        raise OutOfRange(title(name), "has more digits than any scale, syringe or monitor shows.",
                         f"Give at most {PLACES} decimals and no more than {LARGEST:,f}.")  # fmt: skip


def _words(name: str, text: str) -> None:
    most = LINES if name in LONG else WORDS
    if len(text) > most:
        raise OutOfRange(title(name), f"has {len(text):,} characters.", f"Write at most {most:,}.")
    if any(_invisible(c) for c in text):
        raise NotAllowed(title(name), "holds invisible control characters.", "Type the words again.")


def _invisible(c: str) -> bool:
    """Control characters, half a surrogate pair, and the marks that turn the direction of reading round."""
    if c in "\n\t":
        return False
    return unicodedata.category(c) in {"Cc", "Cs"} or "\u202a" <= c <= "\u202e" or "\u2066" <= c <= "\u2069"


def _zoned(name: str, at: datetime) -> None:
    if at.tzinfo is None:
        raise Missing(title(name), f"{at.isoformat()} has no time zone.", "Give the time with its zone.")
    if not 2000 <= at.year <= 2100:
        raise OutOfRange(title(name), f"the year {at.year} is no year of this case.", "Give the date again.")


def _open_case(case: Case, event: Event) -> None:
    """A patient's entries go to a case that was opened for it, the hospital's own to its ledger, and never the other way."""
    if _the_house(case, event):
        return
    first = opened(case)
    if isinstance(event, CaseOpened):
        if first is not None:
            raise NotAllowed("case", "is open already.", "Open another case under a new id.")
    elif first is None:
        raise Missing("case", "was not opened yet.", "Open the case first, with the species.")
    elif first.case != event.case:
        raise Contradiction("case", f"this entry belongs to case {event.case}.", "Send it to its own case.")


def _the_house(case: Case, event: Event) -> bool:
    """Whether this entry goes to the hospital's ledger, which nobody opens; an entry in the wrong place is refused."""
    if event.case != LEDGER:
        if isinstance(event, OF_THE_HOUSE):
            raise NotAllowed("case", "is a patient's; this entry belongs in the hospital's ledger.",
                             "Send it to the ledger.")  # fmt: skip
        return False
    if not isinstance(event, (*OF_THE_HOUSE, EntryStruck)):
        raise NotAllowed("case", "is the hospital's ledger, no patient.", "Send it to the patient's case.")
    strange = next((line.event.case for line in case.lines if line.event.case != LEDGER), None)
    if strange is not None:
        raise Contradiction(
            "case", f"this entry belongs to the ledger, not to case {strange}.", "Send it to the ledger."
        )
    return True


def urgent(event: Event) -> bool:
    """Arrest, a call for help, a rescue dose: never shut out by a missing name or a wrong clock."""
    return isinstance(event, URGENT) or getattr(event, "emergency", None) is True


def _times(case: Case, event: Event, now: datetime) -> None:
    if urgent(event):
        if abs(event.happened_at - now) > APART or abs(event.recorded_at - now) > APART:
            raise OutOfRange("happened at", f"{_clock(event.happened_at)} is not this day; here it is {_clock(now)}.",
                             "Set the tablet's clock.")  # fmt: skip
        return
    for name in ("happened_at", "recorded_at"):
        at: datetime = getattr(event, name)
        if at > now + AHEAD:
            raise OutOfRange(title(name), f"{_clock(at)} lies in the future; here it is {_clock(now)}.",
                             "Check the tablet's clock, or give the time it happened.")  # fmt: skip
    if event.happened_at > event.recorded_at + AHEAD:
        raise Contradiction("happened at", "is later than the entry was made.", "Give the time it happened.")
    first = opened(case)
    if first is not None and event.happened_at < first.happened_at - BEFORE:
        raise OutOfRange("happened at", f"{_clock(event.happened_at)} is more than 48 h before the case was opened.",
                         "Enter older things as history.")  # fmt: skip


def _clock(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def _hand(case: Case, event: Event, facts: Facts) -> None:
    emergency = is_emergency(case) or (isinstance(event, CaseOpened) and event.kind == "emergency")
    if event.by == NOBODY and (emergency or urgent(event) or _takes_back(case, event)):
        return
    if not event.by:
        raise Missing("hand", "nobody is named as acting.", "Choose who is acting.")
    facts.hospital.person(event.by)


def _takes_back(case: Case, event: Event) -> bool:
    """An unnamed hand strikes its own urgent entry of the last minutes, and nothing else."""
    line = case.line(event.target) if isinstance(event, EntryStruck) else None
    if line is None or line.event.by != NOBODY or not urgent(line.event):
        return False
    return event.recorded_at - line.event.recorded_at <= TAKEN_BACK
