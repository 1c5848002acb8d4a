"""The airway told in unkind orders: tubes changed, proof taken back, entries late, sizes that cannot be. Each was once got wrong."""

from __future__ import annotations

import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.case.measured import measured_of
from spiracle.case.tube import last_lay, lying, went_in
from spiracle.refusals import AskAgain, Contradiction, OutOfRange
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import CaseView

CARD = ("left chest", "right chest", "stylet out", "valve open")


def view(t: Telling) -> CaseView:
    return case_view(t.case, len(t.entries), t.facts, t.now)


def proven(kind: str = "cat", kg: str = "4", size: str = "4") -> Telling:
    """A tube in at 9:00:30 and proven at 9:01."""
    t = Telling(kind, kg)
    t.tell(ev.AttemptBegan, attempt="a1", tube_id_mm=d(size), operator="tec")
    t.at(0.5).tell(ev.AttemptEnded, attempt="a1", outcome="in")
    t.tell(ev.TubePlaced, id_mm=d(size), cuffed=True, attempt="a1")
    t.at(1).tell(ev.ProofNoted, sign="co2", breaths=6)
    for sign in CARD:
        t.tell(ev.ProofNoted, sign=sign)
    t.tell(ev.ProofNoted, sign="depth", depth_cm=d("12"))
    t.tell(ev.AirwayProven, method="CO2")
    assert view(t).induce.proven_at is not None
    return t


def test_proven_ends_with_the_tube_however_it_was_changed() -> None:
    """A1: screen and decision ask the same; a tube placed without an attempt, or of another size, begins anew."""
    t = proven()
    t.at(6).tell(ev.TubeWithdrawn, reason="tight")
    t.at(6.5).tell(ev.TubePlaced, id_mm=d("3.5"), cuffed=True)
    sheet = view(t).induce
    assert (sheet.proven_at, sheet.breaths, sheet.tube_in_place) == (None, 0, True) and sheet.lacking
    other = proven()
    other.at(6).tell(ev.TubePlaced, id_mm=d("3.5"), cuffed=True)
    assert view(other).induce.proven_at is None and went_in(other.case) == other.now


def test_the_handover_says_of_this_tube_whether_it_is_proven() -> None:
    """A1: a leak, the next size, and the handover that knew only that something once was proven."""
    t = proven()
    t.tell(ev.PersonJoined, person="two", part="relief")
    t.at(6).tell(ev.TubeWithdrawn, reason="leak", leak_cmh2o=d("6"))
    t.tell(ev.AttemptBegan, attempt="a2", tube_id_mm=d("4.5"), changed="size")
    t.at(6.4).tell(ev.AttemptEnded, attempt="a2", outcome="in")
    t.tell(ev.TubePlaced, id_mm=d("4.5"), cuffed=True, attempt="a2")
    from spiracle.sheets.handover import _airway
    from spiracle.sheets.told import told

    assert "NOT proven" in _airway(told(t.case, t.facts, t.now))
    assert ", proven" in _airway(told(proven().case, t.facts, t.now))


@pytest.mark.parametrize("how", ["struck", "not seen"])
def test_a_proof_whose_co2_was_taken_back_proves_nothing(how: str) -> None:
    """A1: what it rests on must still stand."""
    t = proven()
    co2 = next(p for p in t.case.live(ev.ProofNoted) if p.sign == "co2")
    t.at(2)
    if how == "struck":
        t.tell(ev.EntryStruck, target=co2.id, reason="another patient's")
    else:
        t.tell(ev.ProofNoted, sign="co2", seen=False)
    sheet = view(t.at(3))
    assert sheet.induce.proven_at is None and sheet.induce.lacking
    assert any(a.id in {"no co2", "airway not proven"} for a in sheet.advice)


def test_after_an_extubation_the_next_tube_can_go_in() -> None:
    """A17: nobody has to say why a tube came out that was taken out long ago."""
    t = proven()
    t.at(60).tell(ev.Extubated)
    sheet = view(t).induce
    assert not sheet.tube_in_place and sheet.extubated_at == t.now
    assert lying(t.case) is None and last_lay(t.case) is not None
    t.at(62).tell(ev.AttemptBegan, attempt="a2", tube_id_mm=d("4"), operator="tec")
    t.at(62.4).tell(ev.AttemptEnded, attempt="a2", outcome="in")
    assert view(t).induce.tube_in_place and view(t).induce.proven_at is None


def test_sizes_are_there_without_a_weight_and_without_a_plan() -> None:
    """A3: an unweighed cat in arrest gets a tube too; every size of its reach and none beyond."""
    t = Telling("cat", weighed=False)
    t.tell(ev.ArrestBegan)
    sizes = view(t).induce.sizes
    assert view(t).induce.tubes == () and [s.id_mm for s in sizes] == sorted(s.id_mm for s in sizes)
    assert min(s.id_mm for s in sizes) <= 2.5 and max(s.id_mm for s in sizes) <= 5
    t.tell(ev.AttemptBegan, attempt="a1", tube_id_mm=d("3.5"))


@pytest.mark.parametrize(
    ("kind", "kg", "size", "od"),
    [("cat", "1", "5", None), ("dog", "2", "16", "20"), ("cat", "3", "4.5", "11")],
)
def test_a_tube_far_too_large_is_asked_about_at_every_door(kind: str, kg: str, size: str, od: str | None) -> None:
    """A13: as it is taken up and as it is placed, by its outside where that was read."""
    t = Telling(kind, kg)
    if od is None:
        t.refused(AskAgain, "tube", ev.AttemptBegan, attempt="a1", tube_id_mm=d(size))
    placed = {"id_mm": d(size), "cuffed": True, **({} if od is None else {"od_mm": d(od)})}
    question = t.refused(AskAgain, "tube", ev.TubePlaced, **placed)
    t.tell(ev.TubePlaced, **placed, confirmed=True, answered=(question.says,))


def test_a_tube_wider_than_the_measured_trachea_is_refused() -> None:
    t = Telling("cat", "4")
    t.tell(ev.AirwayMeasured, tracheal_diameter_mm=d("5"))
    t.refused(OutOfRange, "tube", ev.TubePlaced, id_mm=d("4.5"), od_mm=d("6.2"), cuffed=True)


def test_the_size_after_a_leak_is_not_asked_about() -> None:
    t = proven(kg="3", size="3.5")
    t.at(6).tell(ev.TubeWithdrawn, reason="leak")
    t.tell(ev.AttemptBegan, attempt="a2", tube_id_mm=d("4"), changed="size")
    t.at(6.4).tell(ev.AttemptEnded, attempt="a2", outcome="out")
    t.at(7).refused(AskAgain, "tube", ev.AttemptBegan, attempt="a3", tube_id_mm=d("5"), changed="size")


def test_a_depth_no_animal_of_this_weight_has_is_refused_with_the_tube_too() -> None:
    """A2: by the tube's own entry as by the sign's."""
    t = Telling("cat", "3")
    t.tell(ev.AirwayMeasured, incisors_to_inlet_cm=d("9"))
    t.refused(OutOfRange, "depth", ev.TubePlaced, id_mm=d("3.5"), cuffed=True, depth_cm=d("60"))
    t.refused(AskAgain, "depth", ev.TubePlaced, id_mm=d("3.5"), cuffed=True, depth_cm=d("12"))


def test_a_leak_noted_is_no_second_look_at_the_cuff() -> None:
    """A7: the pressure falls due ten minutes after it was measured, whatever else was noted meanwhile."""
    t = proven().at(2)
    t.tell(ev.CuffChecked, pressure_cmh2o=d("20"))
    due = view(t).induce.cuff_recheck
    t.at(2.2).tell(ev.CuffChecked, leak_cmh2o=d("16"))
    t.at(2.3).tell(ev.CuffChecked, volume_ml=d("1"))
    assert due is not None and view(t).induce.cuff_recheck == due
    t.at(12).tell(ev.CuffChecked, pressure_cmh2o=d("20"))
    assert view(t).induce.cuff_recheck is None
    t.at(20).tell(ev.Positioned, position="left side", disconnected_first=True)
    t.at(21).tell(ev.CuffChecked, leak_cmh2o=d("16"))
    assert view(t).induce.cuff_recheck is not None, "turned, and the cuff not measured since"


def test_a_try_written_late_is_judged_as_of_its_own_time() -> None:
    t = proven().at(5)
    t.refused(Contradiction, "attempt", ev.AttemptBegan, attempt="late", tube_id_mm=d("3.5"))
    before = t.now.replace(hour=8, minute=58)
    t.tell(ev.AttemptBegan, attempt="late", tube_id_mm=d("3.5"), happened_at=before, recorded_at=t.now)
    t.tell(ev.AttemptEnded, attempt="late", outcome="out", happened_at=before, recorded_at=t.now)
    assert view(t).induce.proven_at is not None, "a failed try before it takes nothing from the tube that lies"
    t.refused(Contradiction, "tube", ev.TubeWithdrawn, reason="tight", happened_at=before, recorded_at=t.now)


def test_a_leak_belongs_to_the_tube_it_was_read_with() -> None:
    t = proven().at(2)
    t.tell(ev.CuffChecked, leak_cmh2o=d("6"))
    t.at(3).tell(ev.TubeWithdrawn, reason="tight")
    t.tell(ev.AttemptBegan, attempt="a2", tube_id_mm=d("3"), changed="size")
    t.at(3.5).tell(ev.AttemptEnded, attempt="a2", outcome="in")
    t.at(4).tell(ev.TubeWithdrawn, reason="leak")
    assert [a.came_out for a in view(t).induce.attempts] == ["tight", "leak"]


def test_a_size_of_another_entry_carries_no_outcome() -> None:
    t = Telling("dog", "20")
    t.tell(ev.PreviousAnaesthesiaNoted, tube_id_mm=d("9"), tube_outcome="leaked", full_grown=True)
    assert measured_of(t.case).previous_outcome == "leaked"
    t.at(1).tell(ev.AirwayMeasured, tube_id_mm=d("7"))
    assert measured_of(t.case).previous_outcome is None and measured_of(t.case).previous_full_grown is None


def test_no_cuff_without_a_tube_and_no_leak_test_beyond_the_lung() -> None:
    """A6: 20 cmH2O in cats and 30 in dogs with a closed chest (common teaching, from memory)."""
    t = Telling("cat", "4")
    t.refused(Contradiction, "cuff", ev.CuffChecked, pressure_cmh2o=d("20"))
    t = proven()
    t.at(2).refused(AskAgain, "leak pressure", ev.CuffChecked, leak_cmh2o=d("21"))
    t.tell(ev.CuffChecked, leak_cmh2o=d("20"))


def test_a_circle_for_a_small_cat_is_asked_about_and_a_large_bag_of_gas_is_not() -> None:
    """A13: under 3 kg every source takes a non-rebreathing system."""
    t = Telling("cat", "2.6")
    fields = {"machine": "M1", "confirmed": True, "reason": "seen"}
    book = t.refused(AskAgain, "breathing system", ev.MachineAssigned, machine="M1", circuit="circle")
    assert "2.6 kg" in book.says
    t.tell(ev.MachineAssigned, circuit="T-piece", **fields)


def test_too_little_gas_on_a_t_piece_is_asked_about_while_a_tube_lies() -> None:
    """A12: 400 mL/kg/min is the least shown for cats on a T-piece (455 was needed when measured, excerpt)."""
    t = proven("cat", "4")
    t.at(2).tell(ev.MachineAssigned, machine="M1", circuit="T-piece", confirmed=True, reason="seen")
    question = t.refused(AskAgain, "fresh gas", ev.GasSet, oxygen_l_min=d("0.4"))
    assert "100 mL/kg/min" in question.says and "400" in question.says
    t.tell(ev.GasSet, oxygen_l_min=d("0.4"), confirmed=True, answered=(question.says,))
    t.tell(ev.GasSet, oxygen_l_min=d("1.8"))


def test_a_depth_no_animal_has_is_refused_as_it_is_entered() -> None:
    t = Telling("cat", "2.6")
    t.refused(OutOfRange, "incisors to thoracic inlet", ev.AirwayMeasured, incisors_to_inlet_cm=d("40"))
    t.refused(OutOfRange, "tracheal diameter", ev.AirwayMeasured, tracheal_diameter_mm=d("20"))
    t.tell(ev.AirwayMeasured, incisors_to_inlet_cm=d("11.5"))


def test_the_record_says_of_a_leak_nothing_of_a_pressure_nobody_read() -> None:
    t = proven().at(2)
    t.tell(ev.CuffChecked, pressure_mmhg=d("15"))
    t.at(3).tell(ev.CuffChecked, leak_cmh2o=d("17"))
    said = [line.text for line in view(t).record.log if line.kind == "CuffChecked"]
    assert said == ["Cuff 15 mmHg", "Cuff, leaks at 17 cmH₂O"]
    due = next(x for x in view(t).due if x.id == "cuff")
    assert "last 20.4 cmH₂O" in due.detail


def test_an_animal_with_a_tube_is_asleep_whoever_forgot_to_write_how() -> None:
    """C1: its limits are watched and it counts among those asleep from the tube on."""
    t = Telling("cat", "4")
    assert view(t).collar.induced_at is None
    t.tell(ev.AttemptBegan, attempt="a1", tube_id_mm=d("4"), operator="tec")
    t.at(0.5).tell(ev.AttemptEnded, attempt="a1", outcome="in")
    assert view(t).collar.induced_at == t.now
    t.at(10).tell(ev.ReadingTaken, reading="spo2", value=d("85"), unit="%", confirmed=True)
    assert "limit spo2" in [a.id for a in view(t).advice]
