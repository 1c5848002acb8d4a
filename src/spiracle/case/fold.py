"""What is true now is a fold over the log: the same entries in any order of arrival give the same case."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
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
    struck: dict[str, EntryStruck] = {}
    artefacts: dict[str, ArtefactMarked] = {}
    for entry in ordered:  # a strike of a strike gives the entry back
        if isinstance(entry.event, EntryStruck):
            struck[entry.event.target] = entry.event
        elif isinstance(entry.event, ArtefactMarked):
            artefacts[entry.event.target] = entry.event
    for strike in tuple(struck.values()):
        if strike.id in struck and struck.get(strike.target) is strike:
            del struck[strike.target]
    lines = tuple(Line(n, struck.get(n.event.id), _standing(artefacts.get(n.event.id), struck)) for n in ordered)
    by_type: dict[type[Event], list[Line]] = defaultdict(list)
    for line in lines:
        by_type[type(line.event)].append(line)
    return Case(lines, {k: tuple(v) for k, v in by_type.items()}, {x.event.id: x for x in lines})


def _standing(mark: ArtefactMarked | None, struck: dict[str, EntryStruck]) -> ArtefactMarked | None:
    return None if mark is None or mark.id in struck else mark
