"""Telling every open page that a case grew: one bounded queue a page; a page that cannot keep up is let go and comes back."""

from __future__ import annotations

import asyncio
from collections import defaultdict
from collections.abc import AsyncIterator, Callable
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from spiracle.case.ledger import LEDGER
from spiracle.doors.log_store import LogStore

if TYPE_CHECKING:
    from spiracle.doors.monitor_hub import MonitorHub
    from spiracle.sheets.on_wave import OnWave

HOLDS, HOLDS_WAVES, BEAT_S = 64, 512, 15.0
EVERY_CASE = ""
BEAT = b": still here\n\n"


class Told(msgspec.Struct, frozen=True):
    """What a page hears: which case grew, and up to which place."""

    case: str
    seq: int


class Live:
    """The fan-out. `start` is called from the running loop; the store calls in from its own threads."""

    def __init__(self, store: LogStore, beat_s: float = BEAT_S, hub: MonitorHub | None = None) -> None:
        self._store, self._beat_s, self._hub = store, beat_s, hub
        self._ears: dict[str, set[asyncio.Queue[bytes | None]]] = defaultdict(set)
        self._latest: dict[str, int] = {}
        self._stop: Callable[[], None] | None = None
        self.over = False

    def start(self) -> None:
        self.over = False
        if self._stop is None:
            loop = asyncio.get_running_loop()

            def heard(case: str, seq: int) -> None:
                if not loop.is_closed():
                    loop.call_soon_threadsafe(self._tell, case, seq)

            self._stop = self._store.watch(heard)

    def stop(self) -> None:
        self.over = True
        if self._stop is not None:
            self._stop()
            self._stop = None
        for ears in self._ears.values():
            for ear in ears:
                _let_go(ear)

    def _tell(self, case: str, seq: int) -> None:
        if seq <= self._latest.get(case, 0):
            return  # told already: the writer says it, and the watcher says it again
        self._latest[case] = seq
        said = message(case, seq)
        for ear in (*self._ears.get(case, ()), *self._ears.get(EVERY_CASE, ())):
            try:
                ear.put_nowait(said)
            except asyncio.QueueFull:
                _let_go(ear)

    def on_wave(self, case: str, now: datetime) -> OnWave | None:
        """What stands on the case's live CO2 wave; None where none comes."""
        return None if self._hub is None else self._hub.on_wave(case, now)

    async def hear(self, case: str, first: bytes) -> AsyncIterator[bytes]:
        """The lines of one page's stream; `case` empty means every case. What the case's monitors send goes down the same line."""
        hub = None if case in {EVERY_CASE, LEDGER} else self._hub
        ear: asyncio.Queue[bytes | None] = asyncio.Queue(HOLDS if hub is None else HOLDS_WAVES)
        self._ears[case].add(ear)
        try:
            yield first
            if hub is not None:
                hub.listen(case, ear)
            while True:
                try:
                    said = ear.get_nowait() if not ear.empty() else await asyncio.wait_for(ear.get(), self._beat_s)
                except TimeoutError:
                    yield BEAT
                    continue
                more = [said]
                while said is not None and not ear.empty():  # what came at once goes out at once
                    more.append(said := ear.get_nowait())
                if lines := b"".join(x for x in more if x is not None):
                    yield lines
                if said is None:
                    return
        finally:
            if hub is not None:
                hub.leave(case, ear)
            self._ears[case].discard(ear)
            if not self._ears[case]:
                del self._ears[case]


def _let_go(ear: asyncio.Queue[bytes | None]) -> None:
    """End a stream, whatever still waits in it: the page connects again and asks for the case as a whole."""
    while not ear.empty():
        ear.get_nowait()
    ear.put_nowait(None)


def message(case: str, seq: int) -> bytes:
    return b"event: changed\ndata: " + msgspec.json.encode(Told(case, seq)) + b"\n\n"
