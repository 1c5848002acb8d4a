"""Patients with monitors for the tests of the live panel: a log, an archive and a hub, all real; what monitors say is made up."""

from __future__ import annotations

import asyncio
import json
import math
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from looped import looped
from served import wait_for
from small_house import NINE, house
from spiracle.case import events as ev
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import LogStore, open_store
from spiracle.doors.log_store_write import write
from spiracle.doors.monitor_breaths import Readers
from spiracle.doors.monitor_hub import MonitorHub
from spiracle.doors.monitor_state import Taken
from spiracle.doors.waves.archive import WaveArchive, open_archive
from spiracle.monitors.heard import Heard, Number, Wave

HZ = 100


def breath(i: int, hz: int = HZ, top: float = 400.0) -> int:
    """A CO2 trace by sample, in tenths of a mmHg: 15 breaths a minute, up within 0.2 s, a plateau, down within 0.2 s."""
    x = (i / hz) % 4.0
    if x < 2.4:
        return round(top * (1 - math.exp(-x / 0.07)))
    return round(top * math.exp(-(x - 2.4) / 0.06))


def co2(first: int, n: int, **more: Any) -> Wave:
    return Wave(**{"code": 151700, "ref": "MDC_CONC_AWAY_CO2", "wave": "co2", "unit": "mm[Hg]", "rate_hz": float(HZ), "scale": 0.1,
                   "offset": 0.0, "samples": tuple(breath(i) for i in range(first, first + n)), "seq": first, **more})  # fmt: skip


def number(reading: str, value: str | None, unit: str, **more: Any) -> Number:
    return Number(**{"code": None, "ref": f"MDC_{reading.upper()}", "reading": reading, "value": None if value is None else Decimal(value),
                     "unit": unit, "raw": f"{value or ''} {unit}".strip(), **more})  # fmt: skip


class Ward:
    """`clock` stands until it is moved. `say` is what a monitor says now."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.clock, self.facts = folder, SetClock(NINE), house()
        self.url = f"sqlite:///{folder / 'ward.sqlite'}"
        self.store: LogStore = open_store(self.url, self.clock)
        self.open()

    def open(self) -> None:
        self.archive: WaveArchive = open_archive(self.url, None, self.clock, background=False)
        self.hub = MonitorHub(self.store, self.facts, self.archive, self.clock, Readers(self.archive)).start()

    def restart(self) -> None:
        """The hub and the archive end and begin again, as with a new start of the server."""
        self.hub.stop()
        self.archive.close()
        self.open()

    def close(self) -> None:
        self.hub.stop()
        self.archive.close()
        self.store.close()

    # ---- cases

    def tell(self, case: str, kind: type[ev.Event], /, **fields: Any) -> ev.Event:
        now = self.clock.now()
        event = kind(
            **{"id": str(uuid.uuid4()), "case": case, "happened_at": now, "recorded_at": now, "by": "tec", **fields}
        )
        answer = write(self.store, self.facts, self.clock, case, [event]).answers[0]
        assert answer.written, answer.refused
        return event

    def patient(self, name: str = "Rex", number: str = "H-6", practice: bool = False) -> str:
        case = str(uuid.uuid4())
        self.tell(case, ev.CaseOpened, species="dog", name=name, number=number, practice=practice)
        return case

    def pair(self, case: str, monitor: str = "m1", **more: Any) -> None:
        event = self.tell(
            case, ev.MonitorPaired, **{"monitor": monitor, "name": "Monitor 1", "seen": "pulse felt with it", **more}
        )
        wait_for(lambda: self.bound(monitor) == event.id)

    def bound(self, monitor: str) -> str:
        found = self.hub._bound.get(monitor)
        return "" if found is None else found.pairing.id

    # ---- monitors

    def say(self, monitor: str = "m1", *, late: float = 0.0, **more: Any) -> Taken:
        now = self.clock.now()
        return self.hub.take(Heard(**{"monitor": monitor, "sent_at": now - timedelta(seconds=late), **more}), now)

    def breathe(self, first: int, n: int, monitor: str = "m1", step: int = 20) -> None:
        """CO2 on end, in packets, the clock going on with it."""
        for at in range(first, first + n, step):
            self.clock.forward(timedelta(seconds=step / HZ))
            self.say(monitor, waves=(co2(at, step),))

    def heard(self, case: str) -> list[tuple[str, dict[str, Any]]]:
        """What a page that opens now is sent at once: the state, then the last seconds of the waves."""

        async def ask() -> list[bytes]:
            ear: asyncio.Queue[bytes | None] = asyncio.Queue(5000)
            self.hub.listen(case, ear)
            lines = [await ear.get() or b""]
            self.hub.leave(case, ear)
            while not ear.empty():
                lines.append(ear.get_nowait() or b"")
            return lines

        return [parsed(line) for line in looped(ask())]

    def state(self, case: str) -> dict[str, Any]:
        return self.heard(case)[0][1]

    def shown(self, case: str) -> dict[str, str]:
        return {n["reading"]: n["text"] for n in self.state(case)["numbers"]}

    def kept(self, case: str, wave: str = "co2") -> list[int | None]:
        """Every sample in the archive, None where one is missing within a run."""
        span = timedelta(days=1)
        runs = self.archive.read(case, wave, NINE - span, NINE + span)
        return [None if gone else int(x) for run in runs for x, gone in zip(run.samples, run.missing, strict=True)]


def parsed(line: bytes) -> tuple[str, dict[str, Any]]:
    name, data = line.decode().strip().split("\n")
    return name.removeprefix("event: "), json.loads(data.removeprefix("data: "))


@contextmanager
def a_ward(folder: Path) -> Iterator[Ward]:
    ward = Ward(folder)
    try:
        yield ward
    finally:
        ward.close()
