"""One sentence for each kind of event: what the log shows, what the print says, what a handover repeats.

Facts stand in the past tense or as a bare finding. Time, hand and device stand beside the sentence, not in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from spiracle.case.events import Event
from spiracle.sheets import words_after, words_before, words_drugs, words_during, words_machine
from spiracle.sheets.names import Names, capital

Say = Callable[[Any, Names], str]
SAYS: Mapping[type[Event], Say] = {
    **words_before.SAYS,
    **words_drugs.SAYS,
    **words_machine.SAYS,
    **words_during.SAYS,
    **words_after.SAYS,
}
NO_NAMES = Names()


def words(event: Event, names: Names = NO_NAMES) -> str:
    """The event as one sentence, first letter large, no full stop."""
    return capital(SAYS[type(event)](event, names))


def kind(event: Event) -> str:
    return type(event).__name__
