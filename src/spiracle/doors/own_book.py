"""The hospital's own log read as a book of cases for the audit. A case is read again only when it has grown."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from spiracle.case.fold import fold
from spiracle.case.ledger import LEDGER
from spiracle.refusals import Contradiction, NotOneOf

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.doors.log_store import LogStore
    from spiracle.sheets.inductions import OneRead, Own


class OwnBook:
    """The inductions of one log, kept as far as they were read."""

    def __init__(self, store: LogStore, facts: Facts) -> None:
        self.store, self.facts = store, facts
        self._kept: dict[str, tuple[int, OneRead]] = {}
        self._lock = threading.Lock()

    def own(self) -> Own:
        """All of them now. The first time reads the whole log, later ones the cases that grew since."""
        from spiracle.sheets.inductions import own_of, read_one

        with self._lock:
            for row in self.store.case_rows():
                kept = self._kept.get(row.case)
                if row.case != LEDGER and (kept is None or kept[0] != row.seq):
                    # not through `store.case`: a whole log would push the day's own cases out of what it keeps
                    self._kept[row.case] = row.seq, read_one(fold(self.store.entries(row.case)), self.facts)
            return own_of(read for _, read in self._kept.values())


def days_of(asked: Mapping[str, str | None]) -> tuple[date | None, date | None]:
    """The days asked for by `from` and `to`, both counted; either may be left open."""
    first, last = (_day(asked.get(name), name) for name in ("from", "to"))
    if first is not None and last is not None and last < first:
        raise Contradiction("to", f"{last} is before {first}.", "Give the later day as `to`.")
    return first, last


def _day(text: str | None, field: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as fault:
        raise NotOneOf(field, f"{text[:40]!r} is no day.", "Write it like 2026-03-31.") from fault
