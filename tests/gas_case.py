"""A cat asleep with a tube in, and what is read of it: for advice on breathing."""

from __future__ import annotations

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import Advice


def cat(*, tube: bool = True) -> Book:
    """Four kilograms, asleep since minute 60, the tube in at 62 and proven."""
    b = Book("c-gas")
    b.tell(0, ev.CaseOpened, species="cat", name="Sedge")
    b.tell(1, ev.Weighed, weight_kg=d("4"), method="scale")
    b.tell(2, ev.BodyConditionScored, score=5)
    b.tell(3, ev.AllergiesAsked)
    b.tell(60, ev.TimeMarked, mark="induction")
    if tube:
        b.tell(61, ev.AttemptBegan, attempt="a-1", tube_id_mm=d("4"), operator="rowan")
        b.tell(62, ev.AttemptEnded, attempt="a-1", outcome="in")
        b.tell(62, ev.TubePlaced, id_mm=d("4"), cuffed=True, depth_cm=d("13"), attempt="a-1")
        b.tell(62.2, ev.ProofNoted, sign="co2", breaths=6)
        b.tell(62.5, ev.AirwayProven, method="CO2")
    return b


UNITS = {"peak_pressure": "cmH2O", "peep": "cmH2O", "fio2": "%", "agent_et": "%", "agent_in": "%", "spo2": "%", "etco2": "mmHg",
         "respiratory_rate": "/min", "tidal_volume": "mL"}  # fmt: skip


def see(b: Book, minutes: float, **values: str) -> None:
    for name, value in values.items():
        b.tell(minutes, ev.ReadingTaken, reading=name, value=d(value), unit=UNITS[name], confirmed=True)


def press(b: Book, minutes: float, sap: str, map_: str | None, dap: str) -> None:
    b.tell(
        minutes, ev.PressureTaken, sap=d(sap), map=None if map_ is None else d(map_), dap=d(dap), method="oscillometric"
    )


def lines(b: Book, minutes: float) -> tuple[Advice, ...]:
    return case_view(b.fold(), len(b.entries), load_facts(), at(minutes)).advice


def line(b: Book, minutes: float, id_: str) -> Advice | None:
    return next((a for a in lines(b, minutes) if a.id == id_), None)
