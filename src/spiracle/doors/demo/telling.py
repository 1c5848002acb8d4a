"""Tells one invented case as a row of entries, each decided and stored like any other."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from spiracle.breathing import lists
from spiracle.case.events import (
    CheckLineDone,
    DrugGiven,
    DrugOrdered,
    Event,
    PressureTaken,
    ReadingTaken,
    SignSeen,
    SyringeDrawn,
)
from spiracle.case.facts import Facts
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import LogStore
from spiracle.doors.log_store_write import write
from spiracle.drugs import DosingWeight, OrderedDose, Prepared, Stock, prepare

HOUSE = uuid.UUID("6f1d2f64-3a57-5e0c-9a56-6f6f1c1de300")


class Story:
    """`by` is the acting hand from here on; `at(m)` sets the clock m minutes after the story's start."""

    def __init__(self, store: LogStore, facts: Facts, name: str, start: datetime, by: str, end: datetime) -> None:
        self.store, self.facts, self.start, self.by, self.end = store, facts, start, by, end
        self.case = self.own = str(uuid.uuid5(HOUSE, name))  # several stories may write into the ledger
        self.clock = SetClock(start)
        self.t = start
        self.count = 0
        self.kg = Decimal(0)
        self.species = ""
        self.prepared: dict[str, Prepared] = {}

    @property
    def over(self) -> bool:
        """Whether the story has reached the present: nothing may be told beyond it."""
        return self.t > self.end

    def at(self, minutes: float) -> Story:
        self.t = self.start + timedelta(minutes=minutes)
        return self

    def new_id(self, words: str = "") -> str:
        self.count += 1
        return str(uuid.uuid5(HOUSE, f"{self.own}/{self.count}/{words}"))

    def tell(self, what: type[Event], /, *, late: float = 0, by: str = "", **fields: Any) -> str:
        """One entry now; `late` minutes between happening and entering. A refusal ends the telling with its words."""
        id_ = self.new_id(what.__name__)
        event = what(id=id_, case=self.case, happened_at=self.t, recorded_at=self.t + timedelta(minutes=late),
                     by=by or self.by, device="demo", **fields)  # fmt: skip
        self.clock.set(self.t + timedelta(minutes=late, seconds=2))
        answer = write(self.store, self.facts, self.clock, self.case, [event]).answers[0]
        if answer.refused is not None:
            raise ValueError(
                f"{what.__name__} at {self.t:%H:%M}: {answer.refused.field}: {answer.refused.says} {answer.refused.accepts}"
            )
        return id_

    def order(
        self, order: str, drug: str, purpose: str, route: str, low: str, high: str, unit: str, **more: Any
    ) -> None:
        """A written order, and what the core makes of it at this weight."""
        self.tell(DrugOrdered, order=order, drug=drug, purpose=purpose, route=route, low=Decimal(low), high=Decimal(high), unit=unit,
                  ordered_by=more.pop("ordered_by", "svr"), **more)  # fmt: skip
        asked = OrderedDose.of(
            drug, self.species, purpose, route, dose=f"{high} {unit}", strength=more.get("concentration", "")
        )
        stocked = {d.drug: d.strengths for d in self.facts.hospital.drugs}
        stock = Stock.over(self.facts.drugs.stock(), stocked, self.facts.hospital.barrels)
        self.prepared[order] = prepare(asked, DosingWeight(self.kg), stock, self.facts.drugs)

    def draw(self, order: str, syringe: str, seen_by: str = "") -> None:
        """The syringe of an order, as the core prepared it."""
        p = self.prepared[order]
        if p.refusal is not None or p.drawn is None or p.concentration is None or p.strength is None:
            raise ValueError(f"{order}: {p.refusal}")
        d = p.dilution
        volume = d.total.number("mL") if d else p.drawn.number("mL")
        self.tell(
            SyringeDrawn, syringe=syringe, order=order, drug=p.order.drug, vial_concentration=p.strength.text,
            concentration=str(p.concentration), volume_ml=volume, drug_volume_ml=d.drug_volume.number("mL") if d else volume,
            diluent=d.diluent if d else "", diluent_volume_ml=d.diluent_volume.number("mL") if d else Decimal(0),
            barrel=p.barrel.id if p.barrel else "", lot="D4471", expires="2028-03", seen_by=seen_by,
        )  # fmt: skip

    def give(self, order: str, syringe: str, volume: str = "", site: str = "", **more: Any) -> None:
        """A push from a syringe: all of the planned volume, or the one named."""
        p = self.prepared[order]
        if p.concentration is None or p.drawn is None:
            raise ValueError(f"{order} was not prepared: {p.refusal}")
        ml = Decimal(volume) if volume else p.drawn.number("mL")
        top = str(p.concentration.unit).split("/")[0]
        self.tell(DrugGiven, drug=p.order.drug, amount=ml * p.concentration.value, unit=top, volume_ml=ml,
                  concentration=str(p.concentration), route=p.route, purpose=p.order.purpose, order=order, syringe=syringe,
                  site=site, **more)  # fmt: skip

    def check(self, name: str, gap_min: float = 0.4) -> None:
        """A whole list read aloud, line by line."""
        for line in lists(self.facts.breathing, name):
            self.tell(CheckLineDone, list=name, line=line.id, spoken_by=self.by, seconds_shown=Decimal(9))
            self.t += timedelta(minutes=gap_min)

    def row(self, values: Mapping[str, str], signs: Mapping[str, str] | None = None, pressure: tuple[int, int, int] | None = None,
            method: str = "oscillometric") -> None:  # fmt: skip
        """One five-minute row: numbers, what the hand and eye saw, and the pressure."""
        units = {"heart_rate": "/min", "respiratory_rate": "/min", "spo2": "%", "etco2": "mmHg", "fico2": "mmHg", "agent_et": "%",
                 "temperature": "Cel"}  # fmt: skip
        for reading, value in values.items():
            self.tell(
                ReadingTaken, reading=reading, value=Decimal(value), unit=units[reading], source="hand", row_at=self.t
            )
        if pressure is not None:
            sap, mean, dap = (Decimal(x) for x in pressure)
            self.tell(
                PressureTaken,
                sap=sap,
                map=mean,
                dap=dap,
                method=method,
                site="left fore",
                cuff_cm=Decimal(3),
                row_at=self.t,
            )
        for sign, finding in (signs or {}).items():
            self.tell(SignSeen, sign=sign, finding=finding, row_at=self.t)
