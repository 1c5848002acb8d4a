"""The archive of waves: `append` answers when packets are safe on disk, `read` gives back every sample as it came.

Nothing here is ever deleted but message ids and the small rows that stand in a packed minute. Reading never waits for writing.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterable, Sequence
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
from spiracle.doors.waves.runs import after_damage, cut, runs_of
from spiracle.doors.waves.schema import MINUTE, PACKET, make_engine, migrate, read_url, stands, waves_url_of
from spiracle.doors.waves.seal import FIRST, seal
from spiracle.doors.waves.shapes import NUMBERS, Damaged, KeptNumber, Packet, Run, WaveBreak, WaveHeld, Window
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
        takes the place of its small rows in one transaction. A torn row is left where it is, for `verify` to find, and `trouble`
        tells of it; what is whole is packed around it."""
        with self._packing:
            made = sum(self._pack_minute(key) for key in self._waiting(us_of(before) // MINUTE_US))
            self._writer.submit(Forget()).result()
        return made

    def _pack_minute(self, key: Key) -> int:
        made = after = 0
        while found := self._loose(key, after):
            packed = self._packed(key, found, after)
            if packed is not None and not self._writer.submit(packed).result():
                break  # somebody else is at it
            made, after = made + (packed is not None), found[-1][0]
        return made

    def _waiting(self, minute: int) -> list[Key]:
        c = PACKET.c
        rows = sa.select(c.case_id, c.wave, c.monitor, c.minute).where(c.minute < minute).distinct()
        with self._reading.connect() as connection:
            found = connection.execute(rows.order_by(c.minute, c.case_id, c.wave)).all()
        return [(case, wave, monitor, at) for case, wave, monitor, at in found]

    def _loose(self, key: Key, after: int) -> list[Any]:
        """The next small rows of a minute, as many as one blob may hold."""
        c = PACKET.c
        mine = sa.and_(
            *(column == part for column, part in zip((c.case_id, c.wave, c.monitor, c.minute), key, strict=True))
        )
        rows = sa.select(c.id, c.first_us, c.until_us, c.samples, c.body).where(mine, c.id > after)
        with self._reading.connect() as connection:
            return _not_too_much(connection.execute(rows.order_by(c.id).limit(AT_ONCE)))

    def _packed(self, key: Key, rows: Sequence[Any], after: int) -> Packed | None:
        """A blob of the rows that are whole; None if none is."""
        case, wave, monitor, minute = key
        numbers: list[KeptNumber] = []
        blocks: list[Block] = []
        whole, torn = [], []
        for row in rows:
            try:
                if wave == NUMBERS:
                    numbers += row_numbers(row[4], case, monitor)
                else:
                    blocks.append(row_block(row[4]))
                whole.append(row)
            except Torn as fault:
                self.trouble = fault
                torn.append(row[0])
        if not whole:
            return None
        body = pack_numbers(numbers, minute) if wave == NUMBERS else pack(joined(blocks), minute)
        return Packed(case, wave, monitor, minute, min(r[1] for r in whole), max(r[2] for r in whole),
                      sum(r[3] for r in whole), body, len(whole), after, rows[-1][0], tuple(torn))  # fmt: skip

    def _run(self) -> None:
        while not self._over.wait(LOOK_S):
            try:
                self.pack(self._clock.now() - SETTLED)
            except Exception as fault:  # a database that is away comes back; nothing is lost meanwhile
                self.trouble = fault

    # ---- reading

    def read(self, case: str, wave: str, start: datetime, end: datetime) -> tuple[Run, ...]:
        """The samples whose moments lie from `start` to before `end`, in runs, exactly as they came. A damaged stretch is left out;
        the run after it says so, and `window` or `damaged` names it."""
        return self.window(case, wave, start, end).runs

    def window(self, case: str, wave: str, start: datetime, end: datetime) -> Window:
        """The runs as `read` gives them, and what of that window is damaged."""
        lo, hi = us_of(start), us_of(end)
        whole, torn = self._blocks(case, wave, lo, hi)
        devices: defaultdict[str, list[Block]] = defaultdict(list)
        for monitor, block in whole:
            devices[monitor].append(block)
        found: list[Run] = []
        for monitor, blocks in devices.items():
            runs = (part for run in runs_of(blocks, monitor, wave) if (part := cut(run, lo, hi)) is not None)
            found += after_damage(runs, [d for d in torn if d.monitor == monitor])
        return Window(tuple(sorted(found, key=lambda r: (r.first_at, r.monitor))), torn)

    def packets(self, case: str, wave: str, start: datetime, end: datetime) -> tuple[Packet, ...]:
        """The packets that begin from `start` to before `end`, by their first samples, without those that are damaged."""
        whole, _ = self._blocks(case, wave, us_of(start), us_of(end))
        found = [p for monitor, block in whole for p in packets_of(block, case, monitor, wave)]
        return tuple(sorted((p for p in found if start <= p.first_at < end), key=lambda p: (p.first_at, p.arrived_at)))

    def numbers(self, case: str, start: datetime, end: datetime) -> tuple[KeptNumber, ...]:
        """The numbers whose moments lie from `start` to before `end`, by moment, then as they came, without those that are damaged."""
        found, _ = self._numbers(case, us_of(start), us_of(end))
        inside = (n for n in found if start <= n.at < end)
        return tuple(sorted(inside, key=lambda n: (n.at, n.arrived_at, n.monitor, n.reading, n.ref)))

    def damaged(self, case: str, wave: str, start: datetime, end: datetime) -> tuple[Damaged, ...]:
        """The stretches of a wave, or of the numbers, that cannot be read between two moments."""
        lo, hi = us_of(start), us_of(end)
        return (self._numbers(case, lo, hi) if wave == NUMBERS else self._blocks(case, wave, lo, hi))[1]

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

    def _blocks(self, case: str, wave: str, lo: int, hi: int) -> tuple[list[tuple[str, Block]], tuple[Damaged, ...]]:
        whole: list[tuple[str, Block]] = []
        torn = []
        rows = [] if wave == NUMBERS else self._rows(case, wave, lo - MINUTE_US, hi)  # a packet lasts a minute at most
        for row in rows:
            try:
                whole.append((row.monitor, unpack(row.body) if row.packed else row_block(row.body)))
            except Torn as fault:
                torn.append(_damage(row, wave, fault))
        return whole, _within(torn, lo, hi)

    def _numbers(self, case: str, lo: int, hi: int) -> tuple[list[KeptNumber], tuple[Damaged, ...]]:
        whole: list[KeptNumber] = []
        torn = []
        for row in self._rows(case, NUMBERS, lo, hi):
            try:
                whole += (unpack_numbers(row.body, row.minute, case, row.monitor) if row.packed
                          else row_numbers(row.body, case, row.monitor))  # fmt: skip
            except Torn as fault:
                torn.append(_damage(row, NUMBERS, fault))
        return whole, _within(torn, lo, hi)

    def _rows(self, case: str, wave: str, lo: int, hi: int) -> Sequence[Any]:
        """Rows of both kinds in one statement, so that packing meanwhile shows nothing twice."""
        parts = []
        for kept, table in ((True, MINUTE), (False, PACKET)):
            c = table.c
            mine = sa.and_(c.case_id == case, c.wave == wave, c.minute.between(lo // MINUTE_US, hi // MINUTE_US))
            number = (c.place if kept else c.id).label("number")
            parts.append(
                sa.select(
                    sa.literal(kept).label("packed"), c.monitor, c.minute, c.first_us, c.until_us, c.body, number
                ).where(mine)
            )
        both = sa.union_all(*parts).subquery()
        order = (both.c.minute, both.c.packed.desc(), both.c.number)
        with self._reading.connect() as connection:
            return connection.execute(sa.select(both).order_by(*order)).all()

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


def find_archive(log_url: str | None = None, waves_url: str | None = None) -> WaveArchive | None:
    """The archive if there is one; none is made."""
    url = read_url(waves_url) if waves_url is not None else waves_url_of(read_url(log_url))
    return WaveArchive(url, background=False) if stands(url) else None


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


def _damage(row: Any, wave: str, fault: Torn) -> Damaged:
    what = f"packed minute {row.number}" if row.packed else f"row {row.number}, not packed yet"
    return Damaged(wave=wave, monitor=row.monitor, first_at=moment(row.first_us), until=moment(row.until_us),
                   says=f"{what}: {fault.says}")  # fmt: skip


def _within(torn: Iterable[Damaged], lo: int, hi: int) -> tuple[Damaged, ...]:
    """Those that reach into a window, by their beginnings."""
    inside = (d for d in torn if us_of(d.first_at) < hi and us_of(d.until) > lo)
    return tuple(sorted(inside, key=lambda d: (d.first_at, d.monitor)))


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
