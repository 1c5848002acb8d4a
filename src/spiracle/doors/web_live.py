"""What monitors say, for pages: which ones are heard, and what was kept, played again. The live line itself is the case's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from spiracle.doors.clock import Clock
from spiracle.doors.log_store import LogStore
from spiracle.doors.web_wire import Turned, answer
from spiracle.refusals import NotAllowed

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.doors.monitor_hub import MonitorHub


class MonitorDoor:
    """Without a hub there is no monitor to list and nothing to replay."""

    def __init__(self, hub: MonitorHub | None, store: LogStore, facts: Facts, clock: Clock) -> None:
        self._hub, self._store, self._facts, self._clock = hub, store, facts, clock

    async def get_monitors(self, _request: Request) -> Response:
        return answer([] if self._hub is None else await run_in_threadpool(self._hub.candidates))

    async def get_replay(self, _request: Request) -> Response:
        raise Turned(404, NotAllowed("replay", "nothing was kept here.", "Serve with an archive."))
