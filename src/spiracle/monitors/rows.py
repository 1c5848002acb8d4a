"""The rows of a message as we name them: which device and channel a row belongs to, and when it was measured.

The numbers of OBX-4 (device, unit, channel, metric) may change from message to message: a series is its term, device and channel.
"""

from __future__ import annotations

import re
from datetime import datetime

import msgspec

from spiracle.monitors import codes
from spiracle.monitors.codes import Term
from spiracle.monitors.segments import Segment
from spiracle.monitors.tables import MonitorTables, UnitRow
from spiracle.monitors.times import NO_ZONE, Stamp, read_stamp
from spiracle.monitors.units import by_mdc, by_ucum

_TUPLE = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9}){0,5}")
SUFFIXES = frozenset({"TIM", "CHN", "WAV", "ANO"})
MOST_FLAGS = 20


class Group(msgspec.Struct, frozen=True, kw_only=True):
    """One OBR: the default time of its rows, and the end of its waves."""

    index: int
    start: Stamp
    end: Stamp


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One OBX. `at` is its own time or its group's; `why` holds the row back."""

    segment: Segment
    group: Group
    kind: str
    term: Term
    suffix: str
    place: tuple[int, ...]
    flags: tuple[str, ...]
    status: str
    at: datetime | None
    why: str

    @property
    def names_device(self) -> bool:
        """A row of device, unit or channel: four numbers, the last of them nought, and no value."""
        return len(self.place) == 4 and self.place[3] == 0 and not self.kind

    @property
    def device(self) -> str:
        return equipment(self.segment)


def row_of(tables: MonitorTables, segment: Segment, group: Group) -> Row:
    place = segment.text(4)
    term = _term(tables, segment)
    flags = tuple(w for rep in segment.parts(8)[:MOST_FLAGS] if rep and rep[0] and (w := rep[0][0][:20]))
    at, why = _time(segment, group)
    if not _TUPLE.fullmatch(place):
        why = why or "its place (OBX-4) cannot be read"
    if len(segment.parts(8)) > MOST_FLAGS:
        why = why or f"more than {MOST_FLAGS} flags"
    return Row(
        segment=segment,
        group=group,
        kind=segment.text(2),
        term=term,
        suffix=segment.text(3, 1, 2),
        place=tuple(int(n) for n in place.split(".")) if _TUPLE.fullmatch(place) else (),
        flags=flags,
        status=segment.text(11),
        at=at,
        why=why,
    )


def _term(tables: MonitorTables, segment: Segment) -> Term:
    """The term of OBX-3, from its first triple or its second, whichever is MDC."""
    for first in (1, 4):
        if segment.text(3, first + 2) == "MDC":
            number, ref = codes.number_of(segment.text(3, first)), segment.text(3, first + 1)[:80]
            return codes.find(tables, number, ref, codes.METRICS)
    return Term(code=None, ref=segment.text(3, 2)[:80] or segment.text(3)[:80], why="no MDC term")


def _time(segment: Segment, group: Group) -> tuple[datetime | None, str]:
    """A row's time and why it is held. Its own time must be whole: a value measured minutes ago is not one of now."""
    own = segment.text(14)
    if own:
        stamp = read_stamp(own)
        return stamp.at, stamp.why
    if group.start.at is None and group.start.why not in {NO_ZONE, "no time"}:
        return None, group.start.why
    return group.start.at, ""


def unit_of(tables: MonitorTables, segment: Segment, field: int = 6) -> UnitRow | None:
    """The unit of a field, from its first triple or its second; MDC by number and name, UCUM by code."""
    for first in (1, 4):
        found = unit_of_triple(
            tables, segment.text(field, first), segment.text(field, first + 1), segment.text(field, first + 2)
        )
        if found is not None:
            return found
    return None


def unit_of_triple(tables: MonitorTables, code: str, name: str, system: str) -> UnitRow | None:
    if system == "UCUM":
        return by_ucum(tables, code)
    if system != "MDC":
        return None
    number = codes.number_of(code)
    if number is not None and number < codes.PARTITION:
        number = codes.code_of(codes.UNITS, number)  # the name must agree as well, so this is no guess
    return by_mdc(tables, number, name)


def unit_words(segment: Segment, unit: UnitRow | None) -> str:
    """The unit as people read it, or as it was sent."""
    return unit.log if unit is not None else (segment.text(6, 2) or segment.text(6))[:80]


def equipment(segment: Segment) -> str:
    """The id of OBX-18: the EUI-64 where there is one, else the id as given."""
    kind, universal = segment.words(18, 4), segment.words(18, 3)
    return universal if kind == "EUI-64" and universal else segment.words(18)


class Devices:
    """The device rows of a message: whose message it is, and what each channel is called."""

    def __init__(self, rows: list[Row]) -> None:
        self._by_place = {row.place: row for row in rows if row.names_device}

    def monitors(self) -> tuple[str, ...]:
        """The ids of whole devices (1.0.0.0), each once."""
        ids = (row.device for place, row in self._by_place.items() if not any(place[1:]))
        return tuple(dict.fromkeys(i for i in ids if i))

    def channel(self, place: tuple[int, ...], monitor: str) -> str:
        """What the channel of a row is called: the unit's own id or label where it has one, then the channel's label or term."""
        if len(place) < 4:
            return ""
        named = [self._by_place.get((*place[:2], 0, 0)) if place[1] else None]
        channel = self._by_place.get((*place[:3], 0)) if place[2] else None
        said = [_own_name(row, monitor) for row in named if row is not None]
        if channel is not None:
            said.append(_own_name(channel, monitor) or channel.term.ref)
        return " ".join(word for word in said if word)


def _own_name(row: Row, monitor: str) -> str:
    own = row.device
    return " ".join(w for w in (own if own != monitor else "", row.segment.words(5)) if w)


def joined(segment: Segment, field: int, components: tuple[int, ...]) -> str:
    """Components of a field as one text."""
    return " ".join(word for n in components if (word := segment.words(field, n)))
