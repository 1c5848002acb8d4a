"""`spiracle audit`: what the hospital's own log tells of its work. Its part today is the inductions."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import TYPE_CHECKING

from spiracle.doors.clock import WallClock

if TYPE_CHECKING:
    from spiracle.sheets.inductions import OwnGroup, OwnInductions, OwnPart, OwnRange


def audit(args: argparse.Namespace) -> int:
    import msgspec

    from spiracle.doors.log_store import open_store
    from spiracle.doors.own_book import OwnBook, days_of
    from spiracle.doors.tables import load_facts
    from spiracle.sheets.inductions import inductions_sheet

    first, last = days_of({"from": args.first, "to": args.last})
    facts = load_facts(args.hospital)
    store = open_store(args.database, WallClock())
    try:
        sheet = inductions_sheet(OwnBook(store, facts).own(), facts, first, last, facts.kinetics.stated.rows)
    finally:
        store.close()
    if args.format == "json":
        raw = msgspec.json.Encoder(decimal_format="number").encode({"inductions": sheet})
        print(msgspec.json.format(raw, indent=2).decode())
    else:
        print("\n".join(inductions_text(sheet)))
    return 0


def inductions_text(sheet: OwnInductions) -> Iterable[str]:
    days = f" from {sheet.first_day} to {sheet.last_day}" if sheet.first_day else ""
    yield f"Own inductions{days}: {sheet.counted} counted, {sheet.left_out} left out"
    yield from sheet.says
    for group in sheet.groups:
        yield ""
        yield from _group(group)
    if sheet.left:
        yield ""
        yield "Left out:"
        yield from (f"  {left.n:4}  {left.reason}" for left in sheet.left)


def _group(group: OwnGroup) -> Iterable[str]:
    yield f"{group.title}: {group.n} animal{'' if group.n == 1 else 's'}"
    for part in group.parts:
        yield f"  {_whose(part):16}{_part(part)}"
    front = group.parts[0]
    if not front.few:
        yield from _more(front)
    for row in group.published:
        low, high = row.low.text, row.high.text
        mark = " [from memory]" if row.memory else ""
        told = low if low == high else f"{low} to {high}"
        yield f"  {'published':16}{told} {row.low.unit}, {row.says}{mark}: {'; '.join(c.citation for c in row.cited)}"


def _whose(part: OwnPart) -> str:
    return "all" if part.asa == "all" else part.asa if part.asa == "not graded" else f"ASA {part.asa}"


def _part(part: OwnPart) -> str:
    if part.few:
        return f"{', '.join(d.text for d in part.doses)} {part.doses[0].unit} (n {part.n}; {part.says})"
    return part.says


def _more(part: OwnPart) -> Iterable[str]:
    if part.spread is not None:
        yield _line("spread", part.spread)
    if part.mean is not None and part.mean_interval is not None:
        yield f"  {'geometric mean':16}{part.mean.text} {part.mean.unit}; {_range(part.mean_interval)}"
    if part.minutes is not None and part.minutes_interval is not None:
        yield f"  {'to the tube':16}median {part.minutes.text} {part.minutes.unit}; {_range(part.minutes_interval)}"
    if part.pushes is not None and part.pushes_range is not None:
        yield f"  {'pushes':16}median {part.pushes.text}; {_range(part.pushes_range)}"
    for range_ in (part.next_range, part.next_logs):
        if range_ is not None:
            yield _line("≈ est., next", range_)


def _line(name: str, range_: OwnRange) -> str:
    return f"  {name:16}{_range(range_)}"


def _range(range_: OwnRange) -> str:
    return f"{range_.low.text} to {range_.high.text} {range_.low.unit}".strip() + f": {range_.says}"
