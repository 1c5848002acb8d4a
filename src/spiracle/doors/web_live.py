"""What monitors say, for pages: which ones are heard, and what was kept, played again. The live line itself is the case's own."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from spiracle.doors.live import Live
from spiracle.doors.log_store import LogStore
from spiracle.doors.web_wire import Turned, answer
from spiracle.refusals import Missing, NotAllowed, NotAQuantity, OutOfRange, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.doors.monitor_hub import MonitorHub
    from spiracle.doors.monitor_replay import Replay
    from spiracle.doors.waves.archive import WaveArchive

SLOWEST, FASTEST = 1, 60
SSE = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}


class MonitorDoor:
    """Without a hub there is no monitor to list, and without an archive nothing to replay."""

    def __init__(
        self, hub: MonitorHub | None, archive: WaveArchive | None, store: LogStore, facts: Facts, live: Live
    ) -> None:
        self._hub, self._archive, self._store, self._facts, self._live = hub, archive, store, facts, live

    async def get_monitors(self, _request: Request) -> Response:
        return answer([] if self._hub is None else await run_in_threadpool(self._hub.candidates))

    async def get_replay(self, request: Request) -> Response:
        asked = request.query_params
        start, speed = moment_of(asked.get("from", "")), speed_of(asked.get("speed", "1"))
        played = await run_in_threadpool(self._replay, request.path_params["case"], start, speed)
        return StreamingResponse(played.lines(lambda: self._live.over), media_type="text/event-stream", headers=SSE)

    def _replay(self, case: str, start: datetime, speed: int) -> Replay:
        from spiracle.doors.monitor_replay import Replay, every_pairing

        folded, seq = self._store.case(case)
        if not seq:
            raise Turned(404, Unknown("case", f"{case[:60]!r} is not in the log.", "Open it first."))
        held = () if self._archive is None else self._archive.waves(case)
        if self._archive is None or not held:
            raise Turned(
                404, Missing("replay", "nothing that a monitor sent was kept of this case.", "Pair a monitor first.")
            )
        end = max(h.until for h in held)
        if start >= end:
            raise NotAllowed(
                "from", f"what was kept ends at {end.astimezone(self._facts.zone):%H:%M:%S}.", "Begin before that."
            )
        first = min(h.first_at for h in held)
        return Replay(self._archive, every_pairing(case, folded), self._facts, max(start, first), end, speed)


def moment_of(text: str) -> datetime:
    """An ISO 8601 time with its zone. A plus sign that a careless writer left bare in the address comes as a blank."""
    try:
        at = datetime.fromisoformat(text.replace(" ", "+"))
    except ValueError:
        raise NotAQuantity("from", f"{text[:40]!r} is no time.", "Write it like 2026-03-12T10:14:58Z.") from None
    if at.tzinfo is None:
        raise Missing("from", f"{text[:40]!r} has no time zone.", "Write it like 2026-03-12T10:14:58Z.")
    return at


def speed_of(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,2}", text):
        raise NotAQuantity("speed", f"{text[:20]!r} is not a whole number.", f"Give {SLOWEST} to {FASTEST}.")
    if not SLOWEST <= int(text) <= FASTEST:
        raise OutOfRange("speed", f"{int(text)} times is not played.", f"Give {SLOWEST} to {FASTEST}.")
    return int(text)
