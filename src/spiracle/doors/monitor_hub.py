"""Where everything that monitors say comes together: kept first, then shown, and only to the patient a person paired it with.

D6: silence is told. D7: a monitor is on one patient at a time, a room is no identity, and one that names another patient is kept apart.
"""

from __future__ import annotations

import asyncio
import logging
import queue
import threading
import time
from collections import OrderedDict, defaultdict
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from datetime import datetime, timedelta

from msgspec.structs import replace

from spiracle.case.facts import Facts
from spiracle.case.ledger import LEDGER
from spiracle.doors.clock import Clock
from spiracle.doors.live import message
from spiracle.doors.log_store import LogStore
from spiracle.doors.log_store_write import ENDED_FOR
from spiracle.doors.monitor_places import Placed, SampleClock
from spiracle.doors.monitor_rooms import Meta, ReaderMaker, Room, absurd, judged, meta_of, paired_since
from spiracle.doors.monitor_state import (
    Archive,
    Arrival,
    Bound,
    Ear,
    Monitor,
    Taken,
    as_repeat,
    candidate,
    deliver,
    held_before,
    held_note,
    kept_number,
    packet,
    told_once,
)
from spiracle.doors.monitor_time import DeviceTime
from spiracle.doors.waves.shapes import NOBODY
from spiracle.monitors.heard import Heard, Number, Wave
from spiracle.sheets.live_shapes import Candidate
from spiracle.sheets.live_sheet import (
    Kept,
    contradiction,
    held_words,
    moved_words,
    patient_words,
    test_data_words,
)
from spiracle.sheets.on_wave import OnWave

MOST_MONITORS, MOST_IDS, MOST_SHOWN, MOST_WAVES = 128, 2048, 40, 16
GONE = timedelta(minutes=2)  # an unpaired monitor that is silent for so long is no candidate any more
OFTEN_S, SELDOM_S, TURN_S = 0.5, 2.0, 0.2  # pace of what is sent; what it says is by the hub's clock

log = logging.getLogger(__name__)


class MonitorHub:
    """`take` may be called from any thread and comes back when waves and numbers are safe. One thread of the hub's own does the rest, so
    that a page, a case or a monitor that is slow holds up no other."""

    def __init__(
        self, store: LogStore, facts: Facts, archive: Archive, clock: Clock, make_reader: ReaderMaker | None = None
    ) -> None:
        self._store, self._facts, self._archive, self._clock = store, facts, archive, clock
        self._make_reader = make_reader
        self._lock = threading.Lock()
        self._monitors: OrderedDict[str, Monitor] = OrderedDict()
        self._bound: dict[str, Bound] = {}
        self._held: dict[str, str] = {}  # by pairing, until a person pairs anew
        self._noted: set[str] = set()  # pairings whose hold is on disk, for the next start
        self._metas: dict[str, Meta] = {}
        self._rooms: dict[str, Room] = {}
        self._ears: dict[str, dict[Ear, asyncio.AbstractEventLoop]] = defaultdict(dict)
        self._work: queue.SimpleQueue[object] = queue.SimpleQueue()
        self._out: dict[asyncio.AbstractEventLoop, list[tuple[Ear, bytes]]] = defaultdict(list)
        self._list: tuple[Candidate, ...] = ()
        self._listed: tuple[float, object] = (0.0, None)
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._run, name="monitors", daemon=True)
        self._unwatch: Callable[[], None] | None = None

    # ---- beginning and end

    def start(self) -> MonitorHub:
        """Whose is whose is known before the first message is taken."""
        self._unwatch = self._store.watch(lambda case, _seq: self._work.put(("case", case)))
        for case in self._store.paired_cases(self._clock.now() - ENDED_FOR):
            self._case_grew(case, bind=False)
        self._bind()
        self._thread.start()
        return self

    def stop(self) -> None:
        if self._thread.is_alive():
            if self._unwatch is not None:
                self._unwatch()
            self._stopped.set()
            self._work.put(None)
            self._thread.join(5)

    # ---- what monitors say

    def take(self, heard: Heard, arrived: datetime) -> Taken:
        """Keep it, then show it. Comes back when it is safe on disk; raises what the archive raised if it is not."""
        return self.submit(heard, arrived).result()

    def submit(self, heard: Heard, arrived: datetime) -> Future[Taken]:
        """The same without waiting. Messages of one monitor keep their order."""
        monitor = self._monitor(heard, arrived)
        with monitor.lock:
            told = told_once(heard)
            before = monitor.recent.get(told) if told else None
            if before is not None:
                return as_repeat(before)
            monitor.time.heard(heard.sent_at, arrived)
            bound = self._bound.get(heard.monitor)
            done: Future[Taken] = Future()
            if bound is None:
                self._work.put(("seen", monitor, heard, arrived))
                done.set_result(Taken("unpaired"))
                return done
            if told:
                monitor.recent[told] = done
                while len(monitor.recent) > MOST_IDS:
                    monitor.recent.popitem(last=False)
            self._keep(monitor, bound, heard, told, arrived, done)
            return done

    def _monitor(self, heard: Heard, arrived: datetime) -> Monitor:
        with self._lock:
            found = self._monitors.pop(heard.monitor, None) or Monitor(heard.monitor, DeviceTime(self._facts.monitors))
            self._monitors[heard.monitor] = found
            if len(self._monitors) > MOST_MONITORS:
                strange = next((m for m in self._monitors if m not in self._bound), None)
                if strange is not None and strange != heard.monitor:
                    del self._monitors[strange]
        found.name, found.place = heard.name or found.name, heard.place or found.place
        found.patient, found.heard_at, found.test = patient_words(heard), arrived, heard.test
        return found

    def _keep(
        self, monitor: Monitor, bound: Bound, heard: Heard, told: str, arrived: datetime, done: Future[Taken]
    ) -> None:
        meta = bound.meta
        if heard.test and not meta.practice:
            self._work.put(Arrival(monitor, bound, heard, arrived, (), (), done))
            return
        self._doubt(bound, heard)
        case = NOBODY if bound.held else meta.case
        since = paired_since(bound.pairing, arrived)  # what was measured before is the animal's that it was on before
        waves = tuple((w, self._place(monitor, w, arrived)) for w in heard.waves if not absurd(w))
        numbers = tuple(self._dated(monitor, heard, arrived))
        packets = [
            packet(case if p.first_at >= since else NOBODY, heard.monitor, w, p, arrived)
            for w, p in waves
            if w.samples[p.skip :]
        ]
        kept = [kept_number(case if at >= since else NOBODY, heard.monitor, n, at, arrived) for n, at in numbers]
        waves = tuple(x for x in waves if x[1].first_at >= since)
        numbers = tuple(x for x in numbers if x[1] >= since)
        note = bool(bound.held) and bound.pairing.id not in self._noted
        if note:
            kept.append(held_note(bound.pairing, bound.held, arrived))
        try:
            safe = self._archive.append(packets, kept, told)
        except Exception as fault:  # what the archive cannot hold: refused by name, and never half taken
            safe = Future()
            safe.set_exception(fault)

        def kept_now(future: Future[bool]) -> None:
            fault = future.exception()
            if fault is not None:
                monitor.recent.pop(told, None)
                for clock in tuple(monitor.clocks.values()):
                    clock.lost = True
                self._work.put(
                    Arrival(
                        monitor,
                        bound,
                        heard,
                        arrived,
                        waves,
                        numbers,
                        done,
                        bound.held,
                        str(fault) or "no reason given",
                    )
                )
            elif future.result():
                if note:
                    self._noted.add(bound.pairing.id)
                self._work.put(Arrival(monitor, bound, heard, arrived, waves, numbers, done, bound.held))
            else:  # kept before this process began
                done.set_result(Taken("repeat", meta.case))

        safe.add_done_callback(kept_now)

    def _doubt(self, bound: Bound, heard: Heard) -> None:
        """Hold the pairing if the monitor names another patient, also where the growth of a case has bound it anew meanwhile."""
        other = "" if bound.held else contradiction(heard, bound.pairing.patient, bound.meta.number, bound.meta.name)
        if not other:
            return
        words = held_words(bound.pairing.name or heard.name or heard.monitor, other, bound.meta.words)
        with self._lock:
            bound.held = self._held[bound.pairing.id] = words
            now = self._bound.get(bound.pairing.monitor)
            if now is not None and now.pairing.id == bound.pairing.id:
                now.held = words

    def _dated(self, monitor: Monitor, heard: Heard, arrived: datetime) -> Iterable[tuple[Number, datetime]]:
        """Each number with the moment it stands for, and what is against it."""
        for n in heard.numbers:
            yield judged(monitor.time.doubted(n), self._facts), monitor.time.at(n.device_at, arrived)

    def _place(self, monitor: Monitor, wave: Wave, arrived: datetime) -> Placed:
        key = (wave.code, wave.ref, wave.wave)
        clock = monitor.clocks.get(key)
        if clock is None:
            if len(monitor.clocks) >= MOST_WAVES:
                monitor.clocks.clear()
            clock = monitor.clocks[key] = SampleClock()
        at = monitor.time.wave_at(wave.device_at, arrived)
        return clock.place(wave, at, arrived)

    # ---- the hub's own thread

    def _run(self) -> None:
        while not self._stopped.is_set():
            try:
                self._turn()
            except Exception:  # the panel of one room must not end all others'
                log.exception("A turn of the monitors' thread failed")
        self._flush()

    def _turn(self) -> None:
        batch: list[object] = []
        try:
            batch.append(self._work.get(timeout=TURN_S))
            while len(batch) < 256:
                batch.append(self._work.get_nowait())
        except queue.Empty:
            pass
        for item in batch:
            try:
                self._one(item)
            except Exception:
                log.exception("A message of a monitor could not be shown")
                if isinstance(item, Arrival) and not item.done.done():
                    item.done.set_result(Taken("kept", item.bound.meta.case))
        self._tell_states()
        self._flush()

    def _one(self, item: object) -> None:
        if isinstance(item, Arrival):
            self._arrival(item)
        elif isinstance(item, tuple):
            does: dict[str, Callable[..., None]] = {
                "case": self._case_grew, "seen": self._seen, "hello": self._hello, "bye": self._bye,
            }  # fmt: skip
            does[item[0]](*item[1:])

    def _arrival(self, a: Arrival) -> None:
        """Kept already: now the panel, unless the pairing has gone meanwhile."""
        monitor, meta = a.monitor, a.bound.meta
        refused = test_data_words(a.bound.pairing.name or monitor.id) if a.heard.test and not meta.practice else ""
        room = self._rooms.get(meta.case)
        now_bound = self._bound.get(monitor.id)
        if room is not None and now_bound is not None and now_bound.pairing.id == a.bound.pairing.id:
            place, held = monitor.place, now_bound.held
            moved = moved_words(now_bound.pairing.name or monitor.id, now_bound.pairing.place, place)
            skew = monitor.time.words
            room.heard(monitor.id, a.arrived, place=place, held=held, refused=refused, skew_text=skew, moved=moved)
            room.unkept = f"Not kept: the archive cannot write ({a.unkept})." if a.unkept else ""
            if not held and not refused:
                self._show(room, a)
        self._note_shown(monitor, a.numbers)
        if a.unkept:
            a.done.set_exception(OSError(f"what was heard could not be kept: {a.unkept}"))
        elif refused:
            a.done.set_result(Taken("test data", meta.case, refused))
        elif a.held:
            a.done.set_result(Taken("held back", meta.case, a.held))
        else:
            a.done.set_result(Taken("kept", meta.case))

    def _show(self, room: Room, a: Arrival) -> None:
        for number, at in a.numbers:
            room.number(number, a.monitor.id, at, a.arrived)
        if a.heard.waves:
            room.absurd = " ".join(dict.fromkeys(why for w in a.heard.waves if (why := absurd(w))))
        ears = self._ears.get(room.meta.case)
        for wave, placed in a.waves:
            for line in room.wave(wave, a.monitor.id, placed):
                for ear, loop in ears.items() if ears else ():
                    self._out[loop].append((ear, line))
        if a.waves and room.asks_anew(
            self._clock.now()
        ):  # the advice of the case rests on it: the page asks for its sheet again
            for ear, loop in ears.items() if ears else ():
                self._out[loop].append((ear, message(room.meta.case, 0)))

    def _seen(self, monitor: Monitor, heard: Heard, arrived: datetime) -> None:
        self._note_shown(monitor, self._dated(monitor, heard, arrived))

    def _note_shown(self, monitor: Monitor, numbers: Iterable[tuple[Number, datetime]]) -> None:
        for number, at in numbers:
            if len(monitor.shows) >= MOST_SHOWN:
                monitor.shows.clear()
            monitor.shows[number.reading, number.channel] = Kept(number, monitor.id, at)

    # ---- cases

    def _case_grew(self, case: str, *, bind: bool = True) -> None:
        if case == LEDGER:
            return
        folded, seq = self._store.case(case)
        if not seq:
            return
        meta = meta_of(case, folded)
        if meta.pairings:
            self._metas[case] = meta
        else:
            self._metas.pop(case, None)
        if bind:
            self._bind()
        room = self._rooms.get(case)
        if room is not None:
            room.case_is(meta)
        elif meta.pairings:
            self._rooms[case] = Room(meta, self._facts, self._make_reader)
        if not meta.pairings and case not in self._ears:
            self._rooms.pop(case, None)

    def _bind(self) -> None:
        """Which monitor is on which patient. One that two open cases have is nobody's until one of them lets it go."""
        every = [p for m in self._metas.values() for p in m.pairings]
        known = {b.pairing.id for b in self._bound.values()}
        before = {p.id: words for p in every if p.id not in known and (words := held_before(self._archive, p))}
        with self._lock:
            found: dict[str, Bound] = {}
            held = {**before, **{p.id: self._held[p.id] for p in every if p.id in self._held}}
            for meta in self._metas.values():
                for pairing in meta.pairings:
                    twice = found.get(pairing.monitor)
                    if twice is not None:
                        held[pairing.id] = held[twice.pairing.id] = twice.held = (
                            f"{pairing.name or pairing.monitor} is paired with {twice.meta.words} and with {meta.words}. "
                            "Take it off one of them, then pair it again."
                        )
                    found[pairing.monitor] = Bound(meta, pairing, held.get(pairing.id, ""))
            self._held = held
            self._bound = found

    # ---- pages

    def listen(self, case: str, ear: Ear) -> None:
        """From the page's own loop: this ear hears the case from now on, beginning with the state as it is."""
        self._work.put(("hello", case, ear, asyncio.get_running_loop()))

    def leave(self, case: str, ear: Ear) -> None:
        self._work.put(("bye", case, ear))

    def _hello(self, case: str, ear: Ear, loop: asyncio.AbstractEventLoop) -> None:
        self._ears[case][ear] = loop
        room = self._rooms.get(case)
        if room is None:
            folded, _ = self._store.case(case)
            room = self._rooms[case] = Room(meta_of(case, folded), self._facts, self._make_reader)
        now = self._clock.now()
        held = {x.monitor for x in room.links.values() if x.held}
        self._out[loop].append((ear, room.state(now, self.candidates_for(case, now))))
        if not held:
            self._out[loop].extend((ear, line) for _, line in room.backlog)

    def _bye(self, case: str, ear: Ear) -> None:
        self._ears.get(case, {}).pop(ear, None)
        if not self._ears.get(case):
            self._ears.pop(case, None)
            room = self._rooms.get(case)
            if room is not None and not room.meta.pairings:
                del self._rooms[case]

    def _tell_states(self) -> None:
        now, beat = self._clock.now(), time.monotonic()
        for case, ears in self._ears.items():
            room = self._rooms.get(case)
            if room is None:
                continue
            since = beat - room.sent_at
            if since >= SELDOM_S or (room.dirty and since >= OFTEN_S):
                line = room.state(now, self.candidates_for(case, now))
                room.sent_at, room.dirty = beat, False
                for ear, loop in ears.items():
                    self._out[loop].append((ear, line))

    def _flush(self) -> None:
        for loop, said in self._out.items():
            if said and not loop.is_closed():
                loop.call_soon_threadsafe(deliver, said)
        self._out = defaultdict(list)

    def shown(self, monitor: str) -> bool:
        """Whether a page shows the patient that a monitor is on."""
        bound = self._bound.get(monitor)
        return bound is not None and bool(self._ears.get(bound.meta.case))

    def on_wave(self, case: str, now: datetime) -> OnWave | None:
        room = self._rooms.get(case)
        return None if room is None else room.on_wave(now)

    # ---- candidates

    def candidates(self, now: datetime | None = None) -> tuple[Candidate, ...]:
        """Every monitor heard of late: the first that has no patient first."""
        at = now or self._clock.now()
        kept, bound = self._listed
        if bound is self._bound and time.monotonic() - kept < OFTEN_S:
            return self._list
        with self._lock:
            heard = [m for m in self._monitors.values() if m.heard_at is not None and at - m.heard_at <= GONE]
        bound = self._bound
        found = sorted(
            (candidate(m, self._bound.get(m.id), at) for m in heard),
            key=lambda c: (bool(c.taken_by), c.place, c.name, c.monitor),
        )
        self._list, self._listed = tuple(found), (time.monotonic(), bound)
        return self._list

    def candidates_for(self, case: str, now: datetime) -> tuple[Candidate, ...]:
        """Without those that are on this patient already and believed; the room's own first, which says where to look and
        nothing more. Where one is on, only those that nobody has."""
        room = self._rooms.get(case)
        ours, here = (set(room.links), room.meta.room) if room is not None else (set(), "")
        doubted = {x.monitor for x in room.links.values() if x.held} if room is not None else set()
        found = [c for c in self.candidates(now) if c.monitor not in ours and not (ours and c.taken_by)]
        # one that is held back on this patient can be paired with it again, by what it says now
        said = [candidate(self._monitors[m], self._bound.get(m), now) for m in sorted(doubted) if m in self._monitors]
        found += [replace(c, taken_by="", why_not="") for c in said]
        return tuple(sorted(found, key=lambda c: not here or c.place != here))
