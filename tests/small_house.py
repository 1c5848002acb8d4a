"""A case told entry by entry through `decide`, in a hospital of four people; what is refused is not kept."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.facts import Facts
from spiracle.case.fold import Case, fold
from spiracle.doors.tables import load_facts
from spiracle.refusals import Refusal

NINE = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
HOUSE = Path(__file__).with_name("small_house.toml")


@cache
def house() -> Facts:
    return load_facts(HOUSE)


def d(text: str) -> Decimal:
    return Decimal(text)


class Telling:
    """`at(minutes)` moves the clock; `tell` writes; `refused` expects a refusal by name and keeps nothing."""

    def __init__(self, species: str = "dog", kg: str = "10", kind: str = "elective", weighed: bool = True) -> None:
        self.facts, self.id, self.now = house(), str(uuid.uuid4()), NINE
        self.entries: list[ev.Entry] = []
        self.tell(ev.CaseOpened, species=species, kind=kind)
        if weighed:
            self.tell(ev.Weighed, weight_kg=d(kg), method="scale", confirmed=True)

    @property
    def case(self) -> Case:
        return fold(self.entries)

    def at(self, minutes: float) -> Telling:
        self.now = NINE + timedelta(minutes=minutes)
        return self

    def made(self, kind: type[ev.Event], /, **fields: Any) -> Any:
        told = {"id": str(uuid.uuid4()), "case": self.id, "happened_at": self.now, "recorded_at": self.now, "by": "tec"}
        return kind(**{**told, **fields})

    def tell(self, kind: type[ev.Event], /, **fields: Any) -> str:
        event = self.made(kind, **fields)
        for lawful in decide(self.case, event, self.facts, self.now):
            self.entries.append(ev.Entry(len(self.entries) + 1, self.now, lawful))
        found: str = event.id
        return found

    def refused(self, name: type[Refusal], field: str, kind: type[ev.Event], /, **fields: Any) -> Refusal:
        with pytest.raises(Refusal) as turned:
            decide(self.case, self.made(kind, **fields), self.facts, self.now)
        found = turned.value
        assert (type(found), found.field) == (name, field), found.sentence
        assert found.says.strip() and found.accepts.strip(), "a refusal says why and what would be accepted"
        return found

    # ---- usual beginnings

    def order(self, order: str = "o1", drug: str = "methadone", purpose: str = "premedication", route: str = "IM",
              low: str = "0.2", high: str = "0.2", unit: str = "mg/kg", **more: Any) -> None:  # fmt: skip
        self.tell(ev.DrugOrdered, order=order, drug=drug, purpose=purpose, route=route, low=d(low), high=d(high), unit=unit,
                  **{"ordered_by": "vet", **more})  # fmt: skip

    def draw(self, syringe: str = "s1", order: str = "o1", drug: str = "methadone", ml: str = "0.2", holds: str = "10 mg/mL",
             barrel: str = "1 mL", **more: Any) -> None:  # fmt: skip
        self.tell(ev.SyringeDrawn, syringe=syringe, order=order, drug=drug, vial_concentration=holds, concentration=holds,
                  volume_ml=d(ml), drug_volume_ml=d(ml), barrel=barrel, **more)  # fmt: skip

    def push(self, ml: str, mg: str, *, drug: str = "methadone", syringe: str = "s1", order: str = "o1", route: str = "IM",
             **more: Any) -> dict[str, Any]:  # fmt: skip
        """The fields of one push."""
        return {"drug": drug, "amount": d(mg), "unit": "mg", "volume_ml": d(ml), "route": route, "order": order,
                "syringe": syringe, **more}  # fmt: skip
