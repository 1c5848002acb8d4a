"""Rows that a room acts on: each says whose word it is, how that was seen, and which stated facts it rests on."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import TypeVar

import msgspec

from spiracle.quantity import Quantity, unit
from spiracle.quantity.units import NUMBER
from spiracle.refusals import BadTable
from spiracle.source.citing import Seen, Sources
from spiracle.source.rows import need_sources
from spiracle.source.stated import Facts


class ActedOn(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of every such row. `rests_on` names the room's stated facts; `origin` is whose table it stands in."""

    id: str
    rests_on: tuple[str, ...]
    source: tuple[str, ...]
    seen: Seen
    note: str = ""
    origin: str = "spiracle"

    @property
    def memory(self) -> bool:
        """Whether the mark for memory goes with every figure worked from this row."""
        return self.seen is Seen.MEMORY


class Setting(ActedOn, frozen=True, kw_only=True):
    """One figure that is acted on. An empty unit is a pure number."""

    says: str
    value: Decimal | int
    unit: str

    @property
    def quantity(self) -> Quantity:
        return Quantity.of(self.value, unit(self.unit) if self.unit else NUMBER)

    @property
    def number(self) -> float:
        return float(self.value)


R = TypeVar("R", bound=ActedOn)


def checked_rows(rows: Iterable[R], stated: Facts, sources: Sources) -> tuple[R, ...]:
    """Rows that cite something listed and rest on facts that are there, each id once."""
    found: dict[str, R] = {}
    for row in rows:
        need_sources(row.id, row.source)
        sources.of(row.source)
        for fact in row.rests_on:
            if fact not in stated:
                raise BadTable(f"row {row.id}", f"rests on {fact}, which is not listed.")
        if row.id in found:
            raise BadTable(f"row {row.id}", "stands twice.", "Give each row one id.")
        found[row.id] = row
    return tuple(found.values())


def settings_of(rows: Iterable[Setting], wanted: frozenset[str], room: str) -> dict[str, Setting]:
    """The settings of a room by id; one too many or too few does not load."""
    found = {row.id: row for row in rows}
    if found.keys() != wanted:
        raise BadTable(f"{room} settings", f"are not the ones expected: {sorted(found.keys() ^ wanted)}.")
    return found
