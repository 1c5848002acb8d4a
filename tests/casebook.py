"""Hand-written logs for tests: an invented animal, minutes after eight in the morning, one entry a line.

Nothing is worked out here. Every number a case holds is written by the test that tells it, so that the expectation
beside it can be checked by eye.
"""

from __future__ import annotations

import types
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec

from spiracle.case.events import Entry, Event
from spiracle.case.fold import Case, fold

EIGHT = datetime(2026, 3, 12, 8, 0, tzinfo=UTC)


def at(minutes: float) -> datetime:
    """So many minutes after eight."""
    return EIGHT + timedelta(seconds=round(minutes * 60))


def d(text: str) -> Decimal:
    return Decimal(text)


class Book:
    """One case being told. `tell` returns the entry's id, so that a later line can strike or mark it."""

    def __init__(self, case: str = "c-1", by: str = "rowan") -> None:
        self.case, self.by = case, by
        self.entries: list[Entry] = []

    def tell(self, minutes: float, kind: type[Event], /, *, late: float = 0, by: str = "", **fields: Any) -> str:
        number = len(self.entries) + 1
        event = kind(
            id=f"{self.case}-{number:04d}",
            case=self.case,
            happened_at=at(minutes),
            recorded_at=at(minutes + late),
            by=by or self.by,
            device="test",
            **fields,
        )
        self.entries.append(Entry(seq=number, arrived_at=at(minutes + late), event=event))
        return event.id

    def fold(self, entries: Iterable[Entry] | None = None) -> Case:
        return fold(self.entries if entries is None else entries)


def rearrived(entries: Sequence[Entry], order: Sequence[int]) -> list[Entry]:
    """The same events arriving in another order: each gets the place in which it now came."""
    return [
        Entry(seq=place, arrived_at=entries[i].arrived_at, event=entries[i].event) for place, i in enumerate(order, 1)
    ]


# Fields of text that no case holds in any other form, because the decision before storing refuses it.
WELL_FORMED: dict[str, Any] = {"reading": "map", "unit": "mg"}


def filled(kind: type[Event], minutes: float = 0, case: str = "c", id_: str = "x") -> Event:
    """An event with its needed fields said, in the plainest way."""
    hints = get_type_hints(kind)
    common = {"id": id_, "case": case, "happened_at": at(minutes), "recorded_at": at(minutes), "by": "rowan"}
    own = {
        f.name: WELL_FORMED.get(f.name) or sample(hints[f.name])
        for f in msgspec.structs.fields(kind)
        if f.required and f.name not in common
    }
    return kind(**common, **own)


def sample(hint: Any) -> Any:
    origin, args = get_origin(hint), get_args(hint)
    if origin is Literal:
        return args[0]
    if origin in {Union, types.UnionType}:
        return sample(args[0])
    if origin is tuple:
        return ()
    return {str: "word", int: 3, Decimal: Decimal("2.5"), bool: True, datetime: datetime(2026, 3, 12, 9, tzinfo=UTC)}[
        hint
    ]
