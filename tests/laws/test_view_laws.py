"""What holds for every view whatever was told: order of arrival, strikes and storage change nothing but what they say."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from casebook import Book, at, filled, rearrived
from spiracle.case import events as ev
from spiracle.case.events import Entry, decode, encode, every_event
from spiracle.case.fold import fold
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.readings import RIBBON
from spiracle.sheets.shapes import CaseView
from teasel import teasel, until

NOW = at(150.5)
SLOW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
MOMENTS = st.sampled_from([5.0, 28.0, 62.0, 67.2, 68.3, 99.0, 134.0, 148.0, 210.0])


def view_of(entries: list[Entry], now=NOW, seq: int = 0) -> CaseView:  # type: ignore[no-untyped-def]
    return case_view(fold(entries), seq, load_facts(), now)


def plain(view: CaseView) -> bytes:
    """The view's bytes, without the places of arrival, which alone may differ."""
    found = msgspec.to_builtins(view)
    for line in (*found["record"]["log"], *found["record"]["amendments"], *(found["emergency"] or {"log": []})["log"]):
        line["seq"] = 0
    return msgspec.json.encode(found)


@SLOW
@given(MOMENTS, st.data())
def test_any_order_of_arrival_gives_the_same_view(minutes: float, data: st.DataObject) -> None:
    """D8, D10: two tablets may send in any order; the view is that of what happened."""
    entries = until(teasel(), minutes)
    order = data.draw(st.permutations(range(len(entries))))
    assert plain(view_of(rearrived(entries, order), at(minutes))) == plain(view_of(entries, at(minutes)))


@SLOW
@given(MOMENTS)
def test_replay_equals_screen(minutes: float) -> None:
    """D15: The view from the stored bytes is the view from memory."""
    entries = until(teasel(), minutes)
    stored = [Entry(e.seq, e.arrived_at, decode(encode(e.event))) for e in entries]
    assert msgspec.json.encode(view_of(stored, at(minutes))) == msgspec.json.encode(view_of(entries, at(minutes)))


@SLOW
@given(MOMENTS)
def test_the_same_question_has_the_same_answer(minutes: float) -> None:
    entries = until(teasel(), minutes)
    assert msgspec.json.encode(view_of(entries, at(minutes))) == msgspec.json.encode(view_of(entries, at(minutes)))


@SLOW
@given(MOMENTS)
def test_the_wire_gives_back_what_was_sent(minutes: float) -> None:
    view = view_of(until(teasel(), minutes), at(minutes))
    assert msgspec.json.decode(msgspec.json.encode(view), type=CaseView) == view


STRIKEABLE = [
    i
    for i, e in enumerate(teasel().entries)
    if not isinstance(e.event, ev.CaseOpened | ev.EntryStruck | ev.ArtefactMarked)
]


@SLOW
@given(st.sampled_from(STRIKEABLE))
def test_striking_an_entry_and_entering_it_again_changes_nothing_that_stands(place: int) -> None:
    """The new entry has another id; everything worked out from it is the same."""
    book = teasel()
    entries = list(book.entries)
    old = entries[place].event
    new = msgspec.structs.replace(old, id=f"{old.id}-again")
    struck = ev.EntryStruck(id="strike-1", case=old.case, happened_at=old.happened_at, recorded_at=old.recorded_at, by="rowan",
                            target=old.id, reason="entered twice")  # fmt: skip
    marks = [e for e in entries if getattr(e.event, "target", "") == old.id]
    moved = [
        Entry(e.seq + 1000, e.arrived_at, msgspec.structs.replace(e.event, id=f"{e.event.id}-again", target=new.id))
        for e in marks
    ]
    told = [*entries, Entry(998, entries[place].arrived_at, new), Entry(999, entries[place].arrived_at, struck), *moved]
    before, after = view_of(entries), view_of(told)
    assert ids_out(what_stands(after)) == ids_out(what_stands(before))


def what_stands(view: CaseView) -> dict:  # type: ignore[type-arg]
    """Collar, phases, what is due, advice, sums and keys; marks of struck entries stay on the chart and are left out."""
    found = msgspec.to_builtins(view)
    chart = found["maintain"]["chart"]
    for name in ("rate", "pressures", "given", "events"):
        chart[name] = [m for m in chart[name] if not m["struck"]]
    for row in chart["rows"]:
        row["points"] = [p for p in row["points"] if not p["struck"]]
    found["prepare"]["premedication"] = [g for g in found["prepare"]["premedication"] if not g["struck"]]
    found["recover"]["looks"] = [x for x in found["recover"]["looks"] if not x["struck"]]
    found["record"] = {
        k: v for k, v in found["record"].items() if k not in {"log", "given", "pages_hint", "amendments"}
    }
    found["emergency"] = None
    return found  # type: ignore[no-any-return]


def ids_out(value: object) -> object:
    """The same data with the new ids read as the old ones; order within one moment falls to the id and is free."""
    if isinstance(value, dict):
        return {k: ids_out(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return sorted((ids_out(v) for v in value), key=msgspec.json.encode)
    return value.removesuffix("-again") if isinstance(value, str) else value


READINGS = [i for i, e in enumerate(teasel().entries) if isinstance(e.event, ev.ReadingTaken | ev.PressureTaken)]


@pytest.mark.parametrize("mark", ["strike", "artefact"])
@SLOW
@given(st.sampled_from(READINGS))
def test_a_struck_value_never_stands_for_now(mark: str, place: int) -> None:
    """C2: for any value struck."""
    book = teasel()
    target = book.entries[place].event
    if mark == "strike":
        book.tell(150, ev.EntryStruck, target=target.id, reason="wrong key")
    else:
        book.tell(150, ev.ArtefactMarked, target=target.id)
    view = view_of(book.entries, NOW)
    lines = {x.event_id: x for x in view.record.log}
    assert lines[target.id].struck is (mark == "strike") and lines[target.id].artefact is (
        mark == "artefact" or lines[target.id].artefact
    )
    for cell in view.maintain.ribbon:
        shown = cell.value
        if shown is not None and shown.at == target.happened_at:
            others = [
                e.event for e in book.entries if e.event.happened_at == target.happened_at and e.event.id != target.id
            ]
            assert any(isinstance(o, ev.ReadingTaken | ev.PressureTaken | ev.RecoveryLooked) for o in others)
    assert {c.reading for c in view.maintain.ribbon} == set(RIBBON)


@SLOW
@given(MOMENTS)
def test_one_condition_gives_one_line_and_the_most_urgent_stands_first(minutes: float) -> None:
    """D1: one condition, one alert; the order is by urgency, then by age."""
    advice = view_of(until(teasel(), minutes), at(minutes)).advice
    rank = {"high": 0, "medium": 1, "low": 2}
    assert len({a.id for a in advice}) == len(advice)
    assert [rank[a.priority] for a in advice] == sorted(rank[a.priority] for a in advice)


@SLOW
@given(st.lists(st.integers(1, 12), min_size=0, max_size=12))
def test_no_key_ever_takes_the_sum_over_the_order(volumes: list[int]) -> None:
    """U11: whatever was pushed before, push and half push end at or below the ordered 0.8 mL (8 mg), in whole marks."""
    book = Book("c-teasel", by="rowan")
    book.entries = [e for e in teasel().entries if e.event.happened_at < at(65)]
    pushed = 0
    for n, hundredths in enumerate(volumes):
        if pushed + hundredths > 80:
            break
        pushed += hundredths
        book.tell(65 + n / 10, ev.DrugGiven, drug="alfaxalone", amount=hundredths / ev.Decimal(10), unit="mg",
                  volume_ml=hundredths / ev.Decimal(100), concentration="10 mg/mL", route="IV", purpose="induction", order="o-2",
                  syringe="s-2")  # fmt: skip
    (agent,) = view_of(book.entries, at(70)).induce.agents
    for key in (agent.push, agent.half):
        if key is not None:
            assert round(key.volume_ml * 100) + pushed <= 80
            assert abs(key.volume_ml * 100 - round(key.volume_ml * 100)) < 1e-9
    assert (agent.push is None) is (pushed >= 80)


@pytest.mark.parametrize("kind", [k for k in every_event() if k is not ev.CaseOpened], ids=lambda k: k.__name__)
@pytest.mark.parametrize("minutes", [0.5, 30.5, 90.2, 140.5])
def test_no_event_that_is_stored_makes_a_view_fail(kind: type[ev.Event], minutes: float) -> None:
    """Every kind of event, plainly filled and naming nothing known, in the middle of the case and alone in a new one."""
    entries = until(teasel(), minutes)
    odd = Entry(999, at(minutes), filled(kind, minutes, case="c-teasel", id_="odd"))
    whole = view_of([*entries, odd], at(minutes + 1))
    assert any(x.event_id == "odd" for x in whole.record.log)
    alone = view_of([entries[0], odd], at(minutes + 1))
    assert len(alone.record.log) == 2
