"""A log being written for a test: one event a minute, ids by number, an invented dog."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from spiracle.case.events import CaseOpened, DrugOrdered, Entry, Event, PatientDescribed, Weighed
from spiracle.case.fold import Case, fold

NOW = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)


class Log:
    """A log being written: one event a minute, ids by number."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def add(self, kind: type[Event], **fields: Any) -> None:
        at = NOW - timedelta(hours=1) + timedelta(minutes=len(self.entries))
        event = kind(id=f"e{len(self.entries)}", case="c", happened_at=at, recorded_at=at, by="mk", **fields)
        self.entries.append(Entry(len(self.entries) + 1, at, event))

    @property
    def case(self) -> Case:
        return fold(self.entries)


def a_case(weight: str | None = "12") -> Log:
    log = Log()
    log.add(CaseOpened, species="dog", name="Hedda")
    log.add(PatientDescribed, breed="mixed breed", age="4 y")
    if weight is not None:
        log.add(Weighed, weight_kg=Decimal(weight), method="scale")
    log.add(DrugOrdered, order="o1", drug="methadone", purpose="premedication", route="IM", low=Decimal("0.3"),
            high=Decimal("0.3"), unit="mg/kg", concentration="10 mg/mL")  # fmt: skip
    log.add(DrugOrdered, order="o2", drug="propofol", purpose="induction", route="IV", low=Decimal(2), high=Decimal(4),
            unit="mg/kg", concentration="10 mg/mL")  # fmt: skip
    return log
