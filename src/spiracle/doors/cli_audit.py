"""`spiracle audit`: what the hospital's own log tells of its work. Its part today is the inductions."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable
from textwrap import wrap
from typing import TYPE_CHECKING

from spiracle.doors.clock import WallClock

if TYPE_CHECKING:
    from spiracle.sheets.inductions import OwnGroup, OwnInductions, OwnPart, OwnPublished, OwnRange

WIDE = 80
NONE = "none"  # as a group's premedication is told where there was none
KINDS = {
    "alpha-2 agonist": "alpha-2|medetomidine",
    "opioid": "opioid|butorphanol|methadone|fentanyl|morphin|buprenorphine|morphone",
    "acepromazine": "acepromazine",
    "benzodiazepine": "benzodiazepine|midazolam|diazepam",
}  # by the names that rows use


def audit(args: argparse.Namespace) -> int:
    import msgspec

    from spiracle.doors.log_store import open_store
    from spiracle.doors.log_store_schema import read_url
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
        print(f"Read from {read_url(args.database).render_as_string(hide_password=True)}")
        print("\n".join(inductions_text(sheet)))
    return 0


def inductions_text(sheet: OwnInductions) -> Iterable[str]:
    days = f" from {sheet.first_day} to {sheet.last_day}" if sheet.first_day else ""
    yield f"Own inductions{days}: {sheet.counted} counted, {sheet.left_out} left out"
    for words in sheet.says:
        yield from wrap(words, WIDE)
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
        if stands_beside(row.says, group.premedication):
            yield from _published(row)


def _published(row: OwnPublished) -> Iterable[str]:
    low, high = row.low.text, row.high.text
    mark = " [from memory]" if row.memory else ""
    told = low if low == high else f"{low} to {high}"
    words = f"{told} {row.low.unit}, {' '.join(row.says.split())}{mark}: {'; '.join(c.citation for c in row.cited)}"
    yield from wrap(words, WIDE, initial_indent=f"  {'published':16}", subsequent_indent=" " * 18)


def stands_beside(says: str, premedication: str) -> bool:
    """Whether a published dose may be of animals like those of the group, by the words of its row. What cannot be told stays.

    An alpha-2 agonist saves so much that a row with one stands only beside a group with one, and the other way round.

    >>> stands_beside("induction (premedicated)", "none"), stands_beside("induction (no premedication)", "opioid")
    (False, False)
    >>> stands_beside("induction (after alpha-2)", "opioid"), stands_beside("induction (premedicated or not)", "none")
    (False, True)
    >>> stands_beside("Without premedication 6.55, after a tranquilliser 4.5", "none")
    True
    """
    words = says.lower()
    without = re.search(r"no premedication|without premedication|unpremedicated", words) is not None
    after = re.search(r"(?<!un)premedicated|\bafter (?!induction)|mixture of premedications", words) is not None
    if "premedicated or not" in words or without == after:
        return True
    if without or premedication == NONE:
        return without and premedication == NONE
    named = {kind for kind, names in KINDS.items() if re.search(names, words)}
    own = {kind for kind in KINDS if kind in premedication}
    return not named or (bool(named & own) and ("alpha-2 agonist" in named) == ("alpha-2 agonist" in own))


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
