"""Named protocols of the hospital: written by one, approved by a veterinarian who did not write it, and started from."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_people import need_words, veterinarian
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def protocol_written(_case: Case, event: ev.ProtocolWritten, _facts: Facts, _now: datetime) -> None:
    need_words(event.protocol, "protocol", "Give the protocol an id.")
    need_words(event.title, "title", "Give the protocol a name.")


def protocol_approved(_case: Case, event: ev.ProtocolApproved, facts: Facts, _now: datetime) -> None:
    veterinarian(facts, event.by, "hand")


def protocol_retired(_case: Case, event: ev.ProtocolRetired, facts: Facts, _now: datetime) -> None:
    veterinarian(facts, event.by, "hand")
    need_words(event.reason, "reason", "Write in a few words why.")


def protocol_started(_case: Case, event: ev.ProtocolStarted, _facts: Facts, _now: datetime) -> None:
    need_words(event.protocol, "protocol", "Choose a protocol.")


RULES: Rules = {
    ev.ProtocolWritten: protocol_written,
    ev.ProtocolApproved: protocol_approved,
    ev.ProtocolRetired: protocol_retired,
    ev.ProtocolStarted: protocol_started,
}
