"""docs/figures.md: every row of every table with its source and how it was seen. Reads the tables' text, not their types,
so that a figure cannot be in the product and missing from the page."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from spiracle.source import Sources

NOT_FIGURES = ("sources-", "checks-", "hazards")
CITED_IN = ("source", "sources")
TOLD_ANYWAY = ("second_source",)  # a page that was looked for and not found is told too
WORDS_FIRST = (
    "drug",
    "species",
    "purpose",
    "reading",
    "topic",
    "subject",
    "says",
    "done",
    "statement",
    "fact",
    "title",
    "name",
    "what",
)


def figures_page(texts: Mapping[str, str], sources: Sources) -> str:
    body: list[str] = []
    rows = memory = 0
    for name, text in sorted(texts.items()):
        if name.startswith(NOT_FIGURES):
            continue
        found = list(_rows(tomllib.loads(text, parse_float=Decimal)))
        cited = [(kind, row) for kind, row in found if any(k in row for k in CITED_IN) or kind in TOLD_ANYWAY]
        if not cited:
            continue
        body += ["", f"## {name}", "", "| id | what | figures | source, as seen |", "|---|---|---|---|"]
        for kind, row in cited:
            rows += 1
            memory += _from_memory(row)
            body.append(f"| `{row.get('id', kind)}` | {_what(row)} | {_numbers(row)} | {_source(row, sources)} |")
    head = [
        "# Figures",
        "",
        "Generated from `src/spiracle/source/tables/*.toml` by `python3 dev.py docs`. One row, one figure or band, its source and",
        "how the source was seen by whoever entered it. *From memory* means that no source was read: such a figure is marked",
        "wherever it appears and is not to be relied on without checking. Nothing here is a prescription.",
        "",
        f"{rows} rows, {memory} of them wholly or partly from memory; {len(sources)} sources.",
    ]
    return "\n".join(head + body) + "\n"


def _rows(table: Mapping[str, Any], kind: str = "") -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every row of an array of tables, however deep."""
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for row in value:
                yield key, row
        elif isinstance(value, dict):
            if any(k in value for k in CITED_IN):
                yield key, {"id": key, **value}
            else:
                yield from _rows(value, key)


def _from_memory(row: Mapping[str, Any]) -> bool:
    marks = (
        row.get("memory"),
        row.get("from_memory"),
        row.get("memory_fields"),
        "memory" in str(row.get("seen", "")).lower(),
    )
    return any(marks) or "memory" in _ids(row)


def _ids(row: Mapping[str, Any]) -> tuple[str, ...]:
    for key in CITED_IN:
        if key in row:
            value = row[key]
            return tuple(value) if isinstance(value, list) else (str(value),)
    return ()


def _what(row: Mapping[str, Any]) -> str:
    return _cell(", ".join(str(row[k]) for k in WORDS_FIRST if isinstance(row.get(k), str) and row[k]))


def _numbers(row: Mapping[str, Any]) -> str:
    parts = []
    for key, value in row.items():
        if isinstance(value, bool):
            continue
        if isinstance(value, int | Decimal):
            parts.append(f"{key} {value}")
        elif isinstance(value, list) and value and all(isinstance(v, int | Decimal) for v in value):
            parts.append(f"{key} {' to '.join(map(str, value))}")
        elif key in {"unit", "value", "figure", "figures"} and isinstance(value, str):
            parts.append(value)
    return _cell(", ".join(parts))


def _source(row: Mapping[str, Any], sources: Sources) -> str:
    words = [] if _ids(row) else ["none was found"]
    if row.get("agrees") is False:
        words.append("does not agree")
    for id_ in _ids(row):
        known = sources.get(id_)
        words.append(f"{known.citation} ({known.seen})" if known else id_)
    extra = f"; seen: {row['seen']}" if row.get("seen") else ""
    fields = f"; from memory: {', '.join(row['memory_fields'])}" if row.get("memory_fields") else ""
    return _cell("; ".join(words) + extra + fields)


def _cell(words: str) -> str:
    return words.replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")
