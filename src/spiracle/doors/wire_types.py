"""The tablet's types, written from the shapes and the events, so that a field exists once.

`python -m spiracle.doors.wire_types > tablet/src/wire/types.ts` renews the page; a test holds the committed one to it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from typing import Any, get_args

import msgspec

from spiracle.case.events import AnyEvent, every_event
from spiracle.sheets import inductions, live_shapes, shapes

Schema = Mapping[str, Any]

SENT = (
    shapes.CaseView,
    shapes.Board,
    shapes.Hospital,
    shapes.PickRow,
    shapes.Answers,
    shapes.EmergencySheet,
    shapes.ProtocolsSheet,
    shapes.ProtocolOffers,
    shapes.ProtocolDraft,
    shapes.EarlierHere,
    shapes.MachinesSheet,
    shapes.Scanned,
    inductions.OwnInductions,
    live_shapes.LiveState,
    live_shapes.WaveChunk,
    live_shapes.LiveBreath,
)
# Sets of words that a page names by itself.
WORDS = ("MarkName", "ZoneName", "Priority", "PhaseName", "SyringeClass")
# Every entry carries these; the tablet stamps them, so the fields of an event are the rest.
STAMPED = ("event", "id", "case", "happened_at", "recorded_at", "by", "device")


def typescript() -> str:
    """The whole page of types: what a page gets, then what a page may post."""
    _, found = msgspec.json.schema_components((*SENT, AnyEvent), ref_template="{name}")
    events = {event.__name__ for event in every_event()}
    blocks = [_opening(), "\n".join(f"export type {name} = {_words(_literals(name))};" for name in WORDS)]
    blocks += [_interface(name, schema, posted=False) for name, schema in found.items() if name not in events]
    blocks += [_interface(name, schema, posted=True) for name, schema in found.items() if name in events]
    blocks.append(_union("AnyEvent", sorted(events)))
    blocks.append(_closing())
    return "\n\n".join(blocks) + "\n"


def _opening() -> str:
    return "\n".join(
        (
            "// Written by spiracle.doors.wire_types from the shapes and the events. Not edited by hand.",
            "// A moment is ISO 8601 text with its zone. A Decimal is posted as typed: no figure is rounded on the way.",
            "",
            "export type Decimal = number | string;",
        )
    )


def _closing() -> str:
    stamped = " | ".join(f'"{field}"' for field in STAMPED)
    return "\n".join(
        (
            'export type EventName = AnyEvent["event"];',
            "export type EventOf<N extends EventName> = Extract<AnyEvent, { event: N }>;",
            f"export type Stamped = {stamped};",
            "export type Fields<N extends EventName> = Omit<EventOf<N>, Stamped>;",
        )
    )


def _interface(name: str, schema: Schema, *, posted: bool) -> str:
    """One record. What is sent always carries every field; what is posted may leave out what has a default."""
    needed = set(schema.get("required", ()))
    fields = (
        f"  {field}{'?' if posted and field not in needed else ''}: {_kind(of)};"
        for field, of in _fields(schema, posted=posted)
    )
    return "\n".join((f"export interface {name} {{", *fields, "}"))


def _fields(schema: Schema, *, posted: bool) -> Iterator[tuple[str, Schema]]:
    properties: Mapping[str, Schema] = schema["properties"]
    if not posted:
        yield from properties.items()
        return
    first = [field for field in STAMPED if field in properties]
    yield from ((field, properties[field]) for field in first)
    yield from ((field, of) for field, of in properties.items() if field not in first)


def _kind(schema: Schema) -> str:
    """A JSON schema as a TypeScript type; a construct that is not known stops the build instead of becoming `any`."""
    if "$ref" in schema:
        return str(schema["$ref"])
    if "enum" in schema:
        return _words(schema["enum"])
    if "anyOf" in schema:
        return " | ".join(dict.fromkeys(_kind(part) for part in schema["anyOf"]))
    return _plain(schema)


def _literals(name: str) -> list[Any]:
    return sorted(get_args(getattr(shapes, name)))


def _words(values: list[Any]) -> str:
    return " | ".join(msgspec.json.encode(value).decode() for value in values)


def _plain(schema: Schema) -> str:
    match schema.get("type"):
        case "string":
            return "Decimal" if schema.get("format") == "decimal" else "string"
        case "number" | "integer":
            return "number"
        case "boolean":
            return "boolean"
        case "null":
            return "null"
        case "array":
            return _array(schema)
        case "object":
            return f"Record<string, {_kind(schema['additionalProperties'])}>"
    raise TypeError(f"no TypeScript is known for {dict(schema)}")


def _array(schema: Schema) -> str:
    if "prefixItems" in schema:
        return "[" + ", ".join(_kind(part) for part in schema["prefixItems"]) + "]"
    item = _kind(schema["items"])
    return f"({item})[]" if " | " in item else f"{item}[]"


def _union(name: str, members: list[str]) -> str:
    return f"export type {name} =\n  | " + "\n  | ".join(members) + ";"


def main() -> None:
    """Write the page to standard output."""
    sys.stdout.write(typescript())


if __name__ == "__main__":
    main()
