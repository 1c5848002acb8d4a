"""The day sheet and the hospital's own page, over a few invented cases at one moment."""

from __future__ import annotations

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.case.fold import Case, fold
from spiracle.doors.tables import load_facts
from spiracle.sheets.board import board
from spiracle.sheets.hospital import hospital
from spiracle.sheets.shapes import Board, BoardLine
from teasel import teasel, until


def waiting() -> Book:
    """A dog to come, in another room, not weighed and not signed."""
    book = Book("c-fenwick", by="rowan")
    book.tell(0, ev.CaseOpened, species="dog", name="Fenwick", room="Theatre 1", planned_at=at(180))
    book.tell(1, ev.ProcedurePlanned, procedure="lump off shoulder", minutes=45, room="Theatre 1")
    return book


def unknown() -> Book:
    """An emergency with an estimated weight."""
    book = Book("c-ditch", by="ilse")
    book.tell(80, ev.CaseOpened, species="dog", kind="emergency", room="Resus")
    book.tell(80.1, ev.Weighed, weight_kg=d("20"), method="estimated")
    return book


def day(minutes: float) -> Board:
    cases: dict[str, Case] = {"c-teasel": fold(until(teasel(), minutes))}
    for book in (waiting(), unknown()):
        cases[book.case] = fold(until(book, minutes))
    return board(cases, load_facts(), at(minutes))


def line(found: Board, case: str) -> BoardLine:
    return next(x for x in (*found.now, *found.to_come, *found.ended) if x.case == case)


def test_cases_stand_by_room_and_what_is_to_come_below() -> None:
    found = day(99)
    assert [x.case for x in found.now] == ["c-teasel", "c-ditch"]
    assert [x.case for x in found.to_come] == ["c-fenwick"]
    assert found.ended == ()


def test_a_line_says_who_where_how_far_and_what_it_asks() -> None:
    teasel_line = line(day(99), "c-teasel")
    assert (teasel_line.room, teasel_line.about, teasel_line.state, teasel_line.hand) == (
        "Dental", "cat · 4 kg · II", "Maintain", "rowan")  # fmt: skip
    assert (teasel_line.asks, teasel_line.asks_priority) == ("Mean pressure 62, under 65 mmHg", "medium")
    assert [n.text for n in teasel_line.last] == ["150", "97", "62"]


def test_a_value_that_nobody_saw_is_a_dash_and_never_nought() -> None:
    assert [n.text for n in line(day(99), "c-ditch").last] == ["—", "—", "—"]


def test_an_estimated_weight_and_a_draft_show_on_the_day_sheet() -> None:
    assert line(day(99), "c-ditch").estimated
    fenwick = line(day(99), "c-fenwick")
    assert fenwick.draft and fenwick.asks == "Weigh now" and fenwick.about == "dog · not weighed · ASA not set"


def test_the_lane_is_sedated_asleep_and_what_is_still_expected() -> None:
    """Premedicated 35, asleep from 65, 60 min planned: at 99 the rest is expected until 125."""
    lane = line(day(99), "c-teasel").lane
    assert [(p.kind, p.from_at, p.to_at) for p in lane] == [
        ("sedated", at(35), at(65)), ("asleep", at(65), None), ("expected", at(99), at(125))]  # fmt: skip
    waking = line(day(148), "c-teasel")
    assert [p.kind for p in waking.lane] == ["sedated", "asleep", "waking"]
    assert (waking.room, waking.asks_priority) == ("Recovery 1", "high")


def test_an_ended_case_stays_for_a_day() -> None:
    cases = {"c-teasel": teasel().fold()}
    assert [x.case for x in board(cases, load_facts(), at(210)).ended] == ["c-teasel"]
    later = board(cases, load_facts(), at(200 + 24 * 60))
    assert (later.now, later.to_come, later.ended) == ((), (), ())


def test_a_case_whose_opening_was_struck_is_not_on_the_board() -> None:
    book = waiting()
    book.tell(5, ev.EntryStruck, target=book.entries[0].event.id, reason="wrong patient")
    assert board({"c-fenwick": book.fold()}, load_facts(), at(10)) == Board(as_of=at(10), now=(), to_come=())


def test_the_hospital_offers_what_opens_a_case_without_typing() -> None:
    page = hospital(load_facts())
    assert {"dog", "cat"} == set(page.emergency_weights) and all(page.emergency_weights.values())
    assert "isotonic_crystalloid" in page.fluids and "methadone" not in page.fluids
    assert ("diabetes", "Diabetes") in page.conditions
    assert page.cautions and page.version.startswith("spiracle ") and page.tables
    assert page.pain_scales and all(top > 0 for _, top in page.pain_scales)
