"""Up to the induction: phases, collar, preparation. Expected by hand from the log of teasel.py."""

from __future__ import annotations

import pytest

from casebook import Book, at, d
from spiracle.case import events as ev
from teasel import seen_at, state, teasel

# ---- how far the case has come


@pytest.mark.parametrize(
    ("minutes", "phase"),
    [
        (1, "assess"),
        (19, "plan"),
        (31, "prepare"),
        (65.2, "induce"),
        (69.5, "maintain"),
        (131, "recover"),
        (201, "record"),
    ],
)
def test_the_open_phase_follows_the_work(minutes: float, phase: str) -> None:
    states = state(seen_at(minutes))
    assert [p for p, s in states.items() if s == "open"] == [phase]
    order = list(states)
    assert [states[p] for p in order[: order.index(phase)]] == ["done"] * order.index(phase)
    assert {states[p] for p in order[order.index(phase) + 1 :]} <= {"ahead"}


def test_a_phase_counts_what_it_lacks_and_only_once_begun() -> None:
    first = {p.phase: p for p in seen_at(3.5).phases}
    assert first["assess"].gaps == len(first["assess"].gap_words)
    assert "ASA" in first["assess"].gap_words and "weight" not in first["assess"].gap_words
    assert first["plan"].gaps == 0


def test_the_signed_record_closes_every_phase() -> None:
    assert set(state(seen_at(210)).values()) == {"done"}


# ---- the collar


def test_the_collar_says_who_how_heavy_and_since_when() -> None:
    collar = seen_at(99).collar
    assert (collar.name, collar.species, collar.breed, collar.sex, collar.age) == (
        "Teasel", "cat", "domestic shorthair", "female neutered", "9 y")  # fmt: skip
    assert collar.weight is not None and (collar.weight.text, collar.weight.unit) == ("4", "kg")
    assert (collar.weight_basis, collar.weight_at, collar.estimated) == ("scale 1", at(3), False)
    assert (collar.asa, collar.allergies.state, collar.allergies.asked_at) == ("II", "none known", at(8))
    assert (collar.induced_at, collar.ended_at, collar.draft) == (at(65), None, False)
    assert seen_at(210).collar.ended_at == at(135)


def test_allergies_not_asked_are_not_none_known() -> None:
    """U15: two different things."""
    assert seen_at(7.5).collar.allergies.state == "not asked"


def test_another_weight_makes_the_plan_a_draft_and_the_syringes_void() -> None:
    """U6, U28: a plan and a syringe hold for the weight they were made for."""
    book = teasel()
    book.tell(40, ev.Weighed, weight_kg=d("4.5"), method="scale", scale="scale 1")
    view = seen_at(45, book)
    assert view.collar.draft
    assert "weight is 4.5 kg, the plan was signed for 4 kg" in view.collar.draft_reasons
    assert {s.void for s in view.prepare.drawn} == {"drawn for 4 kg, now 4.5 kg"}
    assert {s.void for s in seen_at(45).prepare.drawn} == {""}


def test_an_estimated_weight_marks_every_figure_and_asks_for_the_scale_first() -> None:
    """U7: ESTIMATED is inherited by what is made from it."""
    book = Book("c-found", by="rowan")
    book.tell(0, ev.CaseOpened, species="dog", kind="emergency")
    book.tell(0.1, ev.Weighed, weight_kg=d("12"), method="estimated")
    view = seen_at(1, book)
    assert view.collar.estimated and view.collar.weight is not None and view.collar.weight.estimated
    assert view.emergency is not None and view.emergency.estimated
    assert view.due[0].id in {"weigh", "fasting"} and "Weigh now" in {x.title for x in view.due}
    assert {"Food time", "Temperature", "Allergies and medicines", "ASA with E", "Who ordered"} <= {
        x.title for x in view.due
    }


# ---- preparation


def test_lists_show_what_was_answered_and_which_line_is_next() -> None:
    machine = next(x for x in seen_at(60).prepare.lists if x.list == "machine")
    assert [line.state for line in machine.lines[:4]] == ["done", "fault", "now", "ahead"]
    assert (machine.lines[1].note, machine.lines[0].at, machine.done) == ("hose frayed", at(52), 1)
    said = next(x.text for x in seen_at(60).record.log if x.kind == "CheckLineDone" and x.at == at(53))
    assert said == f"Machine list: {machine.lines[1].says}, FAULT, hose frayed"
    assert machine.of == len(machine.lines) and machine.lines[-1].says == "Relief valve OPEN"


def test_drawn_syringes_show_what_is_left() -> None:
    """U19: with what was last given, when and by whom."""
    drawn = {s.syringe: s for s in seen_at(60).prepare.drawn}
    assert (drawn["s-1"].drawn.text, drawn["s-1"].left.text, drawn["s-1"].left_ml) == ("0.1", "0.02", 0.02)
    assert (drawn["s-2"].left.text, drawn["s-2"].lot, drawn["s-2"].mark_ml) == ("0.8", "A-77", 0.01)
    assert drawn["s-1"].syringe_class == "opioid" and drawn["s-2"].syringe_class == "induction"
    assert drawn["s-1"].last_given == "0.8 mg, 08:35, rowan"


def test_the_ladder_has_every_mark_of_the_syringe() -> None:
    """1 mL in marks of 0.01 mL: a hundred rungs; 0.2 mL of 10 mg/mL is 2 mg, which is 0.5 mg/kg in four kilograms."""
    ladder = next(s for s in seen_at(60).prepare.drawn if s.syringe == "s-2").ladder
    assert ladder is not None and len(ladder.rungs) == 100
    rung = next(r for r in ladder.rungs if r.text == "0.2")
    assert (rung.amount_text, rung.per_kg_text, rung.over_order) == ("2 mg", "0.5 mg/kg", False)
    assert next(r for r in ladder.rungs if r.text == "0.81").over_order


def test_what_is_drawn_or_given_is_not_to_be_drawn_again() -> None:
    assert [x.order for x in seen_at(29).prepare.to_draw] == ["o-1", "o-2"]
    assert seen_at(60).prepare.to_draw == ()


def test_premedication_and_oxygen_before_induction() -> None:
    prepare = seen_at(62).prepare
    assert [(g.name, g.amount_text, g.per_kg_text, g.route) for g in prepare.premedication] == [
        ("Methadone", "0.8 mg", "0.2 mg/kg", "IM")]  # fmt: skip
    assert (prepare.premedicated_at, prepare.preoxygenation_from, prepare.preoxygenation_ended) == (
        at(35),
        at(60),
        False,
    )
    assert seen_at(64.5).prepare.preoxygenation_ended
