"""Messages of a hospital's MQTT broker: topic and JSON payload in, `Heard` out.

Topics and payload are of our own making (docs/monitors-other.md has both), on the terms of IEEE 11073-10101, UCUM and RFC 3339:

    spiracle/v1/{site}/{room}/{device}/num            {"id", "t_dev", "t_sent", "t_rx", "seq", "code", "ref", "v", "u", "st"}
    spiracle/v1/{site}/{room}/{device}/wave/{code}    {"id", "t_dev", "seq", "code", "ref", "u", "hz", "scale", "offset", "s", "st"}
    spiracle/v1/{site}/{room}/{device}/status         "online" or "offline", retained
"""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.monitors import flags
from spiracle.monitors.codes import find
from spiracle.monitors.heard import Heard, Number, Wave
from spiracle.monitors.tables import MonitorTables
from spiracle.monitors.units import by_ucum, charted

ROOT = "spiracle/v1"
KINDS = ("num", "wave", "status")
LONGEST_PAYLOAD = 1 << 20  # octets
MOST_FLAGS = 16
INT32 = 1 << 31
_NAME = re.compile(r"[^/+#\x00-\x1f]{1,64}")
_ID = re.compile(r"[!-~]{1,64}")
_EUI_64 = re.compile(
    r"(?!(.)\1{15})[0-9A-Fa-f]{16}"
)  # sixteen times one digit is a place left empty, and no device's own

Kind = Literal["num", "wave", "status"]


class Topic(msgspec.Struct, frozen=True, kw_only=True):
    site: str
    room: str
    device: str
    kind: Kind
    code: str = ""

    @property
    def monitor(self) -> str:
        """Which monitor this is: an EUI-64 alone, for no two devices have one; any other name only with its site and room, for
        every room may have one of that name (D7)."""
        return self.device if _EUI_64.fullmatch(self.device) else f"{self.site}/{self.room}/{self.device}"


class Said(msgspec.Struct, frozen=True, kw_only=True):
    """One message, read. `stale` is a retained number or wave: it may be of any time, and is not heard at all."""

    topic: Topic
    id: str = ""
    seq: int | None = None
    heard: Heard | None = None
    status: Literal["online", "offline", ""] = ""
    stale: bool = False


class _Common(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    code: int
    ref: str
    u: str = ""
    seq: int | None = None
    t_dev: str = ""
    t_rx: str = ""
    t_sent: str = ""
    st: tuple[str, ...] = ()


class _NumberSaid(_Common, frozen=True, kw_only=True):
    v: Decimal | None = None
    site: str = ""


class _WaveSaid(_Common, frozen=True, kw_only=True):
    hz: float
    scale: float
    s: tuple[int | None, ...]
    offset: float = 0.0
    first: int | None = None


def topics_of(site: str) -> tuple[str, ...]:
    """What is to be asked of the broker for one site.

    >>> topics_of("north")[0]
    'spiracle/v1/north/+/+/num'
    """
    return tuple(f"{ROOT}/{site}/+/+/{tail}" for tail in ("num", "wave/+", "status"))


def is_name(text: str) -> bool:
    """Whether the text can be one level of a topic: no slash, no wildcard, no control character."""
    return _NAME.fullmatch(text) is not None


def topic_of(text: str) -> Topic | None:
    """The parts of a topic, or None where it is none of ours.

    >>> topic_of("spiracle/v1/north/theatre 2/0123456789ABCDEF/num").device
    '0123456789ABCDEF'
    """
    if not text.startswith(f"{ROOT}/") or len(text) > 400:
        return None
    parts = text.removeprefix(f"{ROOT}/").split("/")
    kind = parts[3] if len(parts) >= 4 else ""
    if kind not in KINDS or len(parts) != (5 if kind == "wave" else 4) or not all(is_name(part) for part in parts):
        return None
    return Topic(site=parts[0], room=parts[1], device=parts[2], kind=kind, code=parts[4] if kind == "wave" else "")  # type: ignore[arg-type]


def read(tables: MonitorTables, topic: Topic, payload: bytes, retained: bool = False) -> Said:
    """One message. Raises nothing: what cannot be read is told in `problems`, and then nothing of it is a number or a wave."""
    if topic.kind == "status":
        return Said(topic=topic, status=_status(payload))
    if retained:
        return Said(topic=topic, stale=True)
    if len(payload) > LONGEST_PAYLOAD:
        return _broken(topic, f"The message has {len(payload)} octets, more than {LONGEST_PAYLOAD}: not read.")
    try:
        said = _decode(topic, payload)
    except (ValueError, ArithmeticError, RecursionError) as fault:
        return _broken(topic, f"The message could not be read ({type(fault).__name__}).")
    fault_in = _fault(said, topic)
    if fault_in:
        return _broken(topic, fault_in)
    return _said(tables, topic, said)


def _decode(topic: Topic, payload: bytes) -> _NumberSaid | _WaveSaid:
    if topic.kind == "num":
        return msgspec.json.decode(payload, type=_NumberSaid)
    return msgspec.json.decode(payload, type=_WaveSaid)


def in_order(said: Said, missing: int, note: str) -> Heard | None:
    """What was heard, with what its place in the order tells: a gap stands on the wave and in `problems`."""
    if said.heard is None or not note:
        return said.heard
    gap = note if missing else ""
    waves = tuple(msgspec.structs.replace(wave, gap=gap or wave.gap) for wave in said.heard.waves)
    return msgspec.structs.replace(
        said.heard, waves=waves, problems=(*said.heard.problems, f"Order of messages: {note}.")
    )


def rfc3339(text: str) -> datetime | None:
    """An RFC 3339 time with its offset, or None. -00:00 says that the offset is not known.

    >>> rfc3339("2026-03-12T10:15:00+01:00").utcoffset()
    datetime.timedelta(seconds=3600)
    >>> rfc3339("2026-03-12T10:15:00"), rfc3339("2026-03-12T10:15:00-00:00")
    (None, None)
    """
    if len(text) > 40 or text.endswith("-00:00"):
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return at if at.tzinfo is not None and 1 < at.year < 9999 else None


def plain(value: Decimal) -> bool:
    """Whether a number is one that a monitor can mean: finite, at most twelve digits before the point and eight after."""
    return value.is_finite() and abs(value) < 10**12 and (not value or value.adjusted() >= -8)


def _status(payload: bytes) -> Literal["online", "offline", ""]:
    text = payload[:16].strip()
    return "online" if text == b"online" else "offline" if text == b"offline" else ""


def _broken(topic: Topic, why: str) -> Said:
    return Said(topic=topic, heard=Heard(monitor=topic.monitor, place=topic.room, problems=(why,)))


def _fault(said: _NumberSaid | _WaveSaid, topic: Topic) -> str:
    """Why the whole message is put aside, or ""."""
    if not _ID.fullmatch(said.id):
        return "The message has no id of 1 to 64 plain characters: a repeat could not be told."
    if len(said.st) > MOST_FLAGS or any(len(flag) > 32 for flag in said.st) or max(len(said.ref), len(said.u)) > 128:
        return "The message has flags or names longer than any we know."
    if not 0 <= said.code < INT32 * 2 or (said.seq is not None and not 0 <= said.seq < 1 << 53):
        return "The message has a code or a count that cannot be."
    if isinstance(said, _NumberSaid):
        return "" if said.v is None or plain(said.v) else "The value is no number that a monitor can mean."
    if topic.code != str(said.code):
        return f"The topic says {topic.code} and the message {said.code}."
    return _wave_fault(said)


def _wave_fault(said: _WaveSaid) -> str:
    if not (math.isfinite(said.hz) and math.isfinite(said.scale) and math.isfinite(said.offset)):
        return "Rate, scale and offset of a wave must be numbers."
    if not said.scale or abs(said.scale) > 1e9 or abs(said.offset) > 1e12:
        return "The scale of the wave cannot be."
    if not said.s:
        return "The wave has no samples."
    if said.first is not None and not 0 <= said.first < 1 << 53:
        return "The count of the first sample cannot be."
    if any(sample is not None and not -INT32 <= sample < INT32 for sample in said.s):
        return "The wave has samples of more than 32 bits."
    return ""


def _said(tables: MonitorTables, topic: Topic, said: _NumberSaid | _WaveSaid) -> Said:
    at = rfc3339(said.t_dev)
    problems = []
    if said.t_dev and at is None:
        problems.append("The device's time has no offset, or is no time: the time of arrival is taken.")
    if unknown := flags.strange(tables, said.st):
        problems.append(f"Flags we do not know: {', '.join(unknown)}.")
    numbers: tuple[Number, ...] = ()
    waves: tuple[Wave, ...] = ()
    sent = rfc3339(said.t_sent) or at
    if isinstance(said, _NumberSaid):
        numbers = (_number(tables, said, at),)
    else:
        wave = _wave(tables, said, at)
        if isinstance(wave, str):
            return _broken(topic, wave)
        waves = (wave,)
        if at is not None and not said.t_sent:
            sent = at + timedelta(seconds=len(said.s) / said.hz)  # a wave is sent when its last sample is there
    heard = Heard(
        monitor=topic.monitor, place=topic.room, message_id=said.id, sent_at=sent, test=flags.tests(tables, said.st),
        numbers=numbers, waves=waves, problems=tuple(problems),
    )  # fmt: skip
    return Said(topic=topic, id=said.id, seq=said.seq, heard=heard)


def _number(tables: MonitorTables, said: _NumberSaid, at: datetime | None) -> Number:
    raw = f"{said.v:f} {said.u}".strip() if said.v is not None else ""
    term = find(tables, said.code, said.ref)
    stand = flags.standing(tables, "R", said.st)
    number = Number(
        code=said.code, ref=said.ref, reading="", value=None, unit="", raw=raw, standing=stand, setting=term.setting,
        flags=said.st, site=said.site[:64], alarm=flags.alarm(tables, said.st), device_at=at,
    )  # fmt: skip
    if term.row is None:
        return msgspec.structs.replace(number, why=term.why)
    if not term.row.reading:
        return msgspec.structs.replace(number, why=term.row.held or "a wave, not a number")
    named = msgspec.structs.replace(
        number, reading=term.row.reading, site=number.site or term.row.site, method=term.row.method
    )
    if stand in flags.GAPS:
        return msgspec.structs.replace(named, why=", ".join(said.st))
    if said.v is None:
        return msgspec.structs.replace(named, standing="unavailable", why="no value was sent")
    read_in = charted(term.row, said.v, by_ucum(tables, said.u))
    if read_in.value is None:
        return msgspec.structs.replace(number, why=read_in.why)
    return msgspec.structs.replace(named, value=read_in.value, unit=read_in.unit)


def _wave(tables: MonitorTables, said: _WaveSaid, at: datetime | None) -> Wave | str:
    """The wave, or why there is none: more samples or another rate than our limits, which no part of it could be right for."""
    if len(said.s) > tables.limit("message-samples"):
        return f"The wave has {len(said.s)} samples in one message, more than {tables.limit('message-samples')}."
    low, high = tables.limit("rate-low"), tables.limit("rate-high")
    if not low <= said.hz <= high:
        return f"A wave of {said.hz:g} samples a second is outside {low:g} to {high:g}."
    term = find(tables, said.code, said.ref)
    wave = Wave(
        code=said.code, ref=said.ref, wave="", unit=said.u, rate_hz=said.hz, scale=said.scale, offset=said.offset, samples=said.s,
        device_at=at, seq=said.first,
    )  # fmt: skip
    why = term.why if term.row is None else _wave_why(tables, term.row.wave, term.row.units, said)
    if why or term.row is None:
        return msgspec.structs.replace(wave, why=why)
    return msgspec.structs.replace(wave, wave=term.row.wave)


def _wave_why(tables: MonitorTables, name: str, units: tuple[str, ...], said: _WaveSaid) -> str:
    if not name:
        return "a number, or a wave the panel does not draw"
    unit = by_ucum(tables, said.u)
    if unit is None or unit.ucum not in units:
        return f"the unit {said.u!r} does not fit"
    stand = flags.standing(tables, "R", said.st)
    return f"flagged {stand}" if stand in flags.GAPS else ""
