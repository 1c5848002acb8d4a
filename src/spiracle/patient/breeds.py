"""Breeds: what an adult usually weighs, and the groups that change a plan. Figures here only ever ask, never fill in."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from difflib import get_close_matches
from typing import Literal

import msgspec

from spiracle.refusals import BadTable
from spiracle.source import Seen

Size = Literal["toy", "small", "medium", "large", "giant", "cat"]


class Breed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One breed. `kg_low` and `kg_high` are the usual adult range of both sexes."""

    id: str
    name: str
    also: tuple[str, ...] = ()
    species: Literal["dog", "cat"]
    kg_low: Decimal
    kg_high: Decimal
    size: Size
    brachycephalic: bool = False
    abcb1: bool = False
    sighthound: bool = False
    conditions: tuple[str, ...] = ()
    source: tuple[str, ...]
    seen: Seen
    note: str = ""

    @property
    def derived_conditions(self) -> tuple[str, ...]:
        found = list(self.conditions)
        found += ["brachycephalic"] if self.brachycephalic else []
        found += ["abcb1-possible"] if self.abcb1 else []
        found += ["sighthound"] if self.sighthound else []
        found += [f"{self.size}-breed"] if self.size in {"giant", "toy"} else []
        return tuple(found)


def plain(text: str) -> str:
    """A breed's name without case, hyphens and doubled blanks."""
    return re.sub(r"[\s\-_.]+", " ", text.strip().lower()).strip()


_CROSS = re.compile(r"\b(cross|crossbreed|mix|mixed|mongrel|x)\b")


class Breeds:
    """The breed book: exact names first, then a name one slip away; a cross is no breed."""

    def __init__(self, rows: Iterable[Breed]) -> None:
        self.rows = tuple(rows)
        self._by_name: dict[str, Breed] = {}
        for row in self.rows:
            if row.kg_low >= row.kg_high:
                raise BadTable(f"breed {row.id}", f"weighs {row.kg_low} to {row.kg_high} kg: that runs backwards.")
            for name in {plain(row.id), plain(row.name), *map(plain, row.also)}:
                if name in self._by_name:
                    raise BadTable(f"breed {row.id}", f"shares the name {name!r} with {self._by_name[name].id}.")
                self._by_name[name] = row

    def find(self, text: str) -> Breed | None:
        """The breed of that name, or None: an unknown breed is no fault, it only gives no expectation."""
        name = plain(text)
        if not name or _CROSS.search(name):
            return None
        if name in self._by_name:
            return self._by_name[name]
        near = get_close_matches(name, self._by_name, n=2, cutoff=0.88)
        candidates = {self._by_name[n].id for n in near}
        return self._by_name[near[0]] if len(candidates) == 1 else None

    def of(self, species: str) -> tuple[Breed, ...]:
        return tuple(row for row in self.rows if row.species == species)
