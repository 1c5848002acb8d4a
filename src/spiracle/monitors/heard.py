"""One message of a monitor, read: numbers, waves and all that was wrong with it. Nothing here is charted yet, and no patient is
chosen: pairing a monitor with a case is a person's act."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Literal

import msgspec

Standing = Literal[
    "measured", "validated", "early", "calibrating", "questionable", "measuring", "unavailable", "invalid", "no information",
    "above scale", "below scale", "switched off", "corrected", "deleted",
]  # fmt: skip


class Number(msgspec.Struct, frozen=True, kw_only=True):
    """One number. `reading` is the log's word for it ("spo2"), or "" when number, name or unit is not one we know: then it is
    held in `why` and charted by nobody. `value` and `unit` are the log's; `raw` is what was sent, value and unit."""

    code: int | None
    ref: str
    reading: str
    value: Decimal | None
    unit: str
    raw: str
    standing: Standing = "measured"
    setting: bool = False
    flags: tuple[str, ...] = ()
    why: str = ""
    channel: str = ""
    site: str = ""
    method: str = ""
    limits: str = ""
    alarm: str = ""
    device_at: datetime | None = None


class Wave(msgspec.Struct, frozen=True, kw_only=True):
    """Samples on end, as whole numbers: value = sample * scale + offset in `unit` (UCUM). None is a missing sample.
    `seq` is the device's own count of the first sample where it sends one. `wave` is "co2", "pleth", "pressure" or "" (held)."""

    code: int | None
    ref: str
    wave: str
    unit: str
    rate_hz: float
    scale: float
    offset: float
    samples: tuple[int | None, ...]
    device_at: datetime | None = None
    seq: int | None = None
    gap: str = ""
    why: str = ""


class Heard(msgspec.Struct, frozen=True, kw_only=True):
    """One message. `monitor` is the EUI-64 or the name it gives itself; `test` is true for test, training or demonstration data,
    which no live case takes. `sent_at` is None where the message has no zone: times are then arrival's."""

    monitor: str
    name: str = ""
    place: str = ""
    patient_ids: tuple[str, ...] = ()
    patient_name: str = ""
    message_id: str = ""
    sent_at: datetime | None = None
    test: bool = False
    numbers: tuple[Number, ...] = ()
    waves: tuple[Wave, ...] = ()
    problems: tuple[str, ...] = ()
