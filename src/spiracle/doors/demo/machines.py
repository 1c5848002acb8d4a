"""The demo machines' own book: invented, written into the ledger line by line as any hospital would."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as e
from spiracle.case.facts import Facts
from spiracle.case.ledger import LEDGER
from spiracle.case.machines import LEAK_LINE, day_check, day_of, machine_book, reading_order
from spiracle.doors.demo.telling import Story
from spiracle.doors.log_store import LogStore

D = Decimal
BEFORE = timedelta(minutes=25)
LEAK = {"Machine A": D(120), "Machine B": D(150), "Machine C": D(180), "Machine D": D(140)}  # mL/min at 30 cmH2O


def book_of(store: LogStore, facts: Facts, machine: str, start: datetime, by: str) -> Story:
    """A story that writes into the ledger; `machine` and start make its ids its own."""
    s = Story(store, facts, f"{machine} {start.isoformat()}", start, by, start)
    s.case = LEDGER
    return s


def read_today(
    store: LogStore, facts: Facts, machine: str, before: datetime, by: str, lines: int = 99, hurried: int = -1
) -> None:
    """A machine's list of the day of `before`, read shortly before it and on that day; nothing where it was read already. `hurried`
    is the place of a line that was answered sooner than it can be read."""
    day = day_of(before, facts)
    if day_check(machine_book(store.case(LEDGER)[0]), facts, machine, day).done:
        return
    midnight = datetime.combine(day, datetime.min.time(), facts.zone).astimezone(before.tzinfo)
    start = max(midnight, before - BEFORE)
    rows = reading_order(facts, day)[:lines]
    step = min(timedelta(seconds=40), (before - start) / (len(rows) + 2))
    s = book_of(store, facts, machine, start, by)
    for n, row in enumerate(rows):
        if row.id == LEAK_LINE:
            s.tell(e.MachineLeakTested, machine=machine, circuit="circle", at_cmh2o=D(30), flow_ml_min=LEAK[machine])
        s.tell(e.MachineLineDone, machine=machine, line=row.id, seconds_shown=D("0.7") if n == hurried else D(9))
        s.t += step


def machines_now(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A fault of yesterday that was mended, one of today that is not; machines no case has asked for are read too, one of them as far
    as its sixth line."""
    s = book_of(store, facts, "Machine B", start, "tob")
    s.tell(
        e.MachineFaultFound, fault="demo-absorbent", machine="Machine B", what="absorbent canister: the clip is stiff"
    )
    s.at(30).tell(e.MachineFaultMended, fault="demo-absorbent", how="clip greased, closed and opened ten times")
    for machine, by in (("Machine A", "nkw"), ("Machine B", "tob")):
        read_today(store, facts, machine, now, by)
    read_today(store, facts, "Machine D", now, "nkw", lines=6, hurried=2)
    late = book_of(store, facts, "Machine C", now - timedelta(minutes=4), "nkw")
    late.tell(
        e.MachineFaultFound, fault="demo-scavenging", machine="Machine C", what="scavenging hose slips off its port"
    )
