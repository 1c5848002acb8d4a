"""A fault of ours in an estimate costs the curve and nothing else: it is named, and the case stays on the screen.

Each fault is a table that cannot be, as no file could be read into one; what is expected is our own promise, no outside figure.
"""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest

from casebook import Book, at
from level_case import animal, induced_with, pump, pushed
from spiracle.case.facts import Facts
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.levels import FAILED
from spiracle.sheets.shapes import CaseView


def given() -> Book:
    b = induced_with(animal())
    pushed(b, 60, "15")
    pump(b, 60.5, "30", "propofol", "10 mg/mL")
    return b


def impossible(facts: Facts, **wrong: object) -> Facts:
    """The same tables, but no set of constants is what it says."""
    rows = tuple(msgspec.structs.replace(m, **wrong) for m in facts.kinetics.models)
    return replace(facts, kinetics=replace(facts.kinetics, models=rows))


def seen(facts: Facts) -> CaseView:
    b = given()
    return case_view(b.fold(), len(b.entries), facts, at(62), expected=True)


@pytest.mark.parametrize(
    ("wrong", "fault"),
    [({"weight_from_kg": "four"}, "InvalidOperation"), ({"adult_from_months": "grown"}, "TypeError")],
    ids=str,
)
def test_a_table_that_cannot_be_costs_the_curve_and_says_so(wrong: dict[str, object], fault: str) -> None:
    sound, broken = seen(load_facts()), seen(impossible(load_facts(), **wrong))
    (agent,), (whole,) = broken.induce.agents, sound.induce.agents
    assert whole.level is not None and whole.level.middle and not whole.level.none
    assert agent.level is not None
    (running,) = broken.maintain.levels
    for level in (agent.level, running):
        assert level.none.startswith(FAILED) and f"({fault})" in level.none, "the kind of the fault is named"
        assert (level.low, level.middle, level.high, level.now_text) == ((), (), (), "")
    assert msgspec.structs.replace(agent, level=None) == msgspec.structs.replace(whole, level=None)
    for part in ("collar", "phases", "prepare", "recover", "record"):
        assert getattr(broken, part) == getattr(sound, part), part
