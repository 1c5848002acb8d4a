"""Invented monitors for the demo's sleeping patients: they run on the server's clock, as long as the server runs."""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case.events import MonitorPaired
from spiracle.doors.clock import Clock
from spiracle.doors.demo.telling import Story
from spiracle.doors.monitor_hub import MonitorHub
from spiracle.monitors.heard import Heard, Number, Wave

RATE_HZ, EVERY_S = 100, 0.1
UNHEARD_S = 1.0  # while no page shows the patient, a message a second is enough


@dataclass(frozen=True, slots=True)
class Invented:
    """One monitor and what its patient's trace is like."""

    monitor: str
    name: str
    place: str
    breaths: float
    etco2: float
    pulse: float
    numbers: tuple[tuple[str, str, str, str], ...]
    pressure: tuple[str, str, str]


LARCH = Invented(
    "demo-theatre-2", "Monitor, theatre 2", "Theatre 2", 12.0, 44.0, 80.0,
    (("heart_rate", "80", "/min", "MDC_ECG_HEART_RATE"), ("spo2", "98", "%", "MDC_PULS_OXIM_SAT_O2"),
     ("pulse_rate", "80", "/min", "MDC_PULS_OXIM_PULS_RATE"), ("etco2", "44", "mmHg", "MDC_CONC_AWAY_CO2_ET"),
     ("fico2", "0", "mmHg", "MDC_CONC_AWAY_CO2_INSP"), ("respiratory_rate", "12", "/min", "MDC_CO2_RESP_RATE"),
     ("temperature", "37.2", "Cel", "MDC_TEMP_ESOPH")),
    ("108", "75", "60"),
)  # fmt: skip


SORREL = Invented(
    "demo-dental", "Monitor, dental room", "Dental room", 14.0, 41.0, 144.0,
    (("heart_rate", "144", "/min", "MDC_ECG_HEART_RATE"), ("spo2", "98", "%", "MDC_PULS_OXIM_SAT_O2"),
     ("pulse_rate", "144", "/min", "MDC_PULS_OXIM_PULS_RATE"), ("etco2", "41", "mmHg", "MDC_CONC_AWAY_CO2_ET"),
     ("fico2", "0", "mmHg", "MDC_CONC_AWAY_CO2_INSP"), ("respiratory_rate", "14", "/min", "MDC_CO2_RESP_RATE"),
     ("temperature", "36.8", "Cel", "MDC_TEMP_ESOPH")),
    ("88", "62", "47"),
)  # fmt: skip
ALL = (LARCH, SORREL)


def paired(s: Story, who: Invented) -> None:
    """A person of the story felt the pulse, and said that this monitor is on this patient."""
    s.tell(MonitorPaired, monitor=who.monitor, name=who.name, place=who.place, seen="pulse felt with it")


class InventedMonitor:
    """Speaks ten times a second from a thread of its own while a page shows the patient, else once."""

    def __init__(self, who: Invented, hub: MonitorHub, clock: Clock) -> None:
        self._who, self._hub, self._clock = who, hub, clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=who.monitor, daemon=True)
        self._said = 0

    def start(self) -> InventedMonitor:
        self._began = self._clock.now()
        self._thread.start()
        return self

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(5)

    def _run(self) -> None:
        while not self._stop.wait(EVERY_S):
            due = int((self._clock.now() - self._began).total_seconds() * RATE_HZ)
            if due <= self._said or (due - self._said < UNHEARD_S * RATE_HZ and not self._hub.shown(self._who.monitor)):
                continue
            if due - self._said > 10 * RATE_HZ:  # the computer slept: a gap
                self._said = due - RATE_HZ
            self._hub.submit(self.message(self._said, due), self._clock.now())
            self._said = due

    def message(self, first: int, until: int) -> Heard:
        at = self._began + timedelta(seconds=first / RATE_HZ)
        end = self._began + timedelta(seconds=until / RATE_HZ)
        second = until // RATE_HZ
        numbers = _numbers(self._who, second, end, self._began) if second != first // RATE_HZ else ()
        return Heard(
            monitor=self._who.monitor, name=self._who.name, place=self._who.place, test=True, sent_at=end, numbers=numbers,
            message_id=f"{self._began:%Y%m%d%H%M%S%f}-{first}",
            waves=_waves(self._who, first, until, at),
        )  # fmt: skip


def _waves(who: Invented, first: int, until: int, at: datetime) -> tuple[Wave, Wave]:
    """The pieces join: each is drawn from the moment the last one ended."""
    from spiracle.rehearsal.traces import capnogram_like, pleth_like

    seconds, begin = (until - first) / RATE_HZ, first / RATE_HZ
    drawn = (
        (
            "co2",
            "MDC_CONC_AWAY_CO2",
            "mm[Hg]",
            0.1,
            capnogram_like(who.breaths, who.etco2, RATE_HZ, seconds, begin_s=begin),
        ),
        ("pleth", "MDC_PULS_OXIM_PLETH", "1", 0.1, pleth_like(who.pulse, RATE_HZ, seconds, begin_s=begin)),
    )
    made = [
        Wave(code=None, ref=ref, wave=name, unit=unit, rate_hz=float(RATE_HZ), scale=scale, offset=0.0, device_at=at, seq=first,
             samples=tuple(round(float(x) / scale) for x in trace))
        for name, ref, unit, scale, trace in drawn
    ]  # fmt: skip
    return made[0], made[1]


def _numbers(who: Invented, second: int, at: datetime, began: datetime) -> tuple[Number, ...]:
    """Once a second; the cuff every three minutes."""
    drift = Decimal(round(2 * math.sin(second / 47)))
    said = [
        Number(code=None, ref=ref, reading=reading, value=_moved(reading, Decimal(value), drift), unit=unit, device_at=at,
               raw=f"{_moved(reading, Decimal(value), drift)} {unit}")
        for reading, value, unit, ref in who.numbers
    ]  # fmt: skip
    cuff = began + timedelta(seconds=second // 180 * 180)
    refs = {"sap": "MDC_PRESS_BLD_NONINV_SYS", "map": "MDC_PRESS_BLD_NONINV_MEAN", "dap": "MDC_PRESS_BLD_NONINV_DIA"}
    said += [
        Number(code=None, ref=refs[name], reading=name, value=Decimal(value), unit="mmHg", raw=f"{value} mmHg", device_at=cuff,
               method="oscillometric", site="left fore")
        for name, value in zip(("sap", "map", "dap"), who.pressure, strict=True)
    ]  # fmt: skip
    return tuple(said)


def _moved(reading: str, value: Decimal, drift: Decimal) -> Decimal:
    return value + drift if reading in {"heart_rate", "pulse_rate"} else value
