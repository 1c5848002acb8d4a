"""The archive of waves: `append` answers when packets are safe on disk, `read` gives back every sample as it came.

Nothing here is ever deleted but message ids and the small rows that stand in a packed minute. Reading never waits for writing.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from spiracle.doors.clock import Clock, WallClock
from spiracle.doors.waves.packing import Block, Torn, joined, pack, unpack
from spiracle.doors.waves.rows import (
    MINUTE_US,
    moment,
    number_row,
    pack_numbers,
    packet_row,
    packets_of,
    row_block,
    row_numbers,
    unpack_numbers,
    us_of,
)
from spiracle.doors.waves.runs import cut, runs_of
from spiracle.doors.waves.schema import MINUTE, PACKET, make_engine, migrate, read_url, waves_url_of
from spiracle.doors.waves.seal import FIRST, seal
from spiracle.doors.waves.shapes import NUMBERS, KeptNumber, Packet, Run, WaveBreak, WaveHeld
from spiracle.doors.waves.taking import checked
from spiracle.doors.waves.writer import Ask, Forget, Packed, Writer

SETTLED = timedelta(
    seconds=10
)  # a minute is packed when it has been over for so long; later packets make a blob of their own
LOOK_S = 5.0
AT_ONCE, AT_ONCE_SAMPLES, AT_ONCE_BYTES = 10_000, 1_000_000, 10_000_000  # rows, samples, bytes that go into one blob

Key = tuple[str, str, str, int]  # case, wave, monitor, minute


class WaveArchive:
    """Open one a process. `background` packs closed minutes as time goes on; without it only `pack` does."""

    def __init__(self, url: sa.URL | str, clock: Clock | None = None, *, background: bool = True) -> None:
        place = read_url(url) if isinstance(url, str) else url
        self._clock = clock or WallClock()
        self._writing = make_engine(place, writer=True)
        migrate(self._writing)
        self._reading = make_engine(place, writer=False)
        self._writer = Writer(self._writing, self._clock)
        self._packing = threading.Lock()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="wave packer", daemon=True)
        self.trouble: Exception | None = None
        if background:
            self._thread.start()

    # ---- writing

    def append(self, packets: Sequence[Packet], numbers: Sequence[KeptNumber], message_id: str = "") -> Future[bool]:
        """Keep one message: all of it, or nothing. The future is done when it is safe on disk.

        False: this monitor's message id was kept before (within a day), and nothing was written. "" is never a repeat. Raises, before
        anything is written, `OutOfRange`, `Missing`, `NotOneOf` or `Contradiction` for what the archive cannot hold.
        """
        monitor = checked(packets, numbers, message_id)
        rows = [_packet_line(p) for p in packets]
        for (case, minute), some in _by_minute(numbers).items():
            moments = [us_of(n.at) for n in some]
            rows.append(
                _line((case, NUMBERS, monitor, minute), min(moments), max(moments) + 1, len(some), number_row(some))
            )
        if not rows:
            nothing: Future[bool] = Future()
            nothing.set_result(True)
            return nothing
        return self._writer.submit(Ask(monitor, message_id, rows))

    def pack(self, before: datetime) -> int:
        """Pack the minutes that were over before a moment; how many blobs were made. A crash at any point loses nothing: a blob
        takes the place of its small rows in one transaction. A torn row is left where it is, for `verify` to find."""
        made = 0
        with self._packing:
            for key in self._waiting(us_of(before) // MINUTE_US):
                while (packed := self._packed(key)) is not None and self._writer.submit(packed).result():
                    made += 1
            self._writer.submit(Forget()).result()
        return made

    def _waiting(self, minute: int) -> list[Key]:
        c = PACKET.c
        rows = sa.select(c.case_id, c.wave, c.monitor, c.minute).where(c.minute < minute).distinct()
        with self._reading.connect() as connection:
            found = connection.execute(rows.order_by(c.minute, c.case_id, c.wave)).all()
        return [(case, wave, monitor, at) for case, wave, monitor, at in found]

    def _packed(self, key: Key) -> Packed | None:
        case, wave, monitor, minute = key
        c = PACKET.c
        mine = sa.and_(c.case_id == case, c.wave == wave, c.monitor == monitor, c.minute == minute)
        rows = sa.select(c.id, c.first_us, c.until_us, c.samples, c.body).where(mine).order_by(c.id).limit(AT_ONCE)
        with self._reading.connect() as connection:
            found = _not_too_much(connection.execute(rows))
        if not found:
            return None
        try:
            if wave == NUMBERS:
                body = pack_numbers([n for row in found for n in row_numbers(row[4], case, monitor)], minute)
            else:
                body = pack(joined([row_block(row[4]) for row in found]), minute)
        except Torn as torn:
            self.trouble = torn
            return None
        return Packed(case, wave, monitor, minute, min(r[1] for r in found), max(r[2] for r in found),
                      sum(r[3] for r in found), body, len(found), found[-1][0])  # fmt: skip

    def _run(self) -> None:
        while not self._over.wait(LOOK_S):
            try:
                self.pack(self._clock.now() - SETTLED)
            except Exception as fault:  # a database that is away comes back; nothing is lost meanwhile
                self.trouble = fault

    # ---- reading

    def read(self, case: str, wave: str, start: datetime, end: datetime) -> tuple[Run, ...]:
        """The samples whose moments lie from `start` to before `end`, in runs, exactly as they came. Raises `Torn` on damage."""
        lo, hi = us_of(start), us_of(end)
        devices: defaultdict[str, list[Block]] = defaultdict(list)
        for monitor, block in self._blocks(case, wave, lo, hi):
            devices[monitor].append(block)
        whole = (run for monitor, blocks in devices.items() for run in runs_of(blocks, monitor, wave))
        found = [part for run in whole if (part := cut(run, lo, hi)) is not None]
        return tuple(sorted(found, key=lambda r: (r.first_at, r.monitor)))

    def packets(self, case: str, wave: str, start: datetime, end: datetime) -> tuple[Packet, ...]:
        """The packets that begin from `start` to before `end`, by their first samples."""
        lo, hi = us_of(start), us_of(end)
        found = [
            p for monitor, block in self._blocks(case, wave, lo, hi) for p in packets_of(block, case, monitor, wave)
        ]
        return tuple(sorted((p for p in found if start <= p.first_at < end), key=lambda p: (p.first_at, p.arrived_at)))

    def numbers(self, case: str, start: datetime, end: datetime) -> tuple[KeptNumber, ...]:
        """The numbers whose moments lie from `start` to before `end`, by moment, then as they came."""
        found: list[KeptNumber] = []
        for packed, monitor, minute, body in self._rows(case, NUMBERS, us_of(start), us_of(end)):
            found += unpack_numbers(body, minute, case, monitor) if packed else row_numbers(body, case, monitor)
        inside = (n for n in found if start <= n.at < end)
        return tuple(sorted(inside, key=lambda n: (n.at, n.arrived_at, n.monitor, n.reading, n.ref)))

    def waves(self, case: str) -> tuple[WaveHeld, ...]:
        """What a case has, the numbers among it."""
        sizes = [sa.select(t.c.wave, t.c.monitor, sa.func.min(t.c.first_us).label("first"), sa.func.max(t.c.until_us).label("until"),
                           sa.func.sum(t.c.samples).label("samples"), sa.func.sum(sa.func.length(t.c.body)).label("bytes"))
                 .where(t.c.case_id == case).group_by(t.c.wave, t.c.monitor) for t in (MINUTE, PACKET)]  # fmt: skip
        with self._reading.connect() as connection:
            rows = connection.execute(sa.union_all(*sizes)).all()
        held: dict[tuple[str, str], WaveHeld] = {}
        for wave, monitor, first, until, samples, size in rows:
            was = held.get((wave, monitor))
            held[wave, monitor] = WaveHeld(
                wave=wave, monitor=monitor,
                first_at=min(moment(first), was.first_at) if was else moment(first),
                until=max(moment(until), was.until) if was else moment(until),
                samples=int(samples) + (was.samples if was else 0), bytes=int(size) + (was.bytes if was else 0))  # fmt: skip
        return tuple(held[key] for key in sorted(held))

    def cases(self) -> tuple[str, ...]:
        """Every case that has anything, "" for what was nobody's."""
        each = sa.union(sa.select(MINUTE.c.case_id), sa.select(PACKET.c.case_id))
        with self._reading.connect() as connection:
            return tuple(sorted(connection.execute(each).scalars()))

    def verify(self, case: str) -> tuple[WaveBreak, ...]:
        """The first place of each wave where a seal or a checksum does not hold; nothing when all are whole."""
        found = []
        for wave in sorted({held.wave for held in self.waves(case)}):
            broken = self._first_break(case, wave)
            if broken is not None:
                found.append(broken)
        return tuple(found)

    def _first_break(self, case: str, wave: str) -> WaveBreak | None:
        c = MINUTE.c
        rows = sa.select(c.place, c.monitor, c.minute, c.body, c.seal).where(c.case_id == case, c.wave == wave)
        before, expected = FIRST, 1
        with self._reading.connect() as connection:
            for place, monitor, minute, body, sealed in connection.execute(rows.order_by(c.place)):
                if place != expected:
                    return WaveBreak(
                        case=case, wave=wave, place=expected, says=f"packed minute {expected} is not there"
                    )
                if seal(before, case, wave, place, monitor, minute, body) != sealed:
                    says = f"packed minute {place} of {moment(minute * MINUTE_US):%Y-%m-%d %H:%M %Z} is not as it was written"
                    return WaveBreak(case=case, wave=wave, place=place, says=says)
                before, expected = sealed, place + 1
        return self._torn_row(case, wave)

    def _torn_row(self, case: str, wave: str) -> WaveBreak | None:
        c = PACKET.c
        rows = sa.select(c.id, c.monitor, c.body).where(c.case_id == case, c.wave == wave).order_by(c.id)
        with self._reading.connect() as connection:
            for number, monitor, body in connection.execute(rows):
                try:
                    row_numbers(body, case, monitor) if wave == NUMBERS else row_block(body)
                except Torn as torn:
                    return WaveBreak(case=case, wave=wave, place=0, says=f"row {number}, not packed yet: {torn.says}")
        return None

    def _blocks(self, case: str, wave: str, lo: int, hi: int) -> Iterator[tuple[str, Block]]:
        if wave == NUMBERS:
            return
        for packed, monitor, _, body in self._rows(case, wave, lo - MINUTE_US, hi):  # a packet lasts a minute at most
            yield monitor, unpack(body) if packed else row_block(body)

    def _rows(self, case: str, wave: str, lo: int, hi: int) -> Sequence[Any]:
        """(packed, monitor, minute, body) of both kinds in one statement, so that packing meanwhile shows nothing twice."""
        parts = []
        for kept, table in ((True, MINUTE), (False, PACKET)):
            c = table.c
            mine = sa.and_(c.case_id == case, c.wave == wave, c.minute.between(lo // MINUTE_US, hi // MINUTE_US))
            number = c.place if kept else c.id
            parts.append(sa.select(sa.literal(kept), c.monitor, c.minute, c.body, number.label("number")).where(mine))
        both = sa.union_all(*parts).subquery()
        a = list(both.c)
        with self._reading.connect() as connection:
            return connection.execute(sa.select(*a[:4]).order_by(a[2], a[0].desc(), a[4])).all()

    def close(self) -> None:
        """Wait for what was asked for, then let go. What is not packed stays as small rows and is packed another day."""
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()
        self._writer.close()
        self._writing.dispose()
        self._reading.dispose()


def open_archive(log_url: str | None = None, waves_url: str | None = None, clock: Clock | None = None, *,
                 background: bool = True) -> WaveArchive:  # fmt: skip
    """The archive that belongs to a log, or the one at an address of its own."""
    url = read_url(waves_url) if waves_url is not None else waves_url_of(read_url(log_url))
    return WaveArchive(url, clock, background=background)


def _not_too_much(rows: Iterable[Any]) -> list[Any]:
    """The first rows, as many as one blob may hold (one at least): a device that sends without measure makes more blobs, not larger."""
    found: list[Any] = []
    samples = size = 0
    for row in rows:
        samples, size = samples + row[3], size + len(row[4])
        if found and (samples > AT_ONCE_SAMPLES or size > AT_ONCE_BYTES):
            break
        found.append(row)
    return found


def _line(key: Key, first: int, until: int, samples: int, body: bytes) -> dict[str, object]:
    case, wave, monitor, minute = key
    return {"case_id": case, "wave": wave, "monitor": monitor, "minute": minute, "first_us": first, "until_us": until,
            "samples": samples, "body": body}  # fmt: skip


def _packet_line(p: Packet) -> dict[str, object]:
    first = us_of(p.first_at)
    return _line((p.case, p.wave, p.monitor, first // MINUTE_US), first, us_of(p.until), len(p.samples), packet_row(p))


def _by_minute(numbers: Iterable[KeptNumber]) -> dict[tuple[str, int], list[KeptNumber]]:
    found: defaultdict[tuple[str, int], list[KeptNumber]] = defaultdict(list)
    for number in numbers:
        found[number.case, us_of(number.at) // MINUTE_US].append(number)
    return found
