"""One thread owns the writing connection and commits in groups: a future is answered only when its entries are safe."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import UTC, datetime

import sqlalchemy as sa

from spiracle.case.events import Entry, Event, decode, encode
from spiracle.doors.clock import Clock
from spiracle.doors.log_store_schema import LOG, take_turn
from spiracle.doors.log_store_seal import FIRST, seal
from spiracle.refusals import IdTaken, SpiracleError

GROUP = 500
Wrote = Callable[[str, int], None]


class Overtaken(SpiracleError):
    """Somebody wrote to the case first: fold again, decide again. Never shown to a person."""

    def __init__(self, case: str, seq: int) -> None:
        super().__init__(f"case {case} is at {seq}")
        self.case, self.seq = case, seq


@dataclass(frozen=True, slots=True)
class Ask:
    """A wish to append: `after` is the place up to which the case was known when it was decided."""

    case: str
    events: tuple[Event, ...]
    after: int
    answer: Future[tuple[Entry, ...]] = field(default_factory=Future)


@dataclass(slots=True)
class _Group:
    """What one transaction knows: the tail of each case, ids already stored, and the rows it will insert."""

    tails: dict[str, tuple[int, str]]
    stored: dict[str, tuple[str, Entry]]
    rows: list[dict[str, object]] = field(default_factory=list)
    answers: list[tuple[Ask, tuple[Entry, ...] | SpiracleError]] = field(default_factory=list)


def stamp(at: datetime) -> str:
    """An arrival as stored: UTC, microseconds, always the same length so that text sorts as time."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def unstamp(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)


class Writer:
    """The thread. `wrote(case, seq)` is called after each commit, from this thread, before the futures are answered."""

    def __init__(self, engine: sa.Engine, clock: Clock, wrote: Wrote) -> None:
        self._engine, self._clock, self._wrote = engine, clock, wrote
        self._asks: queue.SimpleQueue[Ask | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="log writer", daemon=True)
        self._thread.start()

    def submit(self, case: str, events: Sequence[Event], after: int) -> Future[tuple[Entry, ...]]:
        ask = Ask(case, tuple(events), after)
        self._asks.put(ask)
        return ask.answer

    def close(self) -> None:
        self._asks.put(None)
        self._thread.join()

    def _run(self) -> None:
        while (first := self._asks.get()) is not None:
            group, closing = [first], False
            while len(group) < GROUP and not closing:
                try:
                    following = self._asks.get_nowait()
                except queue.Empty:
                    break
                if following is None:
                    closing = True
                else:
                    group.append(following)
            self._commit(group)
            if closing:
                return

    def _commit(self, asks: Sequence[Ask]) -> None:
        try:
            done = self._transact(asks)
        except Exception as fault:  # whatever the database says must reach those who wait, not end the thread
            if len(asks) == 1 and not isinstance(fault, sa.exc.IntegrityError):
                asks[0].answer.set_exception(fault)
            elif len(asks) == 1:  # another process took the id or the place between the look and the insert
                asks[0].answer.set_exception(Overtaken(asks[0].case, -1))
            else:
                for ask in asks:
                    self._commit([ask])
            return
        for case, (seq, _) in done.tails.items():
            if any(row["case_id"] == case for row in done.rows):
                self._wrote(case, seq)
        for ask, answer in done.answers:
            if isinstance(answer, SpiracleError):
                ask.answer.set_exception(answer)
            else:
                ask.answer.set_result(answer)

    def _transact(self, asks: Sequence[Ask]) -> _Group:
        with self._engine.begin() as connection:
            take_turn(connection)
            group = _Group(_tails(connection, {a.case for a in asks}),
                           _stored(connection, [e.id for a in asks for e in a.events]))  # fmt: skip
            arrived = unstamp(stamp(self._clock.now()))
            for ask in asks:
                group.answers.append((ask, _place(group, ask, arrived)))
            if group.rows:
                connection.execute(LOG.insert(), group.rows)
                _notify(connection, {str(r["case_id"]): group.tails[str(r["case_id"])][0] for r in group.rows})
        return group


def _place(group: _Group, ask: Ask, arrived: datetime) -> tuple[Entry, ...] | SpiracleError:
    """All of an ask's events find their place, or none does. A repeat of what is stored is answered with what is stored."""
    known = [group.stored.get(e.id) for e in ask.events]
    for event, old in zip(ask.events, known, strict=True):
        if old is not None and (old[0] != ask.case or old[1].event != event):
            return IdTaken("id", f"{event.id} already stands for something else.", "Give a new entry a new id.")
    new = [e for e, old in zip(ask.events, known, strict=True) if old is None]
    seq, before = group.tails.get(ask.case, (0, FIRST))
    if new and seq != ask.after:
        return Overtaken(ask.case, seq)
    for event in new:
        seq += 1
        body, at = encode(event).decode(), stamp(arrived)
        before = seal(before, ask.case, seq, at, body)
        group.rows.append({"case_id": ask.case, "seq": seq, "id": event.id, "kind": type(event).__name__,
                           "arrived_at": at, "body": body, "seal": before})  # fmt: skip
        group.stored[event.id] = (ask.case, Entry(seq, arrived, event))
        group.tails[ask.case] = (seq, before)
    return tuple(group.stored[e.id][1] for e in ask.events)


def _tails(connection: sa.Connection, cases: Iterable[str]) -> dict[str, tuple[int, str]]:
    newest = sa.select(LOG.c.case_id, sa.func.max(LOG.c.seq).label("seq")).where(LOG.c.case_id.in_(list(cases)))
    last = newest.group_by(LOG.c.case_id).subquery()
    rows = sa.select(LOG.c.case_id, LOG.c.seq, LOG.c.seal).join(
        last, sa.and_(LOG.c.case_id == last.c.case_id, LOG.c.seq == last.c.seq)
    )
    return {case: (seq, seal_) for case, seq, seal_ in connection.execute(rows)}


def _stored(connection: sa.Connection, ids: list[str]) -> dict[str, tuple[str, Entry]]:
    rows = sa.select(LOG.c.case_id, LOG.c.seq, LOG.c.arrived_at, LOG.c.body).where(LOG.c.id.in_(ids))
    found = [(case, Entry(seq, unstamp(at), decode(body))) for case, seq, at, body in connection.execute(rows)]
    return {entry.event.id: (case, entry) for case, entry in found}


def _notify(connection: sa.Connection, changed: dict[str, int]) -> None:
    """PostgreSQL tells the other processes when the transaction commits, and not if it does not."""
    if connection.dialect.name == "postgresql":
        for case, seq in changed.items():
            connection.execute(sa.select(sa.func.pg_notify("spiracle_log", f"{seq} {case}")))
