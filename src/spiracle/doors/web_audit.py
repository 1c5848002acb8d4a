"""The web door's audit: what the hospital learns from its own log."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from spiracle.doors.own_book import OwnBook, days_of
from spiracle.doors.web_wire import answer

if TYPE_CHECKING:
    from datetime import date

    from spiracle.case.facts import Facts
    from spiracle.doors.log_store import LogStore
    from spiracle.sheets.inductions import OwnInductions


class AuditDoor:
    """The handlers, over one book."""

    def __init__(self, store: LogStore, facts: Facts) -> None:
        self.book = OwnBook(store, facts)

    async def get_inductions(self, request: Request) -> Response:
        first, last = days_of(request.query_params)
        return answer(await run_in_threadpool(self._inductions, first, last))

    def _inductions(self, first: date | None, last: date | None) -> OwnInductions:
        from spiracle.sheets.inductions import inductions_sheet

        return inductions_sheet(self.book.own(), self.book.facts, first, last, self.book.facts.kinetics.stated.rows)
