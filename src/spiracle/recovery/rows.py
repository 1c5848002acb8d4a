"""The rows of the recovery tables, as they stand in TOML."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.source import Seen


class Row(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of the rows: each cites and says how it was seen."""

    source: tuple[str, ...]
    seen: Seen
    note: str = ""
    facts: tuple[str, ...] = ()

    @property
    def memory(self) -> bool:
        return not self.seen.published


class Line(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line to look at. Without conditions and procedures it is for every animal of its species; with them, for those."""

    id: str
    says: str
    detail: str = ""
    hard: bool = False
    species: Literal["dog", "cat", "any"] = "any"
    conditions: tuple[str, ...] = ()
    procedures: tuple[str, ...] = ()

    def suits(self, species: str, conditions: Collection[str], procedure: str) -> bool:
        if self.species not in {species, "any"}:
            return False
        if not self.conditions and not self.procedures:
            return True
        plain = procedure.lower()
        return any(c in conditions for c in self.conditions) or any(p in plain for p in self.procedures)


class Watch(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often someone looks, between two times since extubation."""

    from_min: int
    to_min: int
    every_min: int
    when: str
    sternal_and_warm: bool


class Watching(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    first_minutes: int
    late_after_min: int
    warm_from_c: Decimal
    stop_temperature_from_c: Decimal
    rising_by_c: Decimal


class Outcome(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    hours: int


class Scale(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A scale by name, range and the score at which relief is due. `memory_fields`: what of it was not read."""

    id: str
    name: str
    kind: Literal["pain", "sedation"]
    species: Literal["dog", "cat", "any"]
    low: Decimal
    high: Decimal
    act_at: Decimal | None = None
    act_words: str = ""
    memory_fields: tuple[str, ...] = ()

    @property
    def memory(self) -> bool:
        return bool(self.memory_fields) or not self.seen.published


class Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    extubation: tuple[Line, ...]
    watch: tuple[Watch, ...]
    watching: Watching
    leave: tuple[Line, ...]
    sign_out: tuple[Line, ...]
    outcome: Outcome
    scale: tuple[Scale, ...]

    def rows(self) -> Iterable[Row]:
        yield self.watching
        yield self.outcome
        for group in (self.extubation, self.watch, self.leave, self.sign_out, self.scale):
            yield from group
