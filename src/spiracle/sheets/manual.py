"""Two pages of the manual, made from the code: what each event says, and which event carries which element of the record."""

from __future__ import annotations

import types
from collections import defaultdict
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec

from spiracle.case.events import Event, every_event
from spiracle.sheets.elements import ELEMENTS

COMMON = set(Event.__struct_fields__)
GROUPS = {
    "A": "Who, whose, how heavy",
    "B": "Found, ordered, agreed",
    "C": "Machine, lists, kit",
    "D": "Drugs, fluids, lines",
    "E": "Airway",
    "F": "Watched",
    "G": "Moments, trouble, calls",
    "H": "Recovery and after",
    "I": "Controlled drugs",
    "J": "The record itself",
}
WORDS = {"str": "text", "int": "whole number", "Decimal": "decimal number", "float": "number", "bool": "yes or no",
         "datetime": "moment with its time zone"}  # fmt: skip


def events_page() -> str:
    """docs/events.md: every event in the order of the log's vocabulary."""
    parts = [
        "# The events of a case",
        "A case is one append-only log. This page is made from `src/spiracle/case/events.py`; do not edit it by hand.",
        "Every event also holds `id` (made where the fact is entered), `case`, `happened_at`, `recorded_at` (both with a "
        "time zone), `by` (the acting hand) and `device`. Elements in brackets are those of [the record](record-elements.md).",
    ]
    parts += [_event(kind) for kind in every_event()]
    return "\n\n".join(parts) + "\n"


def _event(kind: type[Event]) -> str:
    says = " ".join((kind.__doc__ or "").split())
    covers = ", ".join(kind.covers)
    hints = get_type_hints(kind, include_extras=True)
    rows = [_field(f, hints[f.name]) for f in msgspec.structs.fields(kind) if f.name not in COMMON]
    table = ["| Field | Holds | If not said |", "| --- | --- | --- |", *rows] if rows else ["No fields of its own."]
    return "\n".join([f"## {kind.__name__}", "", f"{says} ({covers})", "", *table])


def _field(f: msgspec.structs.FieldInfo, hint: Any) -> str:
    return f"| `{f.name}` | {_holds(hint)} | {_default(f)} |"


def _default(f: msgspec.structs.FieldInfo) -> str:
    if f.required:
        return "needed"
    value = f.default_factory() if f.default is msgspec.NODEFAULT else f.default
    if value is None or value in ("", ()):
        return "not known"
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)


def _holds(hint: Any) -> str:
    """A field's type in words."""
    origin, args = get_origin(hint), get_args(hint)
    if origin is Literal:
        return ", ".join(str(a) or "nothing" for a in args)
    if origin in {Union, types.UnionType}:
        return " or ".join(_holds(a) for a in args if a is not type(None))
    if origin is tuple:
        kinds = [a for a in args if a is not Ellipsis]
        return f"list of ({', '.join(_holds(a) for a in kinds)})" if len(kinds) > 1 else f"list of {_holds(kinds[0])}"
    return WORDS.get(getattr(hint, "__name__", ""), str(hint))


def elements_page() -> str:
    """docs/record-elements.md: what a good record holds, and the events that carry it."""
    carried: dict[str, list[str]] = defaultdict(list)
    for kind in every_event():
        for element in kind.covers:
            carried[element].append(kind.__name__)
    parts = [
        "# What a good record holds",
        "Each element of an anaesthetic record and the events that carry it. This page is made from the code; do not edit "
        "it by hand. An element that a case called for and does not have is shown as a gap before the record is signed; it "
        "can be explained in words and never blocks the signature.",
    ]
    for letter, title in GROUPS.items():
        rows = [
            f"| {e.id} | {e.title} | {e.phase} | {', '.join(f'[{n}](events.md#{n.lower()})' for n in carried[e.id])} |"
            for e in ELEMENTS
            if e.id[0] == letter
        ]
        parts.append(
            "\n".join(
                [f"## {letter}: {title}", "", "| | Element | Phase | Events |", "| --- | --- | --- | --- |", *rows]
            )
        )
    return "\n\n".join(parts) + "\n"
