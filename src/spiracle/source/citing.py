"""Where a figure comes from, and how the people who wrote it down saw it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from enum import StrEnum

import msgspec

from spiracle.refusals import BadTable


class Seen(StrEnum):
    """How the source was seen by whoever entered the row. Only the first four count as published evidence."""

    FULL = "full text"
    EXCERPT = "excerpt"
    ABSTRACT = "abstract"
    STANDARD = "standard or definition"
    DERIVED = "derived"
    COMMON = "common practice"
    MEMORY = "from memory"
    HOSPITAL = "hospital's own"

    @property
    def published(self) -> bool:
        return self in {Seen.FULL, Seen.EXCERPT, Seen.ABSTRACT, Seen.STANDARD}


class Source(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One citation. `memory` is itself a source: it says that nothing was read."""

    id: str
    citation: str
    seen: Seen
    url: str = ""
    kind: str = ""
    note: str = ""


class Sources:
    """All citations by id; asking for one that is not there is a fault of the table that asks."""

    def __init__(self, rows: Iterable[Source]) -> None:
        self._by_id: dict[str, Source] = {}
        for row in rows:
            if row.id in self._by_id:
                raise BadTable(f"source {row.id}", "stands twice.", "Give each source one id.")
            if not row.citation.strip():
                raise BadTable(f"source {row.id}", "has no citation.", "Say where the figure can be read.")
            self._by_id[row.id] = row

    def __getitem__(self, id_: str) -> Source:
        if id_ not in self._by_id:
            raise BadTable(f"source {id_}", "is cited but not listed.", "Add it to the sources table.")
        return self._by_id[id_]

    def get(self, id_: str) -> Source | None:
        """The citation, or None: for pages that list what is there, never for a row that is loaded."""
        return self._by_id.get(id_)

    def __contains__(self, id_: object) -> bool:
        return id_ in self._by_id

    def __iter__(self) -> Iterator[Source]:
        return iter(self._by_id.values())

    def __len__(self) -> int:
        return len(self._by_id)

    def of(self, ids: Iterable[str]) -> tuple[Source, ...]:
        return tuple(self[i] for i in ids)


class _SourceFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    source: tuple[Source, ...]


def read_sources(text: str, name: str) -> tuple[Source, ...]:
    """The citations of one table file."""
    from spiracle.source.rows import read_table

    return read_table(text, _SourceFile, name).source
