"""Oxygen that a count could promise and that is not there: each case here once read as enough, or lost what was told before.

680 L at 137 bar (Boyle): 68.5 bar is 340 L; the reserve of 500 psi is 34.47 bar, 171.1 L. All sums by hand beside the check.
"""

from __future__ import annotations

from typing import Any

import pytest

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.case.decide_lists import oxygen_read
from spiracle.case.oxygen import drive_of
from spiracle.doors.tables import load_facts
from spiracle.refusals import AskAgain, Contradiction, Missing
from spiracle.sheets.case_view import case_view
from spiracle.sheets.plan_sheet import request_of
from spiracle.sheets.shapes import Advice, CaseView, OxygenNow

CYLINDER: dict[str, Any] = {
    "source": "cylinder",
    "contents_l": d("680"),
    "full_pressure": "137 bar",
    "gauge": "68.5 bar",
}


def begun(minutes: int | None = 60, **read: Any) -> Book:
    b = Book("c-hostile-oxygen")
    b.tell(0, ev.CaseOpened, species="dog", name="Alder")
    b.tell(1, ev.Weighed, weight_kg=d("30"), method="scale")
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


def litres(b: Book, minutes: float) -> str:
    found = left(b, minutes).litres
    assert found is not None
    return found.text


def advised(b: Book, minutes: float) -> list[Advice]:
    return [a for a in view(b, minutes).advice if a.id == "oxygen short"]


# ---- drive gas


def test_drive_gas_is_kept_when_the_gauge_is_read_again() -> None:
    """1 L/min and 4.3 L/min of drive: 10 min after the second reading of 340 L, 53 L are gone: 287."""
    b = begun(drive_l_min=d("4.3"))
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(10, ev.VentilationSet, mode="ventilator", rate=12, tidal_ml=d("360"))
    b.tell(20, ev.OxygenRead, **CYLINDER)
    assert (litres(b, 30), left(b, 30).flow) == ("287", "5.3 L/min")
    assert not any("not counted" in n for n in left(b, 30).notes)
    b.tell(40, ev.OxygenRead, **{**CYLINDER, "drive_l_min": d("0")})
    assert litres(b, 50) == "330"


def test_a_plan_keeps_the_drive_gas_as_well() -> None:
    b = begun(drive_l_min=d("4.3"))
    b.tell(20, ev.OxygenRead, **CYLINDER)
    kept = request_of(b.fold(), load_facts(), at(60)).stock.drive_gas
    assert kept is not None and kept.number("L/min") == d("4.3")


def test_another_machine_has_another_ventilator() -> None:
    b = begun(drive_l_min=d("4.3"))
    b.tell(11, ev.MachineAssigned, machine="Machine A")
    assert drive_of(b.fold()) == d("4.3")
    b.tell(12, ev.MachineAssigned, machine="Machine B")
    assert drive_of(b.fold()) is None


def test_drive_gas_that_nobody_gave_is_never_enough() -> None:
    """A10: 1 L/min and 12 x 360 mL = 4.3 L/min (share 1, from memory) for 30 min: 340 - 30 - 129 = 181 L, and
    (181 - 171.1) / 5.3 = 1.9 min. By what is charted alone it is 310 L and 138 min."""
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(10, ev.VentilationSet, mode="ventilator", rate=12, tidal_ml=d("360"))
    now = left(b, 40)
    assert now.minutes is not None and (litres(b, 40), now.minutes.text, now.enough) == ("310", "138", None)
    words = " ".join(now.notes)
    assert "4.3 L/min (from memory)" in words and "in 1 min" in words
    (line,) = advised(b, 40)
    assert line.priority == "high" and "1 min" in line.title and "from memory" in line.body


def test_a_bellows_that_would_not_last_the_work_is_advised_on_earlier() -> None:
    """At once: (340 - 171.1) / 5.3 = 31 min, 60 are planned; told that it takes none, it is enough and nothing is advised."""
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(10, ev.VentilationSet, mode="ventilator", rate=12, tidal_ml=d("360"))
    (line,) = advised(b, 10)
    assert line.priority == "medium" and "31 min" in line.title
    b.tell(11, ev.OxygenRead, **{**CYLINDER, "drive_l_min": d("0")})
    assert left(b, 11).enough is True and not advised(b, 11)


def test_a_breath_without_figures_gives_no_figure_and_no_verdict() -> None:
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(10, ev.VentilationSet, mode="ventilator", rate=12)
    now = left(b, 20)
    assert now.enough is None and "The ventilator's drive gas is not counted: say what it takes, or 0." in now.notes


# ---- a flow that nobody charted


def test_asleep_for_two_hours_with_no_flow_charted() -> None:
    b = begun()
    b.tell(12, ev.VaporiserSet, agent="isoflurane", percent=d("2"))
    b.tell(14, ev.TubePlaced, id_mm=d("9"), cuffed=True)
    now = left(b, 132)
    assert "From 08:12 to 10:12 no flow is charted: not counted." in now.notes and now.enough is None


def test_a_first_flow_charted_an_hour_late() -> None:
    """340 L less 2 min at 1 L/min is 338; the hour before it is said."""
    b = begun()
    b.tell(10, ev.TubePlaced, id_mm=d("9"), cuffed=True)
    b.tell(70, ev.GasSet, oxygen_l_min=d("1"))
    now = left(b, 72)
    assert litres(b, 72) == "338" and now.enough is None
    assert "From 08:10 to 09:10 no flow is charted: not counted." in now.notes
    b.tell(80, ev.OxygenRead, **CYLINDER)
    assert left(b, 81).enough is True and not any("charted" in n for n in left(b, 81).notes)


def test_an_animal_that_breathes_room_air_has_no_gap() -> None:
    b = begun()
    b.tell(20, ev.TimeMarked, mark="induction")
    b.tell(30, ev.VaporiserSet, agent="isoflurane", percent=d("0"))
    assert not any("charted" in n for n in left(b, 40).notes)
    b.tell(41, ev.TubePlaced, id_mm=d("9"), cuffed=True)
    b.tell(50, ev.Extubated)
    assert "From 08:41 to 08:50 no flow is charted: not counted." in left(b, 90).notes


# ---- a source that stands by


def test_a_spare_that_stands_by_is_kept_beside_and_not_counted() -> None:
    """A at 1 L/min for 20 min: 320 L. B is full: 680 L."""
    b = begun(cylinder="A")
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(20, ev.OxygenRead, **{**CYLINDER, "gauge": "137 bar", "cylinder": "B", "use": "standing by"})
    now = left(b, 30)
    assert (now.name, litres(b, 30), now.question) == ("cylinder A", "320", "")
    assert "Standing by: cylinder B, gauge 137 bar, 680 L, read 08:20. It is not counted." in now.notes
    b.tell(40, ev.OxygenRead, **{**CYLINDER, "gauge": "137 bar", "cylinder": "B", "use": "in use"})
    assert left(b, 41).name == "cylinder B" and not any("Standing by" in n for n in left(b, 41).notes)


def test_an_entry_that_does_not_say_takes_over_and_names_what_is_no_longer_counted() -> None:
    b = begun(cylinder="A")
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(20, ev.OxygenRead, **{**CYLINDER, "gauge": "137 bar", "cylinder": "B"})
    assert left(b, 21).name == "cylinder B"
    assert any(n.startswith("Cylinder A, read 08:10, is no longer counted") for n in left(b, 21).notes)
    b.tell(25, ev.OxygenRead, **{**CYLINDER, "gauge": "135 bar", "cylinder": "B"})
    assert any("no longer counted" in n for n in left(b, 26).notes)
    b.tell(30, ev.OxygenRead, **{**CYLINDER, "gauge": "130 bar", "cylinder": "B", "use": "in use"})
    assert not any("no longer counted" in n for n in left(b, 31).notes)


def test_a_pipeline_in_use_is_not_counted_down_by_its_standby() -> None:
    b = Book("c-pipe")
    b.tell(0, ev.CaseOpened, species="dog", name="Alder")
    b.tell(1, ev.Weighed, weight_kg=d("30"), method="scale")
    b.tell(10, ev.OxygenRead, source="pipeline")
    b.tell(11, ev.OxygenRead, **{**CYLINDER, "use": "standing by"})
    now = left(b, 60)
    assert (now.source, now.litres, now.minutes) == ("pipeline", None, None)
    assert any("Standing by: cylinder, gauge 68.5 bar, 340 L" in n for n in now.notes)
    asked = request_of(b.fold(), load_facts(), at(60)).stock
    assert asked.supply is not None and asked.supply.kind == "pipeline" and len(asked.cylinders) == 1


def test_only_a_standby_read_counts_nothing_down() -> None:
    b = Book("c-spare")
    b.tell(0, ev.CaseOpened, species="dog", name="Alder")
    b.tell(11, ev.OxygenRead, **{**CYLINDER, "use": "standing by"})
    now = left(b, 60)
    assert (now.counted, now.litres, now.gauge) == (False, None, "68.5 bar")


def decided(b: Book, minutes: float, **read: Any) -> None:
    event = ev.OxygenRead(id="x", case=b.case, happened_at=at(minutes), recorded_at=at(minutes), by="rowan", device="test",
                          **read)  # fmt: skip
    oxygen_read(b.fold(), event, load_facts(), at(minutes))


def test_what_is_in_use_does_not_stand_by_as_well() -> None:
    b = begun(cylinder="A")
    spare = {**CYLINDER, "use": "standing by"}
    with pytest.raises(Contradiction, match="the supply in use"):
        decided(b, 20, **spare, cylinder="A")
    with pytest.raises(Contradiction, match="drives nothing"):
        decided(b, 20, **spare, cylinder="B", drive_l_min=d("2"))
    decided(b, 20, **spare, cylinder="B")
    decided(b, 20, **spare)


# ---- a concentrator


def test_a_concentrator_is_held_against_the_mask_and_the_ventilator() -> None:
    b = begun()
    b.tell(12, ev.OxygenRead, source="concentrator", max_l_min=d("5"), percent=d("93"))
    b.tell(13, ev.PreoxygenationBegan, way="mask", flow_l_min=d("8"))
    assert any("8 L/min is wanted and the supply gives 5 L/min" in n for n in left(b, 14).notes)
    b.tell(15, ev.PreoxygenationEnded)
    assert not any("is wanted" in n for n in left(b, 16).notes)
    assert not any("bellows" in n for n in left(b, 16).notes)
    b.tell(17, ev.VentilationSet, mode="ventilator", rate=12, tidal_ml=d("360"))
    assert any("does not drive a bellows" in n for n in left(b, 18).notes)
    b.tell(19, ev.OxygenRead, source="concentrator", max_l_min=d("5"), percent=d("93"), drive_l_min=d("0"))
    assert not any("bellows" in n for n in left(b, 20).notes)


def test_weak_oxygen_is_asked_about_and_bare_figures_are_refused_at_the_door() -> None:
    b = begun()
    with pytest.raises(AskAgain, match="21 % is under 85 %"):
        decided(b, 20, source="concentrator", max_l_min=d("5"), percent=d("21"))
    decided(b, 20, source="concentrator", max_l_min=d("5"), percent=d("21"), confirmed=True)
    with pytest.raises(Missing, match="largest flow"):
        decided(b, 20, source="concentrator", percent=d("93"))
    with pytest.raises(Missing, match="oxygen"):
        decided(b, 20, source="concentrator", max_l_min=d("5"))


# ---- the gauge


@pytest.mark.parametrize(
    ("gauge", "full", "asked"),
    [
        ("85 psi", "137 bar", True),  # 5.9 bar
        ("85 kPa", "13.7 MPa", True),
        ("200 psi", "137 bar", False),  # 13.8 bar: a tenth
        ("6 bar", "137 bar", False),  # the label's own unit: only low
        ("85 bar", "1987 psi", False),
    ],
)
def test_a_gauge_all_but_empty_in_another_unit_is_asked_about(gauge: str, full: str, asked: bool) -> None:
    """14.504 psi to the bar (SI)."""
    read = {**CYLINDER, "gauge": gauge, "full_pressure": full}
    if not asked:
        decided(begun(), 20, **read)
        return
    with pytest.raises(AskAgain, match="and full is") as caught:
        decided(begun(), 20, **read)
    decided(begun(), 20, **read, confirmed=True, answered=(caught.value.says,))


@pytest.mark.parametrize("other", [{"cylinder": "B"}, {"contents_l": d("660")}, {"full_pressure": "1900 psi"}])
def test_a_gauge_that_does_not_fit_is_answered_by_another_cylinder(other: dict[str, Any]) -> None:
    """280 L by count at 40; a full one was put on and read with the label of the first, then as what it is."""
    b = begun()
    b.tell(10, ev.GasSet, oxygen_l_min=d("2"))
    b.tell(40, ev.OxygenRead, **{**CYLINDER, "gauge": "130 bar"})
    assert left(b, 41).question
    b.tell(40, ev.OxygenRead, late=1, **{**CYLINDER, "gauge": "130 bar", **other})
    assert left(b, 42).question == ""
    assert not [a for a in view(b, 42).advice if a.id == "oxygen gauge"]


def test_when_the_planned_minutes_are_over_nothing_is_called_enough() -> None:
    """A10: 1 L/min on 55 bar (273 L): 51 min in, (273 - 50 - 171.1) / 1 = 51 min are left, and 30 were planned."""
    b = begun(minutes=30, gauge="55 bar")
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(10, ev.TimeMarked, mark="procedure start")
    assert (left(b, 39).planned_left, left(b, 39).enough) == (1, True)
    assert (left(b, 40).planned_left, left(b, 40).enough) == (None, None)
    assert (left(b, 61).planned_left, left(b, 61).enough) == (None, None)
