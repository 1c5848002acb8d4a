"""A case's waves and numbers played again out of the archive, at once to sixty times as fast. Nothing of it is ever now, and it says so."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import cast

from starlette.concurrency import run_in_threadpool

from spiracle.case.events import MonitorPaired
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.doors.monitor_breaths import Readers
from spiracle.doors.monitor_places import Placed
from spiracle.doors.monitor_rooms import Meta, Room, meta_of, sent
from spiracle.doors.waves.archive import WaveArchive
from spiracle.doors.waves.replay import replay
from spiracle.doors.waves.shapes import KeptNumber, Packet, Played
from spiracle.monitors.heard import Number, Standing, Wave
from spiracle.sheets.live_sheet import live_state

TURN_S, STATE_S, BEAT_S = 0.1, 0.5, 15.0
BEAT = b": still here\n\n"


def every_pairing(id_: str, case: Case) -> Meta:
    """The case with all monitors that were ever on it, each from its first pairing."""
    first: dict[str, MonitorPaired] = {}
    for pairing in case.live(MonitorPaired):
        first.setdefault(pairing.monitor, pairing)
    return replace(meta_of(id_, case), pairings=tuple(first.values()))


class Replay:
    """One page's replay. `lines` waits as the samples did, over `speed`."""

    def __init__(
        self, archive: WaveArchive, meta: Meta, facts: Facts, start: datetime, end: datetime, speed: int
    ) -> None:
        self._start, self._end, self._speed = start, end, speed
        self._room = Room(meta, facts, Readers(archive))
        self._played: Iterator[Played] = replay(archive, meta.case, start, end)
        self._ahead: Played | None = None
        self._counts: dict[tuple[str, str], tuple[int, datetime]] = {}
        self._over = False

    async def lines(self, stopped: Callable[[], bool]) -> AsyncIterator[bytes]:
        loop = asyncio.get_running_loop()
        began = told = loop.time()
        yield self._state(self._start)
        while not self._over and not stopped():
            await asyncio.sleep(TURN_S)
            now = loop.time()
            at = min(self._start + timedelta(seconds=(now - began) * self._speed), self._end)
            said = await run_in_threadpool(self.until, at)
            if now - told >= STATE_S or self._over:
                told = now
                said += self._state(at)
            if said:
                yield said
        quiet = 0.0
        while not stopped():  # a line that ended would be opened again, and begin from the beginning
            await asyncio.sleep(TURN_S)
            quiet += TURN_S
            if quiet >= BEAT_S:
                quiet = 0.0
                yield BEAT

    def until(self, at: datetime) -> bytes:
        """All that was over by a moment."""
        said: list[bytes] = []
        target = (at - self._start).total_seconds()
        while True:
            played = self._ahead if self._ahead is not None else next(self._played, None)
            self._ahead = None
            if played is None:
                self._over = at >= self._end
                break
            if played.offset_s > target:
                self._ahead = played
                break
            said += self._take(played)
        return b"".join(said)

    def _take(self, played: Played) -> list[bytes]:
        for n in played.numbers:
            self._room.heard(n.monitor, n.at)
            self._room.number(as_number(n), n.monitor, n.at)
        if played.packet is None:
            return []
        p = played.packet
        self._room.heard(p.monitor, p.until)
        return self._room.wave(as_wave(p), p.monitor, self._place(p))

    def _place(self, p: Packet) -> Placed:
        count, due = self._counts.get((p.monitor, p.wave), (0, p.first_at))
        missing = max(round((p.first_at - due).total_seconds() * p.rate_hz), 0)
        self._counts[p.monitor, p.wave] = (count + missing + len(p.samples), p.until)
        return Placed(first=count + missing, first_at=p.first_at, missing=missing)

    def _state(self, at: datetime) -> bytes:
        picture = replace(self._room.picture(()), replay=(self._start, self._end, float(self._speed), at))
        return sent("live", live_state(picture, at))


def as_wave(p: Packet) -> Wave:
    return Wave(
        code=None,
        ref=p.wave,
        wave=p.wave,
        unit=p.unit,
        rate_hz=p.rate_hz,
        scale=p.scale,
        offset=p.offset,
        samples=p.samples,
    )


def as_number(n: KeptNumber) -> Number:
    """As it was heard: the first of the flags is its standing."""
    return Number(
        code=None, ref=n.ref, reading=n.reading, value=n.value, unit=n.unit, raw=n.raw,
        standing=cast(Standing, n.flags[0]) if n.flags else "measured", setting="setting" in n.flags[1:2], flags=n.flags[1:],
        why=n.why, site=n.site, method=n.method, limits=n.limits, alarm=n.alarm,
    )  # fmt: skip
