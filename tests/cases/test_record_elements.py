"""The elements of a good record, A1 to J4: each has a title of its own and at least one event that carries it."""

from __future__ import annotations

from pathlib import Path

from spiracle.case.events import every_event
from spiracle.sheets.elements import ELEMENTS
from spiracle.sheets.manual import elements_page, events_page

DOCS = Path(__file__).resolve().parents[2] / "docs"
# How many elements each group has: counted by hand from the list of the record's elements that the project was given.
GROUPS = {"A": 9, "B": 8, "C": 5, "D": 9, "E": 4, "F": 15, "G": 6, "H": 7, "I": 3, "J": 4}
ALL = [f"{letter}{n}" for letter, count in GROUPS.items() for n in range(1, count + 1)]


def test_every_element_is_listed_once() -> None:
    assert [e.id for e in ELEMENTS] == ALL
    assert len({e.title for e in ELEMENTS}) == len(ALL) == 70


def test_every_element_is_carried_by_an_event() -> None:
    carried = {element for kind in every_event() for element in kind.covers}
    assert carried == set(ALL)


def test_every_event_carries_something() -> None:
    assert [k.__name__ for k in every_event() if not k.covers] == []


def test_the_pages_are_those_of_the_code() -> None:
    assert (DOCS / "events.md").read_text("utf-8") == events_page()
    assert (DOCS / "record-elements.md").read_text("utf-8") == elements_page()


def test_the_page_of_elements_names_the_events() -> None:
    line = next(x for x in elements_page().splitlines() if x.startswith("| E3 |"))
    assert "[AirwayProven](events.md#airwayproven)" in line and "[ProofNoted](events.md#proofnoted)" in line


def test_the_page_of_events_tells_what_a_field_holds() -> None:
    page = events_page()
    assert "| `method` | scale, estimated, owner, earlier visit | needed |" in page
    assert "| `weight_kg` | decimal number | needed |" in page
