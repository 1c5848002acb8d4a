"""Airway, lists, readings, recovery and the record: order where order matters, and nothing closed too early."""

from __future__ import annotations

from datetime import timedelta

import pytest

from small_house import Telling, d
from spiracle.breathing import lists
from spiracle.case import events as ev
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed, NotAQuantity, NotOneOf, OutOfRange, Unknown
from spiracle.sheets.case_view import case_view
from spiracle.sheets.chart import chart_pressures
from spiracle.sheets.told import told

# ---- airway


def intubated(kg: str = "10") -> Telling:
    t = Telling(kg=kg)
    t.tell(ev.AttemptBegan, attempt="a1", tube_id_mm=d("7"))
    t.at(0.4).tell(ev.AttemptEnded, attempt="a1", outcome="in")
    t.at(1).tell(ev.TubePlaced, id_mm=d("7"), od_mm=d("9.3"), cuffed=True, depth_cm=d("20"), cut_length_cm=d("22"))
    return t


def card(t: Telling, *left_out: str) -> None:
    for sign in ("left chest", "right chest", "stylet out", "valve open", "depth"):
        if sign not in left_out:
            t.tell(ev.ProofNoted, sign=sign)


def test_attempts_come_in_pairs() -> None:
    t = Telling()
    t.refused(Unknown, "attempt", ev.AttemptEnded, attempt="a1", outcome="in")
    t.tell(ev.AttemptBegan, attempt="a1", tube_id_mm=d("7"))
    t.refused(Contradiction, "attempt", ev.AttemptBegan, attempt="a1", tube_id_mm=d("7"))
    t.tell(ev.AttemptEnded, attempt="a1", outcome="out")
    t.refused(Contradiction, "attempt", ev.AttemptEnded, attempt="a1", outcome="in")
    t.refused(OutOfRange, "tube, inside diameter", ev.AttemptBegan, attempt="a2", tube_id_mm=d("70"))


def test_six_breaths_of_co2_and_the_whole_card_prove_the_tube() -> None:
    """A1: and nothing less."""
    t = intubated()
    t.tell(ev.ProofNoted, sign="co2", breaths=5)
    card(t)
    assert "1 more of 6" in t.refused(Missing, "airway", ev.AirwayProven, method="CO2").says
    t.at(2).tell(ev.ProofNoted, sign="co2", breaths=6)
    t.tell(ev.AirwayProven, method="CO2")


def test_two_other_signs_need_a_second_person() -> None:
    """A1: where there is no CO2."""
    t = intubated()
    card(t)
    t.tell(ev.ProofNoted, sign="direct view")
    t.refused(Missing, "airway", ev.AirwayProven, method="seen")
    t.refused(Contradiction, "second person", ev.AirwayProven, method="seen", second_person="tec")
    t.tell(ev.AirwayProven, method="seen", second_person="two")


def test_a_sign_taken_back_is_no_sign() -> None:
    t = intubated()
    t.tell(ev.ProofNoted, sign="co2", breaths=8)
    card(t)
    t.at(2).tell(ev.ProofNoted, sign="left chest", seen=False)
    t.refused(Missing, "airway", ev.AirwayProven, method="CO2")


def test_another_tube_is_proven_anew() -> None:
    t = intubated()
    t.tell(ev.ProofNoted, sign="co2", breaths=8)
    card(t)
    t.at(20).tell(ev.TubePlaced, id_mm=d("6.5"), cuffed=True)
    t.refused(Missing, "airway", ev.AirwayProven, method="CO2")


@pytest.mark.parametrize("left_out", ["left chest", "right chest", "stylet out", "valve open"])
def test_every_line_of_the_card_is_needed(left_out: str) -> None:
    """A1, A2, A4: both sides, the stylet in the hand, the valve."""
    t = intubated()
    t.tell(ev.ProofNoted, sign="co2", breaths=8)
    card(t, left_out)
    assert left_out in t.refused(Missing, "airway", ev.AirwayProven, method="CO2").says


@pytest.mark.parametrize(("kg", "needed"), [("4.9", True), ("5", False)])
def test_depth_is_compulsory_under_five_kilograms(kg: str, needed: bool) -> None:
    t = intubated(kg)
    t.tell(ev.ProofNoted, sign="co2", breaths=8)
    card(t, "depth")
    if needed:
        assert "depth" in t.refused(Missing, "airway", ev.AirwayProven, method="CO2").says
    else:
        t.tell(ev.AirwayProven, method="CO2")


def test_signs_of_an_earlier_try_prove_nothing() -> None:
    t = intubated()
    t.tell(ev.ProofNoted, sign="co2", breaths=8)
    card(t)
    t.at(3).tell(ev.TubeWithdrawn, reason="tight")
    t.tell(ev.AttemptBegan, attempt="a2", tube_id_mm=d("6.5"))
    t.at(4).tell(ev.AttemptEnded, attempt="a2", outcome="oesophagus")
    t.refused(Contradiction, "airway", ev.AirwayProven, method="CO2")
    t.at(5).tell(ev.AttemptBegan, attempt="a3", tube_id_mm=d("6.5"), changed="position")
    t.at(6).tell(ev.AttemptEnded, attempt="a3", outcome="in")
    t.refused(Missing, "airway", ev.AirwayProven, method="CO2")


def test_a_tube_is_thicker_outside_and_not_deeper_than_long() -> None:
    t = Telling()
    t.refused(Contradiction, "outside diameter", ev.TubePlaced, id_mm=d("7"), od_mm=d("7"), cuffed=True)
    t.refused(Contradiction, "depth", ev.TubePlaced, id_mm=d("7"), cuffed=True, depth_cm=d("23"), cut_length_cm=d("22"))


def test_a_cuff_is_measured_where_there_is_one() -> None:
    """A6: no bare word."""
    t = intubated()
    t.refused(Missing, "cuff", ev.CuffChecked)
    t.refused(OutOfRange, "cuff pressure", ev.CuffChecked, pressure_cmh2o=d("200"))
    t.tell(ev.CuffChecked, pressure_cmh2o=d("24"))
    t.at(2).tell(ev.TubePlaced, id_mm=d("3"), cuffed=False)
    t.refused(Contradiction, "cuff", ev.CuffChecked, pressure_cmh2o=d("24"))


# ---- lists


def test_a_list_is_read_line_by_line_and_the_valve_last() -> None:
    """A9, A19, D29: nothing is passed over in silence."""
    t = Telling()
    lines = [row.id for row in lists(t.facts.breathing, "machine")]
    t.refused(Unknown, "line", ev.CheckLineDone, list="machine", line="patient.valve-open")
    t.refused(Contradiction, "line", ev.CheckLineDone, list="machine", line=lines[1])
    t.refused(Contradiction, "line", ev.CheckLineDone, list="machine", line=lines[-1])
    t.refused(Missing, "detail", ev.CheckLineDone, list="machine", line=lines[0], outcome="skipped")
    t.tell(
        ev.CheckLineDone, list="machine", line=lines[0], outcome="skipped", detail="checked at seven by the night shift"
    )
    for line in lines[1:-1]:
        t.tell(ev.CheckLineDone, list="machine", line=line, spoken_by="two")
    t.refused(NotAllowed, "line", ev.CheckLineDone, list="machine", line=lines[-1], outcome="skipped", detail="no time")
    t.tell(ev.CheckLineDone, list="machine", line=lines[-1])
    t.tell(ev.CheckLineDone, list="machine", line=lines[2], outcome="fault", detail="found empty after all")


def test_machine_and_oxygen_are_named_and_read() -> None:
    t = Telling()
    t.refused(Unknown, "machine", ev.MachineAssigned, machine="M7")
    t.refused(Unknown, "breathing system", ev.MachineAssigned, machine="M1", circuit="circle, small bore")
    t.refused(AskAgain, "machine", ev.MachineAssigned, machine="M1", circuit="T-piece", bag_ml=d("500"))
    t.tell(ev.MachineAssigned, machine="M1", circuit="T-piece", bag_ml=d("500"), confirmed=True, reason="only one free")
    t.refused(Missing, "oxygen, gauge", ev.OxygenRead, source="cylinder", contents_l=d("680"), full_pressure="137 bar")
    t.refused(Contradiction, "oxygen, gauge", ev.OxygenRead, source="cylinder", contents_l=d("680"), full_pressure="137 bar",
              gauge="1900 bar")  # fmt: skip
    t.refused(NotAQuantity, "oxygen, gauge", ev.OxygenRead, source="cylinder", contents_l=d("680"), full_pressure="137 bar",
              gauge="24 mmHg")  # fmt: skip
    t.refused(
        Missing, "oxygen, printed full pressure", ev.OxygenRead, source="cylinder", contents_l=d("680"), gauge="90 bar"
    )
    t.tell(ev.OxygenRead, source="pipeline")
    t.tell(ev.OxygenRead, source="cylinder", contents_l=d("680"), full_pressure="137 bar", gauge="1100 psi")


# ---- watching


def reading(name: str, value: str, unit: str, **more: object) -> dict[str, object]:
    return {"reading": name, "value": d(value), "unit": unit, **more}


def test_a_number_that_cannot_be_is_refused_and_a_jump_is_asked_about() -> None:
    t = Telling()
    t.refused(Missing, "unit", ev.ReadingTaken, **reading("heart_rate", "90", ""))
    t.tell(ev.ReadingTaken, **reading("heart_rate", "90", "/min"))
    with pytest.raises(OutOfRange):
        t.tell(ev.ReadingTaken, **reading("spo2", "101", "%"), confirmed=True)
    t.at(5)
    with pytest.raises(AskAgain):
        t.tell(ev.ReadingTaken, **reading("heart_rate", "180", "/min"))
    t.tell(ev.ReadingTaken, **reading("heart_rate", "180", "/min", confirmed=True))


def test_a_jump_is_measured_from_the_last_value_that_stands() -> None:
    t = Telling()
    t.tell(ev.ReadingTaken, **reading("heart_rate", "90", "/min"))
    odd = t.at(5).tell(ev.ReadingTaken, **reading("heart_rate", "200", "/min", confirmed=True))
    t.tell(ev.ArtefactMarked, target=odd, reason="cautery")
    t.at(10).tell(ev.ReadingTaken, **reading("heart_rate", "92", "/min"))


def test_a_device_is_not_asked_to_confirm_and_its_invalid_value_is_kept() -> None:
    t = Telling()
    t.tell(ev.ReadingTaken, **reading("heart_rate", "90", "/min", source="device"))
    t.tell(ev.ReadingTaken, **reading("heart_rate", "210", "/min", source="device"))
    t.tell(ev.ReadingTaken, **reading("spo2", "61", "%", source="device", quality="invalid"))


INVALID: dict[str, object] = {"source": "device", "monitor": "m1", "raw": "-?-", "quality": "invalid"}


def on_monitor() -> Telling:
    t = Telling()
    t.tell(ev.MonitorPaired, monitor="m1", seen="pulse felt with it")
    return t.at(1)


def sent(raw: str, kind: str, value: str, unit: str, **more: object) -> dict[str, object]:
    return reading(kind, value, unit, **{"source": "device", "monitor": "m1", "raw": raw, "quality": "good", **more})


def test_what_cannot_be_is_refused_whatever_its_quality() -> None:
    """C2, D17: "invalid" is no way past the bounds and the unit. What is kept as invalid stands for nothing."""
    t = on_monitor()
    for kind, value, unit in (("spo2", "9999999", "%"), ("spo2", "127", "%"), ("heart_rate", "-1", "/min")):
        with pytest.raises(OutOfRange):
            t.tell(ev.ReadingTaken, **reading(kind, value, unit, **INVALID))
    with pytest.raises(Unknown):
        t.tell(ev.ReadingTaken, **reading("spo2", "97", "mmHg", **INVALID))
    with pytest.raises(OutOfRange):
        t.tell(ev.PressureTaken, method="oscillometric", sap=d("-50"), map=d("900"), **INVALID)
    t.tell(ev.PressureTaken, method="oscillometric", sap=d("60"), map=d("90"), **INVALID)
    t.tell(ev.ReadingTaken, **reading("spo2", "61", "%", **INVALID))
    now = told(t.case, t.facts, t.now)
    assert [p.artefact for p in chart_pressures(now)] == [True]
    assert [(s.good, s.current) for s in now.seen["spo2"]] == [(False, False)]


def test_a_value_of_a_device_is_of_a_monitor_that_was_on_this_patient() -> None:
    """D7: by the log, at the moment it was measured. Before the first pairing of a case there is no monitor on the wire."""
    t = on_monitor()
    t.refused(Missing, "monitor", ev.ReadingTaken, **sent("97 %", "spo2", "97", "%", monitor=" "))
    t.refused(Missing, "raw", ev.ReadingTaken, **sent("", "spo2", "97", "%"))
    t.refused(Contradiction, "monitor", ev.ReadingTaken, **sent("97 %", "spo2", "97", "%", monitor="m2"))
    t.refused(
        Contradiction,
        "monitor",
        ev.PressureTaken,
        method="oscillometric",
        sap=d("90"),
        source="device",
        monitor="m2",
        raw="90 mmHg",
    )
    before = t.now - timedelta(minutes=2)
    t.refused(Contradiction, "monitor", ev.ReadingTaken, **sent("97 %", "spo2", "97", "%", happened_at=before))
    t.tell(ev.ReadingTaken, **sent("97 %", "spo2", "97", "%"))
    measured = t.at(4).now
    t.at(5).tell(ev.MonitorUnpaired, monitor="m1", reason="moved")
    t.at(6).refused(Contradiction, "monitor", ev.ReadingTaken, **sent("97 %", "spo2", "97", "%"))
    t.tell(ev.ReadingTaken, **sent("96 %", "spo2", "96", "%", happened_at=measured))
    t.tell(ev.ReadingTaken, **reading("spo2", "95", "%"))


def test_a_struck_pairing_lends_no_values() -> None:
    """D7: paired with the wrong animal."""
    t = Telling()
    wrong = t.tell(ev.MonitorPaired, monitor="m1", seen="pulse felt with it")
    t.at(1).tell(ev.EntryStruck, target=wrong, reason="wrong animal")
    t.at(2).refused(Contradiction, "monitor", ev.ReadingTaken, **sent("97 %", "spo2", "97", "%"))


@pytest.mark.parametrize(
    ("raw", "kind", "value", "unit", "right"),
    [
        ("5.2 kPa", "etco2", "39", "mmHg", True),  # 5.2 x 7.50062 = 39.003 (NIST SP 811)
        ("5.2 kPa", "etco2", "39.0", "mmHg", True),
        ("5.2 kPa", "etco2", "5.2", "mmHg", False),
        ("5.2 kPa", "etco2", "38", "mmHg", False),
        ("5.2kPa", "etco2", "5.2", "mmHg", False),
        ("39 mm[Hg]", "etco2", "39", "mmHg", True),
        ("12 %", "spo2", "97", "%", False),
        ("97 %", "spo2", "97.4", "%", False),
        ("97.4 %", "spo2", "97", "%", True),
        ("97 mmHg", "spo2", "97", "%", False),
        ("80 {beat}/min", "heart_rate", "80", "/min", True),
        ("80 {beat}/min", "heart_rate", "160", "/min", False),
        ("37.2 Cel", "temperature", "37.2", "°C", True),
        ("37.2 °C", "temperature", "32.7", "Cel", False),
        ("97", "spo2", "98", "%", True),  # without a unit nothing can be told
        ("3.1 ohm", "spo2", "98", "%", True),
    ],
)
def test_a_value_of_a_device_is_what_it_sent(raw: str, kind: str, value: str, unit: str, right: bool) -> None:
    """D17, U17: the number and the unit on the wire, to the rounding of what is charted."""
    t = on_monitor()
    if right:
        t.tell(ev.ReadingTaken, **sent(raw, kind, value, unit))
    else:
        t.refused(Contradiction, "raw", ev.ReadingTaken, **sent(raw, kind, value, unit))


def test_each_pressure_of_a_device_is_one_it_sent() -> None:
    """D17: three numbers with "; " between, as the panel hands them on."""
    t = on_monitor()
    fields = {"method": "oscillometric", "sap": d("92"), "map": d("61"), "source": "device", "monitor": "m1"}
    t.tell(ev.PressureTaken, **fields, dap=d("45"), raw="92 mmHg; 61 mmHg; 45 mmHg")
    t.tell(ev.PressureTaken, **fields, raw="12.3 kPa; 8.1 kPa; ")
    t.refused(Contradiction, "raw", ev.PressureTaken, **fields, dap=d("54"), raw="92 mmHg; 61 mmHg; 45 mmHg")


def test_a_pressure_keeps_its_order() -> None:
    t = Telling()
    t.refused(Missing, "pressure", ev.PressureTaken, method="oscillometric")
    with pytest.raises(Contradiction):
        t.tell(ev.PressureTaken, method="oscillometric", sap=d("80"), map=d("90"), dap=d("50"))
    t.refused(Contradiction, "method", ev.PressureTaken, method="Doppler", sap=d("90"), dap=d("50"))
    t.tell(ev.PressureTaken, method="oscillometric", sap=d("110"), map=d("80"), dap=d("60"))
    t.tell(ev.PressureTaken, method="Doppler", sap=d("60"))


def test_dials_and_settings_stay_on_their_instrument() -> None:
    t = Telling()
    t.refused(NotOneOf, "agent", ev.VaporiserSet, agent="ether", percent=d("2"))
    t.refused(OutOfRange, "vaporiser", ev.VaporiserSet, agent="isoflurane", percent=d("7"))
    t.tell(ev.VaporiserSet, agent="isoflurane", percent=d("0"))
    t.refused(OutOfRange, "oxygen flow", ev.GasSet, oxygen_l_min=d("150"))
    t.refused(Missing, "rate", ev.VentilationSet, mode="ventilator")
    t.refused(
        Contradiction, "PEEP", ev.VentilationSet, mode="ventilator", rate=12, peak_cmh2o=d("10"), peep_cmh2o=d("12")
    )


def test_trouble_has_a_beginning() -> None:
    t = Telling()
    t.refused(Unknown, "trouble", ev.TroubleTreated, trouble="t1", action="vaporiser down")
    t.tell(ev.TroubleBegan, trouble="t1", kind="hypotension")
    t.tell(ev.TroubleTreated, trouble="t1", action="vaporiser down")
    t.tell(ev.TroubleEnded, trouble="t1")
    t.refused(Contradiction, "trouble", ev.TroubleEnded, trouble="t1")


# ---- out of it, and the record


def test_packs_that_went_in_must_be_out_before_the_tube() -> None:
    """A18: counted."""
    t = intubated()
    t.tell(ev.TimeMarked, mark="packs in", detail="2")
    t.tell(ev.TimeMarked, mark="packs out")
    t.refused(NotAllowed, "packs", ev.Extubated, signs=("swallows",))
    t.tell(ev.TimeMarked, mark="packs out")
    t.refused(Missing, "reason", ev.Extubated, signs=("swallows",), open_lines=("warm",))
    t.tell(ev.Extubated, signs=("swallows",), open_lines=("warm",), reason="biting the tube")


def test_an_entry_is_struck_once_with_a_reason_and_stays() -> None:
    """D11: nothing is removed."""
    t = Telling()
    note = t.tell(ev.NoteWritten, text="calm")
    t.refused(Unknown, "target", ev.EntryStruck, target="nothing", reason="wrong")
    t.refused(Missing, "reason", ev.EntryStruck, target=note, reason=" ")
    strike = t.tell(ev.EntryStruck, target=note, reason="wrong animal")
    t.refused(Contradiction, "target", ev.EntryStruck, target=note, reason="again")
    assert t.case.line(note).struck is not None  # type: ignore[union-attr]
    back = t.tell(ev.EntryStruck, target=strike, reason="it was this one")
    assert t.case.line(note).struck is None  # type: ignore[union-attr]
    t.refused(NotAllowed, "target", ev.EntryStruck, target=back, reason="no")
    t.refused(NotAllowed, "target", ev.EntryStruck, target=t.entries[0].event.id, reason="wrong species")


def test_only_a_reading_is_an_artefact_and_only_once() -> None:
    t = Telling()
    note = t.tell(ev.NoteWritten, text="calm")
    t.refused(NotAllowed, "target", ev.ArtefactMarked, target=note)
    odd = t.tell(ev.ReadingTaken, **reading("heart_rate", "90", "/min"))
    t.tell(ev.ArtefactMarked, target=odd)
    t.refused(Contradiction, "target", ev.ArtefactMarked, target=odd)


def test_the_technician_signs_first_and_the_veterinarian_closes() -> None:
    t = Telling()
    note = t.tell(ev.NoteWritten, text="calm")
    t.refused(NotAllowed, "record", ev.RecordAmended, text="x", reason="y")
    t.refused(NotAllowed, "role", ev.RecordSigned, role="veterinarian", by="vet")
    t.refused(NotAllowed, "hand", ev.RecordSigned, role="technician", by="stu")
    t.tell(ev.RecordSigned, role="technician")
    t.refused(NotAllowed, "hand", ev.RecordSigned, role="veterinarian", by="tec")
    t.tell(ev.NoteWritten, text="one thing more")
    t.refused(NotAllowed, "role", ev.RecordSigned, role="veterinarian", by="vet")
    t.tell(ev.RecordSigned, role="technician")
    mine = t.tell(ev.RecordSigned, role="veterinarian", by="vet")
    t.refused(NotAllowed, "record", ev.NoteWritten, text="too late")
    t.refused(NotAllowed, "record", ev.Weighed, weight_kg=d("10"), method="scale")
    t.tell(ev.RecordAmended, text="calm until eleven", reason="left out", target=note)
    t.tell(ev.EntryStruck, target=note, reason="wrong animal")
    t.refused(NotAllowed, "target", ev.EntryStruck, target=mine, reason="not so")
    t.at(60 * 40).tell(ev.OutcomeNoted, outcome="well")
    t.tell(ev.ArrestBegan)


def test_a_gap_is_explained_for_an_element_there_is() -> None:
    t = Telling()
    t.refused(Unknown, "element", ev.GapExplained, element="Z9", reason="x")
    t.refused(Missing, "reason", ev.GapExplained, element="F9", reason="")
    t.tell(ev.GapExplained, element="F9", reason="probe broken")


def test_care_is_handed_to_somebody_else() -> None:
    """D19: never to the same hand."""
    t = Telling()
    t.refused(Contradiction, "to", ev.HandedOver, to="tec", read_back=True)
    t.tell(ev.HandedOver, to="two", read_back=True)


def test_no_attempt_with_a_tube_no_animal_of_its_species_takes() -> None:
    """A1: held before there is a weight too; the hard limits are rows of the airway's table."""
    for kind, bore in (("cat", "12"), ("dog", "17")):
        t = Telling(kind, weighed=False)
        said = t.refused(OutOfRange, "tube", ev.AttemptBegan, attempt="a1", tube_id_mm=d(bore)).says
        assert f"beyond any {kind}'s tube" in said
        t.refused(OutOfRange, "tube", ev.TubePlaced, id_mm=d(bore), cuffed=True)


def test_eyes_and_a_move_are_no_turn() -> None:
    """A8: eyes lubricated alone is written and owes no new look at the cuff; a move to another room does."""
    t = intubated()
    t.at(2).tell(ev.CuffChecked, pressure_cmh2o=d("22"))
    t.at(13).tell(ev.CuffChecked, pressure_cmh2o=d("22"))

    def owed() -> list[str]:
        return [x.id for x in case_view(t.case, len(t.entries), t.facts, t.now).due if x.id == "cuff"]

    t.refused(Missing, "position", ev.Positioned, position="")
    t.at(14).tell(ev.Positioned, position="", eyes_lubricated=True)
    assert owed() == []
    t.at(15).tell(ev.Positioned, position="", to_room="Recovery", disconnected_first=True)
    assert owed() == ["cuff"]
