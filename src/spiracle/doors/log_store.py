"""The log store: entries go in once, stay as they are, and come out in order. One interface over SQLite and PostgreSQL."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from spiracle.case.events import Entry, Event, decode
from spiracle.case.fold import Case, fold
from spiracle.doors.clock import Clock, WallClock
from spiracle.doors.log_store_schema import LOG, make_engine, migrate, read_url
from spiracle.doors.log_store_seal import SealBreak, first_break
from spiracle.doors.log_store_watch import Watcher
from spiracle.doors.log_store_write import would, write
from spiracle.doors.log_store_writer import Overtaken, Writer, stamp, unstamp

__all__ = ["CaseRow", "LogStore", "Overtaken", "SealBreak", "open_store", "would", "write"]
KEEP_FOLDED = 256
Heard = Callable[[str, int], None]


@dataclass(frozen=True, slots=True)
class CaseRow:
    """A case as the store knows it: how many entries, when the first and the last arrived."""

    case: str
    seq: int
    first_at: datetime
    last_at: datetime


@dataclass(slots=True)
class _Kept:
    """A case held in memory as far as it was read."""

    lock: threading.Lock
    entries: list[Entry]
    folded: Case
    seq: int = 0


class LogStore:
    """`append` blocks until the entries are safe on disk; reading never waits for a writer."""

    def __init__(self, url: sa.URL, clock: Clock) -> None:
        writing = make_engine(url, writer=True)
        migrate(writing)
        self._writing, self._reading = writing, make_engine(url, writer=False)
        self._listeners: list[Heard] = []
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._lock = threading.Lock()
        self._writer = Writer(writing, clock, self._tell)
        self._watcher: Watcher | None = None

    # ---- writing

    def submit(self, case: str, events: Sequence[Event], after: int) -> Future[tuple[Entry, ...]]:
        """Ask for a place after entry `after`; the future holds the entries as stored, `IdTaken` or `Overtaken`."""
        return self._writer.submit(case, events, after)

    def append(self, case: str, events: Sequence[Event], after: int) -> tuple[Entry, ...]:
        """The same, waited for. All events are written, or none. A repeat gives back what is stored."""
        return self.submit(case, events, after).result()

    # ---- reading

    def entries(self, case: str, after: int = 0) -> tuple[Entry, ...]:
        rows = sa.select(LOG.c.seq, LOG.c.arrived_at, LOG.c.body).where(LOG.c.case_id == case, LOG.c.seq > after)
        with self._reading.connect() as connection:
            found = connection.execute(rows.order_by(LOG.c.seq)).all()
        return tuple(Entry(seq, unstamp(at), decode(body)) for seq, at, body in found)

    def find(self, event_id: str) -> tuple[str, Entry] | None:
        """The case and entry of an event id, or None."""
        row = sa.select(LOG.c.case_id, LOG.c.seq, LOG.c.arrived_at, LOG.c.body).where(LOG.c.id == event_id)
        with self._reading.connect() as connection:
            found = connection.execute(row).one_or_none()
        return None if found is None else (found[0], Entry(found[1], unstamp(found[2]), decode(found[3])))

    def case_rows(self) -> tuple[CaseRow, ...]:
        """Every case, the one that grew last first."""
        rows = sa.select(LOG.c.case_id, sa.func.max(LOG.c.seq), sa.func.min(LOG.c.arrived_at),
                         sa.func.max(LOG.c.arrived_at).label("last"))  # fmt: skip
        with self._reading.connect() as connection:
            found = connection.execute(rows.group_by(LOG.c.case_id).order_by(sa.desc("last"))).all()
        return tuple(CaseRow(case, seq, unstamp(first), unstamp(last)) for case, seq, first, last in found)

    def open_cases(self, since: datetime, most: int = 200) -> tuple[str, ...]:
        """Cases whose record was not signed before `since`, the newest first: what a day sheet has to look at."""
        signed = LOG.alias("signed")
        closed = sa.select(signed.c.place).where(signed.c.kind == "RecordSigned", signed.c.case_id == LOG.c.case_id,
                                                 signed.c.arrived_at < stamp(since))  # fmt: skip
        rows = sa.select(LOG.c.case_id).where(LOG.c.kind == "CaseOpened", ~closed.exists())
        with self._reading.connect() as connection:
            return tuple(connection.execute(rows.order_by(LOG.c.place.desc()).limit(most)).scalars())

    def paired_cases(self, since: datetime) -> tuple[str, ...]:
        """Cases in which a monitor was paired and whose record was not signed before `since`: all of them, however old."""
        signed = LOG.alias("signed")
        closed = sa.select(signed.c.place).where(signed.c.kind == "RecordSigned", signed.c.case_id == LOG.c.case_id,
                                                 signed.c.arrived_at < stamp(since))  # fmt: skip
        rows = sa.select(LOG.c.case_id).where(LOG.c.kind == "MonitorPaired", ~closed.exists()).distinct()
        with self._reading.connect() as connection:
            return tuple(connection.execute(rows.order_by(LOG.c.case_id)).scalars())

    def describing(self, words: str, most: int = 50) -> tuple[str, ...]:
        """Cases whose signalment holds these words, the latest first: to find the same animal again by its chip."""
        like = LOG.c.body.contains(words, autoescape=True)
        rows = sa.select(LOG.c.case_id, sa.func.max(LOG.c.place).label("last")).where(
            LOG.c.kind == "PatientDescribed", like
        )
        with self._reading.connect() as connection:
            found = connection.execute(rows.group_by(LOG.c.case_id).order_by(sa.desc("last")).limit(most)).all()
        return tuple(case for case, _ in found)

    def case(self, case: str) -> tuple[Case, int]:
        """The folded case and the place it is folded up to. Kept in memory; only what is new is read and decoded."""
        kept = self._keep(case)
        with kept.lock:
            fresh = self.entries(case, kept.seq)
            if fresh:
                kept.entries.extend(fresh)
                kept.folded, kept.seq = fold(kept.entries), fresh[-1].seq
            return kept.folded, kept.seq

    def _keep(self, case: str) -> _Kept:
        with self._lock:
            kept = self._kept.pop(case, None) or _Kept(threading.Lock(), [], Case())
            self._kept[case] = kept
            while len(self._kept) > KEEP_FOLDED:
                self._kept.popitem(last=False)
            return kept

    def head(self, case: str) -> str:
        """The place and seal of the last entry, to be printed: "222 5f3ac01b...". Empty for a case that is not there."""
        rows = sa.select(LOG.c.seq, LOG.c.seal).where(LOG.c.case_id == case).order_by(LOG.c.seq.desc()).limit(1)
        with self._reading.connect() as connection:
            found = connection.execute(rows).one_or_none()
        return "" if found is None else f"{found[0]} {found[1]}"

    def holds(self, case: str, head: str) -> bool:
        """Whether the log still has an entry of this place whose seal begins like that: an end cut off shows nowhere else."""
        seq, _, begins = head.partition(" ")
        if not seq.isdecimal() or len(begins) < 8:
            return False
        rows = sa.select(LOG.c.seal).where(LOG.c.case_id == case, LOG.c.seq == int(seq))
        with self._reading.connect() as connection:
            found = connection.execute(rows).scalar_one_or_none()
        return found is not None and found.startswith(begins)

    def verify(self, case: str | None = None) -> tuple[SealBreak, ...]:
        """The first broken seal of each case, or nothing when all are whole. A cut end is found with `holds`."""
        names = [case] if case is not None else [row.case for row in self.case_rows()]
        breaks = (self._first_break(name) for name in names)
        return tuple(b for b in breaks if b is not None)

    def _first_break(self, case: str) -> SealBreak | None:
        rows = sa.select(LOG.c.seq, LOG.c.arrived_at, LOG.c.body, LOG.c.seal).where(LOG.c.case_id == case)
        with self._reading.connect() as connection:
            found = connection.execute(rows.order_by(LOG.c.seq)).all()
        return first_break(case, ((r[0], r[1], r[2], r[3]) for r in found))

    # ---- hearing

    def watch(self, heard: Heard) -> Callable[[], None]:
        """Call `heard(case, seq)` for every growth, from another thread; the answer stops it. May report a growth twice."""
        with self._lock:
            self._listeners.append(heard)
            if self._watcher is None:
                self._watcher = Watcher(self._reading, self._tell)

        def stop() -> None:
            with self._lock:
                self._listeners.remove(heard)

        return stop

    def _tell(self, case: str, seq: int) -> None:
        for heard in tuple(self._listeners):
            heard(case, seq)

    def close(self) -> None:
        if self._watcher is not None:
            self._watcher.close()
        self._writer.close()
        self._writing.dispose()
        self._reading.dispose()


def open_store(url: str | None = None, clock: Clock | None = None) -> LogStore:
    """The log at a database address (the user's own SQLite file if none is given), brought to the newest shape."""
    return LogStore(read_url(url), clock or WallClock())
