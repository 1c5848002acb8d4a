"""How long 5,000 entries take to become a case, and a whole view, beside one plain pass over the same list."""

from __future__ import annotations

import random
import uuid
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from measuring import Result, median_ms
from spiracle.case.events import CaseOpened, Entry, EntryStruck, ReadingTaken, Weighed
from spiracle.case.fold import fold
from spiracle.doors.demo import hospital_path
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view

START = datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
KINDS = (
    ("heart_rate", 90, "/min"),
    ("spo2", 98, "%"),
    ("etco2", 40, "mmHg"),
    ("respiratory_rate", 12, "/min"),
    ("temperature", 37, "Cel"),
)


def entries(count: int) -> list[Entry]:
    """A long case: readings every few seconds, one in fifty struck. Seeded, so every run folds the same."""
    rng = random.Random(7)
    case = str(uuid.UUID(int=rng.getrandbits(128)))
    made: list[Entry] = []

    def add(kind: type, at: datetime, **fields: object) -> str:
        id_ = str(uuid.UUID(int=rng.getrandbits(128)))
        event = kind(id=id_, case=case, happened_at=at, recorded_at=at, by="nkw", **fields)
        made.append(Entry(len(made) + 1, at, event))
        return id_

    add(CaseOpened, START, species="dog", name="Long")
    add(Weighed, START, weight_kg=Decimal("13.2"), method="scale")
    while len(made) < count:
        reading, value, unit = KINDS[len(made) % 5]
        at = START + timedelta(seconds=2 * len(made))
        id_ = add(ReadingTaken, at, reading=reading, value=Decimal(value + rng.randint(-3, 3)), unit=unit)
        if len(made) % 50 == 0:
            add(EntryStruck, at, target=id_, reason="wrong key")
    return made


def plain(log: list[Entry]) -> dict[str, int]:
    """A plain pass: sort and count by type."""
    counts: dict[str, int] = {}
    for n in sorted(log, key=lambda n: n.event.happened_at):
        name = type(n.event).__name__
        counts[name] = counts.get(name, 0) + 1
    return counts


def results() -> list[Result]:
    log = entries(5000)
    facts = load_facts(hospital_path())
    case = fold(log)
    now = log[-1].arrived_at
    base = median_ms(lambda: plain(log), 30)
    return [
        Result("fold of a 5,000-entry case", median_ms(lambda: fold(log), 30), "ms", "one sort and count", base, 20),
        Result(
            "its whole view",
            median_ms(lambda: case_view(case, len(log), facts, now), 8, 1),
            "ms",
            "one sort and count",
            base,
        ),
    ]
