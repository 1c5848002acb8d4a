"""A fact as somebody printed it: what it says, the figure, the unit, who said so, how it was seen, and who says otherwise.

Rooms keep their fact base in this one shape. Nothing here is a setting: what Spiracle acts on stands in a room's own rows,
which name the facts they rest on.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.refusals import BadTable, Unknown
from spiracle.source.citing import Seen, Sources
from spiracle.source.rows import need_sources, read_table


class Span(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The figure of one species. A missing end is open; equal ends are one figure."""

    species: Literal["dog", "cat", "human", "any"]
    low: Decimal | None = None
    high: Decimal | None = None


class Stated(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One row of the fact base. `memory`: some part of it was not read. `disagrees`: rows that say otherwise."""

    id: str
    topic: str
    says: str
    figure: str = ""
    unit: str = ""
    spans: tuple[Span, ...] = ()
    species: tuple[Literal["dog", "cat", "human", "any"], ...]
    source: tuple[str, ...]
    seen: Seen
    memory: bool = False
    disagrees: tuple[str, ...] = ()
    note: str = ""

    @property
    def from_memory(self) -> bool:
        """Whether the mark for memory goes with it wherever it is shown."""
        return self.memory or self.seen is Seen.MEMORY

    def span(self, species: str) -> Span:
        """The figure of a species, or of any; a row without one is refused rather than answered."""
        for wanted in (species, "any"):
            for span in self.spans:
                if span.species == wanted:
                    return span
        raise Unknown(f"fact {self.id}", f"has no figure for {species}.", "Ask for a species it was stated for.")


class StatedTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    stated: tuple[Stated, ...]


class Facts:
    """The fact rows of one room by id, in their order."""

    def __init__(self, rows: tuple[Stated, ...]) -> None:
        self.rows = rows
        self._by_id = {row.id: row for row in rows}
        if len(self._by_id) != len(rows):
            twice = sorted({r.id for r in rows if sum(x.id == r.id for x in rows) > 1})
            raise BadTable(f"fact {twice[0]}", "stands twice.", "Give each fact one id.")
        for row in rows:
            missing = [d for d in row.disagrees if d not in self._by_id]
            if missing:
                raise BadTable(f"fact {row.id}", f"disagrees with {missing[0]}, which is not listed.")

    def __getitem__(self, id_: str) -> Stated:
        if id_ not in self._by_id:
            raise Unknown(f"fact {id_}", "is not listed.", "See the manual's page of figures.")
        return self._by_id[id_]

    def __contains__(self, id_: object) -> bool:
        return id_ in self._by_id

    def __len__(self) -> int:
        return len(self.rows)


def read_stated(files: Mapping[str, str], ending: str, sources: Sources) -> Facts:
    """The facts of every table whose name ends so. A row that cites nothing, or an unlisted source, does not load."""
    rows: list[Stated] = []
    for name, text in sorted(files.items()):
        if not name.endswith(ending):
            continue
        for row in read_table(text, StatedTable, name).stated:
            need_sources(row.id, row.source)
            sources.of(row.source)
            rows.append(row)
    return Facts(tuple(rows))
