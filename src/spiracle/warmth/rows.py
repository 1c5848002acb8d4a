"""The rows of the warmth tables, as they stand in TOML."""

from __future__ import annotations

from collections.abc import Iterable
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


class Scale(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    words: str


class Band(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename={"start": "from"}):
    """One band of a scale: from this temperature on, or above it; with neither, everything colder."""

    scale: str
    id: str
    words: str
    index: int
    start: Decimal | None = None
    above: Decimal | None = None

    def holds(self, c: Decimal) -> bool:
        if self.above is not None:
            return c > self.above
        return self.start is None or c >= self.start


class Point(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    minute: int
    mean: Decimal
    sd: Decimal


class Course(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    species: Literal["dog", "cat"]
    animals: int
    points: tuple[Point, ...]


class WarmLimit(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    species: Literal["dog", "cat", "any"]
    at_or_below: Decimal | None = None
    at_or_above: Decimal | None = None
    action: str

    def met(self, c: Decimal) -> bool:
        low = self.at_or_below is not None and c <= self.at_or_below
        return low or (self.at_or_above is not None and c >= self.at_or_above)


class Rules(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    rewarm_c_per_h: Decimal
    probe_prompt_min: int
    look_every_min: int


class Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    scale: tuple[Scale, ...]
    grade: tuple[Band, ...]
    course: tuple[Course, ...]
    limit: tuple[WarmLimit, ...]
    rules: Rules

    def rows(self) -> Iterable[Row]:
        yield self.rules
        for group in (self.scale, self.course, self.limit):
            yield from group
