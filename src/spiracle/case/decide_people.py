"""Whose word it is: people of the hospital, and what only a veterinarian may say."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.quantity import Quantity, figure
from spiracle.refusals import Contradiction, Missing, NotAllowed, OverLimit

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

TWICE = Decimal(2)
OWN_HAND = "Give less, or the veterinarian who wants it enters it with their own hand and says why."


def person(facts: Facts, id_: str, field: str) -> None:
    """A named person of the hospital."""
    if not id_.strip():
        raise Missing(field, "nobody is named.", "Choose a person.")
    facts.hospital.person(id_)


def someone_else(facts: Facts, id_: str, by: str, field: str) -> None:
    """A second pair of eyes is not the first one again."""
    person(facts, id_, field)
    if id_ == by:
        raise Contradiction(field, "is the same person.", "Name a second person.")


def veterinarian(facts: Facts, id_: str, field: str) -> None:
    person(facts, id_, field)
    if not facts.hospital.is_veterinarian(id_):
        name = facts.hospital.person(id_).name
        raise NotAllowed(field, f"{name} is not a veterinarian.", "Name the veterinarian whose word it is.")


def word_of(facts: Facts, named: str, by: str, field: str) -> None:
    """A veterinarian's word: the one named, or the acting hand where nobody is named."""
    veterinarian(facts, named or by, field)


def said(facts: Facts, said_by: str, reason: str) -> bool:
    """Whether a veterinarian said so with a reason. A name without a reason, or of someone else, is refused."""
    if not said_by:
        return False
    veterinarian(facts, said_by, "said by")
    if not reason.strip():
        raise Missing("reason", "is not given.", "Write in a few words why.")
    return True


def own_hand(by: str, said_by: str, at: Quantity, stop: Quantity, what: str = "dose") -> None:
    """Beyond twice a hard stop a named veterinarian is not enough: they enter it with their own hand. `at` and `stop` in like
    units. Emergencies never come here.
    """
    if by == said_by or at <= Quantity(stop.value * TWICE, stop.unit):
        return
    raise OverLimit(what, f"{_short(at)} is more than twice the hard stop of {_short(stop)}.", OWN_HAND)


def _short(value: Quantity) -> str:
    return f"{figure(value.value, 4)} {value.unit}"


def need_words(text: str, field: str, accepts: str) -> None:
    if not text.strip():
        raise Missing(field, "is empty.", accepts)
