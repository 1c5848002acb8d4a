"""Strict reading of TOML tables: exact decimals, no unknown key, no row without a source."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, TypeVar

import msgspec
import tomli

from spiracle.refusals import BadTable

T = TypeVar("T")


def read_table(text: str, shape: type[T], name: str) -> T:
    """A whole table file as the given msgspec shape. `name` is the file's name for the refusal.

    Numbers become exact decimals. Unknown keys, wrong types and missing keys are refused with the row's place.
    """
    try:
        plain = tomli.loads(text, parse_float=Decimal)
    except tomli.TOMLDecodeError as fault:
        raise BadTable(name, f"is not TOML: {fault}.") from fault
    return convert_rows(plain, shape, name)


def convert_rows(plain: dict[str, Any], shape: type[T], name: str) -> T:
    try:
        return msgspec.convert(plain, shape, strict=True)
    except msgspec.ValidationError as fault:
        raise BadTable(name, f"{fault}.", "See the table's page in the manual for the keys of a row.") from fault


def need_sources(row_id: str, sources: tuple[str, ...]) -> None:
    """A row without a source does not load."""
    if not sources or not all(s.strip() for s in sources):
        raise BadTable(f"row {row_id}", "has no source.", 'Cite one, or write source = ["memory"] and mean it.')
