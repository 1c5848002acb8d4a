"""Which term a pair of number and name stands for. Both must agree with one row of the table, or nothing is taken.

Public tables of these numbers contradict one another, so a number alone, or a name alone, tells nothing (hazard D16).
"""

from __future__ import annotations

import re

import msgspec

from spiracle.monitors.tables import SETTING_BIT, CodeRow, MonitorTables

PARTITION = 65_536
METRICS, UNITS = 2, 4
_WHOLE = re.compile(r"[0-9]{1,10}")
SUFFIX = "_SETTING"


class Term(msgspec.Struct, frozen=True, kw_only=True):
    """What was said: `row` where number and name agree with a row, else `why` says why not."""

    code: int | None
    ref: str
    row: CodeRow | None = None
    setting: bool = False
    why: str = ""


def code_of(partition: int, term: int) -> int:
    """The full number of a 16-bit term in its partition (IEEE 11073-10101): partition times 65536 plus term.

    `partition` 0 to 65535 and `term` 0 to 65535, both whole; anything else is a ValueError.

    >>> code_of(2, 19384), code_of(4, 2720)
    (150456, 264864)
    """
    if not (0 <= partition < PARTITION and 0 <= term < PARTITION):
        raise ValueError(f"{partition}::{term} is no term")
    return partition * PARTITION + term


def number_of(text: str) -> int | None:
    """The number as written, or None where it is none: "150456", "2::19384"."""
    if _WHOLE.fullmatch(text):
        return int(text)
    partition, parted, term = text.partition("::")
    if parted and _WHOLE.fullmatch(partition) and _WHOLE.fullmatch(term):
        if int(partition) < PARTITION and int(term) < PARTITION:
            return code_of(int(partition), int(term))
    return None


def find(tables: MonitorTables, number: int | None, ref: str, partition: int | None = None) -> Term:
    """The term of `number` and `ref`. A number under 65536 is a short term: it is widened by `partition` where the sender said
    which, and by no guess otherwise. A `_SETTING` name with the setting's number is the dial, not a measurement."""
    if number is None or not ref:
        return Term(code=number, ref=ref, why="number or name is missing: both are needed")
    wide = code_of(partition, number) if partition is not None and number < PARTITION else number
    dial = ref.endswith(SUFFIX)
    base, name = (wide - SETTING_BIT, ref.removesuffix(SUFFIX)) if dial else (wide, ref)
    row = tables.by_number.get(base)
    if row is not None and name in row.names:
        return Term(code=wide, ref=ref, row=row, setting=dial)
    return Term(code=number, ref=ref, setting=dial or bool(number & SETTING_BIT), why=_why(tables, base, name, row))


def _why(tables: MonitorTables, number: int, name: str, row: CodeRow | None) -> str:
    if row is not None:
        return f"number and name disagree: {number} is {row.ref}"
    named = tables.by_name.get(name)
    if named is not None:
        return f"number and name disagree: {name} is {named.number}"
    return "number and name are not in our table"


def dial_code(row: CodeRow) -> tuple[int, str]:
    """Number and name of the dial's setting that belongs to a measured term."""
    return row.number + SETTING_BIT, row.ref + SUFFIX
