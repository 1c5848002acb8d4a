"""Questions an entry may be asked, each answered by itself: a yes to one is no yes to what was not asked yet.

Carries U4, U9. The answer is the question's own sentence, sent back with the same entry; so the record holds what was asked.
An entry confirmed without sentences (older records, scripts) was confirmed as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from spiracle.case.fold import Case
from spiracle.case.standing import troubled
from spiracle.refusals import AskAgain, OverLimit, Refusal


class Answering(Protocol):
    """An entry that can say yes: in all, and to which sentences."""

    @property
    def confirmed(self) -> bool: ...
    @property
    def answered(self) -> tuple[str, ...]: ...


def answers(event: Answering, question: AskAgain) -> bool:
    return event.confirmed and (not event.answered or question.says in event.answered)


@contextmanager
def asking(event: Answering) -> Iterator[None]:
    """What is asked inside is passed over once this entry has answered it. One question to a block: the rest of it is skipped."""
    try:
        yield
    except AskAgain as question:
        if not answers(event, question):
            raise


@contextmanager
def asks_instead(
    event: Answering, accepts: str = "Give less, or confirm it.", stop: type[Refusal] = OverLimit
) -> Iterator[None]:
    """What would stop the entry is asked about instead: where nothing may wait for a limit. The rest of the block is skipped too."""
    try:
        yield
    except stop as over:
        with asking(event):
            raise AskAgain(over.field, over.says, accepts) from over


@contextmanager
def kept_unless_trouble(case: Case, event: Answering, stop: type[Refusal] = OverLimit) -> Iterator[None]:
    """What stops a drug in a planned case is a question while there is trouble."""
    if not troubled(case):
        yield
        return
    with asks_instead(event, "Choose another drug, or confirm it.", stop):
        yield
