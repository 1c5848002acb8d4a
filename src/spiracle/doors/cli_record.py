"""`spiracle record` and `spiracle verify`: a stored case on paper or as data, and whether log and waves are whole."""

from __future__ import annotations

import argparse
import csv
import io
import sys
from typing import TYPE_CHECKING

from spiracle.case.ledger import LEDGER
from spiracle.doors.clock import WallClock
from spiracle.refusals import NotAllowed, Unknown

if TYPE_CHECKING:
    from spiracle.case.events import Entry
    from spiracle.case.facts import Facts
    from spiracle.doors.log_store import LogStore


def record(args: argparse.Namespace) -> int:
    from spiracle.doors.log_store import open_store
    from spiracle.doors.tables import load_facts

    facts = load_facts(args.hospital)
    clock = WallClock()
    store = open_store(args.database, clock)
    try:
        if args.case == "list":
            for row in store.case_rows():
                whose = "  the hospital's ledger" if row.case == LEDGER else ""
                print(f"{row.case}  {row.seq} entries, last {row.last_at:%Y-%m-%d %H:%M %Z}{whose}")
            return 0
        entries = store.entries(args.case)
        if not entries:
            raise Unknown(
                "case", f"{args.case!r} is not in this database.", "`spiracle record list` shows the stored cases."
            )
        if args.format == "csv":
            write_out(args, _csv(entries).encode())
        elif args.format == "json":
            write_out(args, _json(entries))
        elif args.format in {"edf", "parquet"}:
            from spiracle.doors.cli_waves import waves

            return waves(args, store.case(args.case)[0])
        elif args.case == LEDGER:
            raise NotAllowed("case", "is the hospital's ledger, no patient.", "Take it as csv or json.")
        else:
            write_out(args, _pdf(store, facts, clock, args))
    finally:
        store.close()
    return 0


def _pdf(store: LogStore, facts: Facts, clock: WallClock, args: argparse.Namespace) -> bytes:
    from spiracle.doors.pdf import record_pdf
    from spiracle.sheets.case_view import case_view

    case, seq = store.case(args.case)
    now = clock.now()
    return record_pdf(case_view(case, seq, facts, now), facts, args.paper, now)


def _json(entries: tuple[Entry, ...]) -> bytes:
    from spiracle.case.events import encode

    lines = (
        b'{"seq":%d,"arrived_at":"%s","event":%s}' % (n.seq, n.arrived_at.isoformat().encode(), encode(n.event))
        for n in entries
    )
    return b"[" + b",\n".join(lines) + b"]\n"


def _csv(entries: tuple[Entry, ...]) -> str:
    """One line an entry: both clocks, hand, device, kind, and the event's own fields as one JSON column."""
    import msgspec

    from spiracle.case.events import Event

    shared = Event.__struct_fields__
    out = io.StringIO()
    sheet = csv.writer(out)
    sheet.writerow(["seq", "arrived_at", "happened_at", "recorded_at", "by", "device", "event", "id", "fields"])
    for n in entries:
        e = n.event
        own = {f: getattr(e, f) for f in e.__struct_fields__ if f not in shared}
        fields = msgspec.json.Encoder(decimal_format="number").encode(own).decode()
        sheet.writerow([n.seq, n.arrived_at.isoformat(), e.happened_at.isoformat(), e.recorded_at.isoformat(), e.by,
                        e.device, type(e).__name__, e.id, fields])  # fmt: skip
    return out.getvalue()


def write_out(args: argparse.Namespace, content: bytes) -> None:
    if args.output is not None:
        args.output.write_bytes(content)
        print(f"{args.output}: {len(content):,} bytes", file=sys.stderr)
    elif args.format in {"pdf", "edf"} and sys.stdout.isatty():
        raise Unknown("output", f"{args.format.upper()} does not belong on a terminal.", "Give --output PATH.")
    else:
        sys.stdout.buffer.write(content)


def verify(args: argparse.Namespace) -> int:
    from spiracle.doors.log_store import open_store

    store = open_store(args.database, WallClock())
    try:
        rows = store.case_rows()
        if args.case is not None and args.case not in {r.case for r in rows}:
            raise Unknown(
                "case", f"{args.case!r} is not in this database.", "`spiracle record list` shows the stored cases."
            )
        breaks = store.verify(args.case)
    finally:
        store.close()
    for found in breaks:
        print(f"case {found.case}, entry {found.seq}: {found.says}", file=sys.stderr)
    if not breaks:
        held = [r for r in rows if args.case in {None, r.case}]
        print(f"whole: {len(held)} cases, {sum(r.seq for r in held)} entries")
    from spiracle.doors.cli_waves import verify_waves

    return max(1 if breaks else 0, verify_waves(args))
