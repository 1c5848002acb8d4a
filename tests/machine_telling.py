"""The book of one machine told entry by entry, and a patient who is put on it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from small_house import NINE, Telling, d, house
from spiracle.case import events as ev
from spiracle.case.ledger import LEDGER
from spiracle.case.machines import (
    DayCheck,
    day_check,
    machine_book,
)
from spiracle.sheets.machines import machines_sheet
from spiracle.sheets.shapes import MachineDay

TODAY = NINE.date()
VALVE, LEAK = "machine.valve-open", "machine.leak"

FIRST = {"machine": "M1", "circuit": "T-piece"}


class Book(Telling):
    """The ledger of a hospital with one machine, told entry by entry."""

    def __init__(self) -> None:
        self.facts, self.id, self.now, self.entries = house(), LEDGER, NINE, []

    def on(self, at: datetime) -> Book:
        self.now = at
        return self

    @property
    def check(self) -> DayCheck:
        return day_check(machine_book(self.case), self.facts, "M1", self.now.astimezone(self.facts.zone).date())

    @property
    def sheet(self) -> MachineDay:
        (found,) = machines_sheet(self.case, len(self.entries), self.facts, self.now).machines
        return found

    @property
    def order(self) -> list[str]:
        return [line.row.id for line in self.check.lines]

    def read(self, line: str, outcome: str = "done", **more: Any) -> str:
        return self.tell(
            ev.MachineLineDone, machine="M1", line=line, outcome=outcome, **{"seconds_shown": d("8"), **more}
        )

    def leak(self, flow: str = "150", at: str = "30") -> str:
        return self.tell(ev.MachineLeakTested, machine="M1", at_cmh2o=d(at), flow_ml_min=d(flow))

    def fall(self, **more: Any) -> dict[str, Any]:
        return {"machine": "M1", "at_cmh2o": d("30"), "to_cmh2o": d("25"), "seconds": d("30"), **more}

    def whole(self) -> Book:
        self.leak()
        for line in self.order:
            self.read(line)
        return self


def says_of(book: Book, line: str) -> str:
    return next(x.row.says for x in book.check.lines if x.row.id == line)


def patient(book: Book, kind: str = "elective", at: datetime = NINE) -> Telling:
    """A case decided as the door decides it: with the book laid into the facts."""
    t = Telling(kind=kind)
    t.facts, t.now = replace(t.facts, machines=machine_book(book.case)), at
    return t
