"""One thread owns the writing connection and commits in groups: a future is answered only when its rows are safe.

Packed minutes go through the same thread, one blob a transaction, so that an append waits for one blob at most.
"""

from __future__ import annotations

import queue
import threading
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field

import sqlalchemy as sa

from spiracle.doors.clock import Clock
from spiracle.doors.waves.rows import us_of
from spiracle.doors.waves.schema import MESSAGE, MINUTE, PACKET, take_turn
from spiracle.doors.waves.seal import FIRST, seal

GROUP = 500
GATHER_S = 0.02  # how long the first of a group waits for others: fewer, larger commits
REMEMBERED_US = 24 * 3600 * 1_000_000
REMEMBERED = 100_000  # message ids kept of one monitor at most: a day at one a second
IN_ALL = 5_000_000  # and of all together, whatever their number: 50 monitors
COUNTED = 1000  # new ids of a monitor after which its ids are counted again
FORGET = 10_000


@dataclass(frozen=True, slots=True)
class Ask:
    """One message: its small rows go in together, or, when its id was kept before, not at all."""

    monitor: str
    message_id: str
    rows: list[dict[str, object]]
    answer: Future[bool] = field(default_factory=Future)


@dataclass(frozen=True, slots=True)
class Packed:
    """A blob in place of `count` small rows: those of its key after row `after` up to row `last`, but not the torn ones, which stay.
    Not done if they are not there any more."""

    case: str
    wave: str
    monitor: str
    minute: int
    first_us: int
    until_us: int
    samples: int
    body: bytes
    count: int
    after: int
    last: int
    torn: tuple[int, ...] = ()
    answer: Future[bool] = field(default_factory=Future)


@dataclass(frozen=True, slots=True)
class Forget:
    """Take away message ids that are too old to be sent again."""

    answer: Future[bool] = field(default_factory=Future)


class _Gone(Exception):
    """Somebody else packed these rows."""


class Writer:
    """The thread."""

    def __init__(self, engine: sa.Engine, clock: Clock) -> None:
        self._engine, self._clock = engine, clock
        self._asks: queue.SimpleQueue[Ask | Packed | Forget | None] = queue.SimpleQueue()
        self._fresh: Counter[str] = Counter()  # ids since a monitor's were last counted
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="wave writer", daemon=True)
        self._thread.start()

    def submit(self, ask: Ask | Packed | Forget) -> Future[bool]:
        if self._closing.is_set():
            ask.answer.set_exception(RuntimeError("the archive is closed"))
        else:
            self._asks.put(ask)
        return ask.answer

    def close(self) -> None:
        self._closing.set()
        self._asks.put(None)
        self._thread.join()

    def _run(self) -> None:
        ask = self._asks.get()
        while ask is not None:
            if isinstance(ask, Ask):
                self._closing.wait(GATHER_S)
                ask = self._group(ask)
            else:
                self._one(ask)
                ask = self._asks.get()

    def _group(self, first: Ask) -> Ask | Packed | Forget | None:
        """Commit what has come by now; the answer is what comes next."""
        group = [first]
        while len(group) < GROUP:
            try:
                following = self._asks.get_nowait()
            except queue.Empty:
                break
            if not isinstance(following, Ask):
                self._commit(group)
                return following
            group.append(following)
        self._commit(group)
        return self._asks.get()

    def _one(self, ask: Packed | Forget) -> None:
        try:
            with self._engine.begin() as connection:
                if isinstance(ask, Packed):
                    _pack(connection, ask)
                else:
                    _forget(connection, us_of(self._clock.now()))
                    self._trim(connection)
        except _Gone:
            ask.answer.set_result(False)
        except Exception as fault:  # whatever the database says must reach those who wait, not end the thread
            ask.answer.set_exception(fault)
        else:
            ask.answer.set_result(True)

    def _trim(self, connection: sa.Connection) -> None:
        """A bound for each monitor, so that one that floods pushes out no ids but its own."""
        for monitor in [m for m, new in self._fresh.items() if new >= COUNTED]:
            _trim(connection, monitor)
            del self._fresh[monitor]

    def _commit(self, asks: Sequence[Ask]) -> None:
        """All in one transaction; if that fails, one by one, so that one bad message takes no other with it."""
        try:
            fresh = self._transact(asks)
        except Exception as fault:
            if len(asks) == 1:
                asks[0].answer.set_exception(fault)
            else:
                for ask in asks:
                    self._commit([ask])
            return
        for ask, new in zip(asks, fresh, strict=True):
            self._fresh[ask.monitor] += new and ask.message_id != ""
            ask.answer.set_result(new)

    def _transact(self, asks: Sequence[Ask]) -> list[bool]:
        """Another process may keep an id between the look and the insert; the second look sees it."""
        try:
            with self._engine.begin() as connection:
                return _append(connection, asks, us_of(self._clock.now()))
        except sa.exc.IntegrityError:
            with self._engine.begin() as connection:
                return _append(connection, asks, us_of(self._clock.now()))


def _append(connection: sa.Connection, asks: Sequence[Ask], now_us: int) -> list[bool]:
    """Which asks were new. All rows of those are in."""
    named = [(a.monitor, a.message_id) for a in asks if a.message_id]
    kept: set[tuple[str, str]] = set()
    if named:
        rows = sa.select(MESSAGE.c.monitor, MESSAGE.c.message_id)
        known = sa.tuple_(MESSAGE.c.monitor, MESSAGE.c.message_id).in_(named)
        kept = {(m, i) for m, i in connection.execute(rows.where(known))}
    fresh, ids, lines = [], [], []
    for ask in asks:
        key = (ask.monitor, ask.message_id)
        fresh.append(key not in kept)
        if key in kept:
            continue
        lines += ask.rows
        if ask.message_id:
            kept.add(key)
            ids.append({"monitor": ask.monitor, "message_id": ask.message_id, "at_us": now_us})
    if ids:
        connection.execute(MESSAGE.insert(), ids)
    if lines:
        connection.execute(PACKET.insert(), lines)
    return fresh


def _pack(connection: sa.Connection, p: Packed) -> None:
    take_turn(connection)
    c = PACKET.c
    mine = sa.and_(c.case_id == p.case, c.wave == p.wave, c.monitor == p.monitor, c.minute == p.minute)
    taken = connection.execute(PACKET.delete().where(mine, c.id > p.after, c.id <= p.last, c.id.not_in(p.torn)))
    if taken.rowcount != p.count:
        raise _Gone
    tail = sa.select(MINUTE.c.place, MINUTE.c.seal).where(MINUTE.c.case_id == p.case, MINUTE.c.wave == p.wave)
    last = connection.execute(tail.order_by(MINUTE.c.place.desc()).limit(1)).one_or_none()
    place, before = (last[0] + 1, last[1]) if last is not None else (1, FIRST)
    made = seal(before, p.case, p.wave, place, p.monitor, p.minute, p.body)
    connection.execute(MINUTE.insert(), {
        "case_id": p.case, "wave": p.wave, "place": place, "monitor": p.monitor, "minute": p.minute,
        "first_us": p.first_us, "until_us": p.until_us, "samples": p.samples, "body": p.body, "seal": made})  # fmt: skip


def _forget(connection: sa.Connection, now_us: int) -> None:
    """The oldest ids, some thousands at a time. Their numbers run as their arrivals did."""
    newest = connection.execute(sa.select(sa.func.max(MESSAGE.c.id))).scalar()
    oldest = sa.select(MESSAGE.c.id, MESSAGE.c.at_us).order_by(MESSAGE.c.id).limit(FORGET)
    last = 0
    for number, at_us in connection.execute(oldest):
        if at_us < now_us - REMEMBERED_US or number <= (newest or 0) - IN_ALL:
            last = number
    if last:
        connection.execute(MESSAGE.delete().where(MESSAGE.c.id <= last))


def _trim(connection: sa.Connection, monitor: str) -> None:
    """The oldest ids of a monitor, down to as many as are remembered."""
    c = MESSAGE.c
    newest = sa.select(c.id).where(c.monitor == monitor).order_by(c.id.desc())
    last = connection.execute(newest.offset(REMEMBERED).limit(1)).scalar()
    if last is not None:
        connection.execute(MESSAGE.delete().where(c.monitor == monitor, c.id <= last))
