"""The oxygen that is left now: a reading less what the charted flows took. Litres are contents x gauge / full pressure (Boyle).

680 L at 137 bar: 68.5 bar is 340 L. The reserve of 500 psi is 34.47 bar, 171.1 L. All sums by hand beside the check.
"""

from __future__ import annotations

from typing import Any

import pytest

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.case.oxygen import steps
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import CaseView, OxygenNow

CYLINDER: dict[str, Any] = {
    "source": "cylinder",
    "contents_l": d("680"),
    "full_pressure": "137 bar",
    "gauge": "68.5 bar",
}


def begun(minutes: int | None = 60, **read: Any) -> Book:
    b = Book("c-oxygen")
    b.tell(0, ev.CaseOpened, species="cat", name="Sedge")
    b.tell(1, ev.Weighed, weight_kg=d("4"), method="scale")
    b.tell(2, ev.ProcedurePlanned, procedure="dental", minutes=minutes)
    b.tell(10, ev.OxygenRead, **{**CYLINDER, **read})
    return b


def view(b: Book, minutes: float) -> CaseView:
    return case_view(
        b.fold([e for e in b.entries if e.arrived_at <= at(minutes)]), len(b.entries), load_facts(), at(minutes)
    )


def left(b: Book, minutes: float) -> OxygenNow:
    found = view(b, minutes).maintain.oxygen_left
    assert found is not None
    return found


def asleep(b: Book, minutes: float) -> None:
    b.tell(minutes, ev.TimeMarked, mark="induction")


def test_at_the_reading_it_is_the_reading_and_later_it_is_predicted() -> None:
    """A10: 340 L at the reading; 30 min at 2 L/min later 280 L, and (280 - 171.1) / 2 = 54 min to the reserve."""
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    first = left(b, 10)
    assert first.litres is not None and (first.litres.text, first.litres.mark) == ("340", "measured")
    later = left(b, 40)
    assert later.litres is not None and (later.litres.text, later.litres.mark) == ("280", "predicted")
    assert later.minutes is not None and (later.minutes.text, later.minutes.mark) == ("54", "predicted")
    assert (later.reserve_at, later.empty_at) == (at(94), at(180))
    assert later.read_part == pytest.approx(0.5) and later.part == pytest.approx(280 / 680, abs=1e-3)
    assert later.reserve == pytest.approx(34.474 / 137, abs=1e-3)


def test_each_change_of_the_flow_counts_from_its_minute() -> None:
    """10 min at 3 by mask, 20 at 1, 10 at 0.5: 30 + 20 + 5 = 55 L."""
    b = begun()
    b.tell(10, ev.PreoxygenationBegan, way="mask", flow_l_min=d("3"))
    b.tell(20, ev.PreoxygenationEnded)
    b.tell(20, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(40, ev.GasSet, oxygen_l_min=d("0.5"))
    found = left(b, 50).litres
    assert found is not None and found.text == "285"


def test_a_mask_takes_the_flowmeter_over_and_gives_it_back() -> None:
    """1 L/min, 10 min of mask at 3 and 10 at 1 again: 30 + 10. A gas setting during the mask takes over from it: 15 + 10."""
    b = begun()
    b.tell(9, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(10, ev.PreoxygenationBegan, way="mask", flow_l_min=d("3"))
    b.tell(20, ev.PreoxygenationEnded)
    back = left(b, 30).litres
    assert back is not None and back.text == "300"
    b = begun()
    b.tell(10, ev.PreoxygenationBegan, way="mask", flow_l_min=d("3"))
    b.tell(15, ev.GasSet, oxygen_l_min=d("1"))
    over = left(b, 25).litres
    assert over is not None and over.text == "315"


@pytest.mark.parametrize(
    ("began", "flow", "gas_at", "told"),
    [(12, None, None, True), (12, "3", None, False), (12, None, 11, False), (5, None, None, False)],
)
def test_a_mask_without_a_flow_is_said_not_guessed(
    began: float, flow: str | None, gas_at: float | None, told: bool
) -> None:
    """A10: what was charted without a figure takes nothing from the count; a mask that ended before the reading is no matter."""
    b = begun()
    if gas_at is not None:
        b.tell(gas_at, ev.GasSet, oxygen_l_min=d("2"))
    b.tell(began, ev.PreoxygenationBegan, way="mask", flow_l_min=None if flow is None else d(flow))
    b.tell(began + 4, ev.PreoxygenationEnded)
    words = "From 08:12 to 08:16 no flow is charted: not counted."
    assert (words in left(b, 20).notes) is told
    assert any("no flow is charted" in n for n in left(b, 20).notes) is told


def test_nothing_set_uses_nothing_and_has_no_end() -> None:
    found = left(begun(), 60)
    assert found.litres is not None and found.litres.text == "340"
    assert (found.minutes, found.reserve_at, found.short) == (None, None, False)


def test_drive_gas_counts_while_the_ventilator_runs() -> None:
    """Fresh gas 1 and drive 2 L/min: 10 min before the ventilator 10 L, 10 min with it 30 L, 10 after it 10 L."""
    b = begun(drive_l_min=d("2"))
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(20, ev.VentilationSet, mode="ventilator", rate=14)
    b.tell(30, ev.VentilationSet, mode="spontaneous")
    found = left(b, 40)
    assert found.litres is not None and found.litres.text == "290" and found.flow == "1 L/min"
    assert [s.l_min for s in steps(b.fold(), at(10))] == [d("1"), d("3"), d("1")]


def test_a_ventilator_whose_drive_gas_nobody_gave_is_said() -> None:
    """A10: 40 mL x 20 /min is 0.8 L/min, from memory: (331 - 7 x 0.8 - 171.1) / 1.8 = 85 min instead of 159."""
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(12, ev.VentilationSet, mode="ventilator", rate=20, tidal_ml=d("40"))
    words = " ".join(left(b, 19).notes)
    assert "not counted" in words and "0.8 L/min (from memory)" in words and "85 min" in words
    assert "counted since 08:12" in words


def test_the_reserve_falls_due_and_a_count_that_is_short_is_advised_on_instead() -> None:
    """A10: at 2 L/min from minute 10 the reserve is 84 min away; under ten minutes one line says so, and no other."""
    b = begun(minutes=None)
    asleep(b, 10)
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    (due,) = [d for d in view(b, 20).due if d.id == "oxygen"]
    assert (due.at, due.from_at) == (at(94), at(10)) and "predicted" in due.detail
    assert not [a for a in view(b, 20).advice if a.id.startswith("oxygen")]
    late = view(b, 86)
    (line,) = [a for a in late.advice if a.id.startswith("oxygen")]
    assert (line.id, line.priority) == ("oxygen short", "high") and "by count" in line.title and "09:34" in line.title
    assert not [d for d in late.due if d.id == "oxygen"]


def test_oxygen_that_ends_before_the_work_is_said_earlier() -> None:
    """A10: 84 min to the reserve, 100 of the procedure: medium; once half of it is done it is enough."""
    b = begun(minutes=100)
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    (line,) = [a for a in view(b, 10).advice if a.id == "oxygen short"]
    assert line.priority == "medium" and "84 min" in line.title and "100 min" in line.title
    assert left(b, 10).enough is False
    b.tell(11, ev.TimeMarked, mark="procedure start")
    b.tell(12, ev.GasSet, oxygen_l_min=d("0.5"))
    assert left(b, 61).planned_left == 50 and left(b, 61).enough is True
    assert not [a for a in view(b, 61).advice if a.id == "oxygen short"]


@pytest.mark.parametrize(("gauge", "words"), [("30 bar", "leak"), ("80 bar", "turned down"), ("50 bar", "")])
def test_a_reading_that_does_not_fit_the_count_is_asked_about(gauge: str, words: str) -> None:
    """A10: 280 L by count; 149, 397 and 248 L read; 15 % of the contents (ours) is 102 L. No figure is changed by it."""
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    b.tell(40, ev.OxygenRead, **{**CYLINDER, "gauge": gauge})
    question = left(b, 40).question
    assert words in question and bool(question) is bool(words)
    lines = [a for a in view(b, 40).advice if a.id == "oxygen gauge"]
    assert [a.body for a in lines] == ([question] if words else [])
    assert left(b, 40).gauge == gauge


def test_another_cylinder_is_no_question() -> None:
    b = begun(cylinder="A")
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    b.tell(40, ev.OxygenRead, **{**CYLINDER, "gauge": "137 bar", "cylinder": "B"})
    assert left(b, 40).question == "" and left(b, 40).name == "cylinder B"


def test_a_pipeline_and_a_concentrator_have_no_minutes() -> None:
    b = begun()
    b.tell(20, ev.OxygenRead, source="concentrator", max_l_min=d("5"), percent=d("93"), drive_l_min=d("2"))
    found = left(b, 30)
    assert (found.source, found.litres, found.minutes, found.gauge) == (
        "concentrator",
        None,
        None,
        "up to 5 L/min, 93 % oxygen",
    )
    assert any("does not drive a bellows" in n for n in found.notes)
    b.tell(40, ev.OxygenRead, source="pipeline")
    assert any("stands by" in n for n in left(b, 41).notes)
    assert not [x for x in view(b, 41).due if x.id == "oxygen"]


def test_an_old_concentrator_without_its_figures_is_shown_with_its_refusal() -> None:
    b = begun()
    b.tell(20, ev.OxygenRead, source="concentrator")
    found = left(b, 21)
    assert found.refusal is not None and found.refusal.field == "concentrator, largest flow"


def test_a_struck_reading_counts_for_nothing() -> None:
    b = begun()
    wrong = b.tell(20, ev.OxygenRead, **{**CYLINDER, "gauge": "6.85 bar"})
    b.tell(21, ev.EntryStruck, target=wrong, reason="a place off")
    found = left(b, 22)
    assert found.litres is not None and found.litres.text == "340" and found.read_at == at(10)


def test_once_the_tube_is_out_an_old_flow_says_nothing() -> None:
    b = begun(minutes=None)
    asleep(b, 10)
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    b.tell(30, ev.Extubated)
    assert not [a for a in view(b, 90).advice if a.id.startswith("oxygen")]
    assert not [x for x in view(b, 40).due if x.id == "oxygen"]


def test_the_machine_page_and_the_chart_page_show_the_same() -> None:
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    found = view(b, 40)
    assert found.prepare.oxygen_left == found.maintain.oxygen_left is not None
