"""What is true now is a fold over the log: the same entries in any order of arrival give the same case."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from spiracle.case.events import ArtefactMarked, Entry, EntryStruck, Event

E = TypeVar("E", bound=Event)


@dataclass(frozen=True, slots=True)
class Line:
    """One entry as it stands: struck or not, and judged an artefact or not."""

    entry: Entry
    struck: EntryStruck | None = None
    artefact: ArtefactMarked | None = None

    @property
    def event(self) -> Event:
        return self.entry.event


@dataclass(frozen=True, slots=True)
class Case:
    """Every line of the log in the order in which things happened, struck ones included."""

    lines: tuple[Line, ...] = ()
    _by_type: dict[type[Event], tuple[Line, ...]] = field(default_factory=dict)
    _by_id: dict[str, Line] = field(default_factory=dict)

    def every(self, kind: type[E]) -> tuple[Line, ...]:
        """All lines of one kind, struck ones too: for the record."""
        return self._by_type.get(kind, ())

    def live(self, kind: type[E]) -> tuple[E, ...]:
        """The events of one kind that stand."""
        return tuple(line.event for line in self._by_type.get(kind, ()) if line.struck is None)  # type: ignore[misc]

    def last(self, kind: type[E]) -> E | None:
        """The latest event of one kind that stands, by when it happened."""
        stand = self.live(kind)
        return stand[-1] if stand else None

    def line(self, id_: str) -> Line | None:
        return self._by_id.get(id_)


def fold(entries: Iterable[Entry]) -> Case:
    """The case that a set of entries makes. Order of arrival plays no part: ties in time fall to the event's id."""
    ordered = sorted(entries, key=lambda n: (n.event.happened_at, n.event.recorded_at, n.event.id))
    strikes: dict[str, list[EntryStruck]] = defaultdict(list)
    artefacts: dict[str, list[ArtefactMarked]] = defaultdict(list)
    for entry in ordered:
        if isinstance(entry.event, EntryStruck):
            strikes[entry.event.target].append(entry.event)
        elif isinstance(entry.event, ArtefactMarked):
            artefacts[entry.event.target].append(entry.event)
    struck = _struck([n.event.id for n in ordered], strikes)
    lines = tuple(Line(n, struck.get(n.event.id), _standing(artefacts.get(n.event.id, ()), struck)) for n in ordered)
    by_type: dict[type[Event], list[Line]] = defaultdict(list)
    for line in lines:
        by_type[type(line.event)].append(line)
    return Case(lines, {k: tuple(v) for k, v in by_type.items()}, {x.event.id: x for x in lines})


def _struck(ids: Iterable[str], strikes: Mapping[str, Sequence[EntryStruck]]) -> dict[str, EntryStruck]:
    """An entry is struck while any strike of it stands; a strike stands while it is not struck itself."""
    found: dict[str, EntryStruck | None] = {}

    def look(id_: str) -> EntryStruck | None:
        if id_ not in found:
            found[id_] = None  # two strikes of each other: the one looked at first stands
            standing = [s for s in strikes.get(id_, ()) if look(s.id) is None]
            found[id_] = standing[-1] if standing else None
        return found[id_]

    return {id_: strike for id_ in ids if id_ in strikes and (strike := look(id_)) is not None}


def _standing(marks: Iterable[ArtefactMarked], struck: Mapping[str, EntryStruck]) -> ArtefactMarked | None:
    return next((m for m in reversed(tuple(marks)) if m.id not in struck), None)
