"""The tables of the CO2 trace against what their sources print, and what does not load."""

from __future__ import annotations

import pytest

from capno_rooms import capnogram_tables
from room_tables import sources
from spiracle.capnogram.tables import DEGREES, NAMES, CapnogramTables
from spiracle.doors.tables import room_texts, table_texts
from spiracle.refusals import BadTable, NotOneOf
from spiracle.source import Seen

TABLES = capnogram_tables()


@pytest.mark.parametrize(("fact", "species", "low", "high", "unit"), [
    ("CG1", "human", 7.5, None, "mmHg"),  # Royal College of Anaesthetists: peak > 1 kPa (7.5 mmHg) above baseline
    ("CG6", "dog", 0.6, 5.0, "s"),  # Breen 1994: transport delay of six capnometers
    ("CG14", "human", 26.8, 37, "mmHg"),  # Tripathi 2000: breached against whole sampling tube
    ("CG17", "dog", 40, 400, "/min"),  # Vets and Clinics: tachypnoea 40-90, panting 200-400
    ("CG19", "cat", 30, 30, "s"),  # Campagna 2015: hand ventilation after 30 s
    ("CA15", "dog", 45, 55, "mmHg"),  # NAVAS: assist above about 55
])  # fmt: skip
def test_facts_are_as_printed(fact: str, species: str, low: float | None, high: float | None, unit: str) -> None:
    row = TABLES.stated[fact]
    span = row.span(species)
    assert [None if x is None else float(x) for x in (span.low, span.high)] == [low, high]
    assert row.unit == unit


def test_every_fact_of_capnography_is_there_once() -> None:
    """Section 3 of the fact base has CA1-CA17 and CS1-CS12; CA8, CA9 and CA16 stand with the breathing system."""
    ids = {row.id for row in TABLES.stated.rows}
    wanted = {f"CA{n}" for n in range(1, 18)} - {"CA8", "CA9", "CA16"} | {f"CS{n}" for n in range(1, 13)}
    assert wanted <= ids


def test_rows_that_disagree_name_each_other() -> None:
    pairs = [(row, TABLES.stated[other]) for row in TABLES.stated.rows for other in row.disagrees]
    assert len(pairs) >= 15
    verdicts = {"CA4", "CG12"}  # rows that state the disagreement, or contradict one that was there before them
    assert all(row.id in other.disagrees for row, other in pairs if row.id not in verdicts)


@pytest.mark.parametrize(("name", "figure", "degree"), [
    ("high-co2", 50, "mild"), ("high-co2", 55, "moderate"),  # NAVAS: consider assisting above about 55
    ("high-co2", 61, "severe"),  # fact base CS9: act at 55-60
    ("low-co2", 32, "mild"), ("low-co2", 29, "moderate"),  # fact base CS10, from memory: act below 30
    ("apnoea", 30, "severe"),  # Campagna 2015: acted on after 30 s
    ("rebreathing", 5, "moderate"),  # teaching, from memory: 3-5 tolerated on non-rebreathing systems
])  # fmt: skip
def test_degrees_follow_published_lines(name: str, figure: float, degree: str) -> None:
    ladder = TABLES.ladders[name]
    assert ladder.shows(figure)
    assert ladder.degree(figure) == degree


@pytest.mark.parametrize("normal", [35.0, 40.0, 45.0])
def test_what_is_normal_by_the_published_table_shows_nothing(normal: float) -> None:
    """Ko & Krimins 2012: end-tidal CO2 of dog and cat under anaesthesia 35-45 mmHg."""
    assert not TABLES.ladders["high-co2"].shows(normal)
    assert not TABLES.ladders["low-co2"].shows(normal)


@pytest.mark.parametrize("name", NAMES)
def test_every_finding_says_what_it_means_what_else_it_could_be_and_what_to_look_at(name: str) -> None:
    row = TABLES.finding(name)
    assert row.title and row.means.endswith(".")
    if name != "normal":
        assert TABLES.causes(name)
        assert [c.place for c in TABLES.first_checks(name)] == list(range(1, 1 + len(TABLES.first_checks(name))))
        step = TABLES.ladders[name]
        assert [step.degree(step.sign * s) for s in (step.mild, step.moderate, step.severe)] == list(DEGREES)


def test_a_figure_of_ours_is_marked_and_one_that_was_read_is_not() -> None:
    assert TABLES.settings["looked-at"].memory
    assert TABLES.settings["credible-height"].seen is Seen.EXCERPT


def test_urgent_findings_stand_first() -> None:
    ranks = [(row.rank, row.urgent) for row in TABLES.findings.values()]
    assert len({rank for rank, _ in ranks}) == len(NAMES)
    assert [urgent for _, urgent in sorted(ranks)] == [True] * 5 + [False] * 10


@pytest.mark.parametrize(("old", "new", "says"), [
    ('id = "looked-at"', 'id = "looked-on"', "not the ones expected"),
    ('"CG19"', '"CG99"', "not listed"),
    ('[[check]]\nid = "panting.1"', '[[check]]\nid = "normal.1"', "has a first check"),
    ("clear = 45\nmild = 47", "clear = 48\nmild = 47", "do not climb"),
    ('id = "leak"\ntitle', 'id = "drip"\ntitle', "not the ones expected"),
])  # fmt: skip
def test_a_broken_table_does_not_load(old: str, new: str, says: str) -> None:
    texts = room_texts(table_texts(), "capnogram")
    assert old in texts["capnogram"]
    with pytest.raises(BadTable, match=says):
        CapnogramTables.read({**texts, "capnogram": texts["capnogram"].replace(old, new, 1)}, sources())


def test_a_name_that_is_none_is_refused_with_those_that_are() -> None:
    with pytest.raises(NotOneOf, match="apnoea"):
        TABLES.first_checks("shark fin")
