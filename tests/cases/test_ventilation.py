"""What is set on a ventilator against the animal, and the card beside it.

Limits are rows of the breathing tables: breath 10 to 15 mL/kg of lean weight, over 20 forbidden; peak (from memory) 15 and 20 in a
cat, 20 and 30 in a dog; rate 12 to 24 in a cat, 8 to 16 in a dog. Sums stand beside their check.
"""

from __future__ import annotations

from typing import Any

import pytest

from casebook import Book, at
from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.refusals import AskAgain, Contradiction, Missing, OutOfRange
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import VentilatorCard

SET: dict[str, Any] = {"mode": "ventilator", "held_by": "volume", "rate": 14}


def cat(kg: str = "4", score: int | None = 5) -> Telling:
    t = Telling(species="cat", kg=kg)
    if score is not None:
        t.tell(ev.BodyConditionScored, score=score)
    return t


def test_usual_settings_are_written_unasked() -> None:
    """12.5 mL/kg, 14 a minute, peak 10."""
    cat().tell(ev.VentilationSet, **SET, tidal_ml=d("50"), peak_cmh2o=d("10"), peep_cmh2o=d("2"), inspiration_s=d("1"))


def test_a_breath_over_the_usual_is_asked_about_and_can_be_confirmed() -> None:
    """A16: 68 mL in 4 kg is 17 mL/kg."""
    t = cat()
    asked = t.refused(AskAgain, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("68"))
    assert "17 mL/kg" in asked.says and "condition 5 of 9" in asked.says
    t.tell(ev.VentilationSet, **SET, tidal_ml=d("68"), confirmed=True, answered=(asked.says,))


def test_a_breath_over_the_hard_stop_needs_a_reason_not_a_yes() -> None:
    """A16: 100 mL in 4 kg is 25 mL/kg."""
    t = cat()
    said = t.refused(Missing, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("100"), confirmed=True)
    assert "25 mL/kg" in said.says and "over the hard stop" in said.says
    t.tell(ev.VentilationSet, **SET, tidal_ml=d("100"), reason="recruitment, one breath, by order of the veterinarian")


@pytest.mark.parametrize(
    ("species", "peak", "fault"),
    [
        ("cat", "17", AskAgain),
        ("cat", "22", Missing),
        ("dog", "17", None),
        ("dog", "25", AskAgain),
        ("dog", "32", Missing),
    ],
)
def test_peak_pressure_is_held_against_the_species(
    species: str, peak: str, fault: type[AskAgain | Missing] | None
) -> None:
    """A16: what a dog bears is over a cat's hard stop."""
    t = Telling(species=species, kg="4")
    t.tell(ev.BodyConditionScored, score=5)
    if fault is None:
        t.tell(ev.VentilationSet, **SET, peak_cmh2o=d(peak))
    else:
        t.refused(fault, "peak pressure", ev.VentilationSet, **SET, peak_cmh2o=d(peak))


def test_a_yes_to_one_setting_is_no_yes_to_the_next() -> None:
    """A16, U4: two questions, each by its own sentence."""
    t = cat()
    both: dict[str, Any] = {**SET, "tidal_ml": d("68"), "peak_cmh2o": d("17")}
    first = t.refused(AskAgain, "tidal volume", ev.VentilationSet, **both)
    second = t.refused(AskAgain, "peak pressure", ev.VentilationSet, **both, confirmed=True, answered=(first.says,))
    t.tell(ev.VentilationSet, **both, confirmed=True, answered=(first.says, second.says))


def test_fat_is_not_ventilated() -> None:
    """A16: 5 kg at condition 8 of 9 is 3.5 kg lean: 60 mL is 12 mL/kg of the scale's weight and 17.1 of the lean."""
    asked = cat("5", 8).refused(AskAgain, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("60"))
    assert "17.1 mL/kg" in asked.says
    cat("5", 5).tell(ev.VentilationSet, **SET, tidal_ml=d("60"))


def test_without_a_condition_the_dosing_weight_counts_and_it_is_said() -> None:
    t = cat("4", None)
    t.tell(ev.VentilationSet, **SET, tidal_ml=d("40"))
    asked = t.refused(AskAgain, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("68"))
    assert "No body condition was scored: judged on body weight." in asked.says


@pytest.mark.parametrize(("species", "first", "more"), [("cat", "80", "118"), ("dog", "96", "97")])
def test_without_a_condition_a_breath_over_the_first_one_is_asked_about(species: str, first: str, more: str) -> None:
    """A16: 8 kg. The first breath is 10 mL/kg in a cat, 12 in a dog (rows); at condition 9 the cat's 118 mL would be 24.6 mL/kg."""
    t = Telling(species=species, kg="8")
    t.tell(ev.VentilationSet, mode="ventilator", rate=14, tidal_ml=d(first))
    asked = t.refused(AskAgain, "tidal volume", ev.VentilationSet, mode="ventilator", rate=14, tidal_ml=d(more))
    assert (
        "over the first breath" in asked.says and "No body condition was scored: judged on body weight." in asked.says
    )
    t.tell(ev.BodyConditionScored, score=5)
    t.tell(ev.VentilationSet, mode="ventilator", rate=14, tidal_ml=d(more))


def test_a_lean_weight_too_small_to_work_from_leaves_the_body_weight() -> None:
    """A16: 0.22 kg at condition 9 is 0.13 kg lean, under any animal's weight: 300 mL is 1360 mL/kg of the scale's."""
    t = cat("0.22", 9)
    said = t.refused(Missing, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("300"))
    assert "mL/kg of body weight" in said.says and "0.13 kg lean at condition 9 of 9" in said.says
    t.tell(ev.VentilationSet, **SET, tidal_ml=d("2.5"))


def test_a_breath_that_no_weight_can_judge_is_asked_about() -> None:
    """A16: a dosing weight that no cat has: an entry that nothing judged is not passed as usual."""
    t = cat("0.22", None)
    t.tell(ev.DosingWeightSet, weight_kg=d("0.18"), reason="fluid", by="vet")
    asked = t.refused(AskAgain, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("160"))
    assert "0.18 kg is not the weight of a cat" in asked.says


def test_all_that_is_forbidden_is_named_at_once_and_a_point_is_no_reason() -> None:
    """A16: 100 mL in 4 kg and a peak of 60: a reason covers what was read."""
    t = cat()
    both: dict[str, Any] = {**SET, "tidal_ml": d("100"), "peak_cmh2o": d("60")}
    said = t.refused(Missing, "tidal volume", ev.VentilationSet, **both)
    assert "25 mL/kg" in said.says and "Also peak pressure: 60 cmH2O" in said.says
    for none in (".", "--", "12", " ok"):
        t.refused(Missing, "tidal volume", ev.VentilationSet, **both, reason=none)
    t.tell(ev.VentilationSet, **both, reason="recruitment")


def test_a_refusal_says_its_field_once() -> None:
    said = cat().refused(Missing, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("100"))
    assert said.sentence.count("tidal volume") == 1


@pytest.mark.parametrize(
    ("kg", "score", "ml"), [("71.55", None, "1234.5"), ("71.55", 9, "1234.5"), ("0.61", None, "10.25")]
)
def test_a_question_is_short_enough_to_be_sent_back_as_its_answer(kg: str, score: int | None, ml: str) -> None:
    """The answer is the question's own sentence, and an entry's words have an end."""
    t = Telling(species="dog", kg=kg)
    if score is not None:
        t.tell(ev.BodyConditionScored, score=score)
    fields: dict[str, Any] = {"mode": "ventilator", "rate": 10, "tidal_ml": d(ml)}
    if score == 9:
        fields["tidal_ml"] = d("700.5")
    asked = t.refused(AskAgain, "tidal volume", ev.VentilationSet, **fields)
    t.tell(ev.VentilationSet, **fields, confirmed=True, answered=(asked.says,))


def test_without_a_weight_a_breath_is_asked_about() -> None:
    t = Telling(species="cat", weighed=False)
    t.refused(AskAgain, "tidal volume", ev.VentilationSet, **SET, tidal_ml=d("30"))
    t.tell(ev.VentilationSet, **SET, tidal_ml=d("30"), confirmed=True)
    t.tell(ev.VentilationSet, mode="spontaneous", tidal_ml=d("30"))


def test_an_arrest_waits_for_nothing() -> None:
    t = cat()
    t.tell(ev.ArrestBegan)
    t.tell(ev.VentilationSet, mode="ventilator", rate=10, peak_cmh2o=d("22"))


def test_an_animal_that_breathes_for_itself_is_not_judged() -> None:
    cat().tell(ev.VentilationSet, mode="spontaneous", rate=60, tidal_ml=d("20"))


def test_a_rate_by_hand_is_noted_as_it_was_and_its_pressure_is_judged() -> None:
    t = cat()
    t.tell(ev.VentilationSet, mode="assisted by hand", rate=40)
    t.refused(Missing, "peak pressure", ev.VentilationSet, mode="assisted by hand", peak_cmh2o=d("22"))


@pytest.mark.parametrize(
    ("fields", "fault", "field"),
    [
        ({"mode": "ventilator"}, Missing, "rate"),
        ({**SET, "peak_cmh2o": d("10"), "peep_cmh2o": d("12")}, Contradiction, "PEEP"),
        ({**SET, "inspiration_s": d("5")}, Contradiction, "inspiration"),
        ({**SET, "inspiration_s": d("0.01")}, OutOfRange, "inspiration"),
        ({"mode": "assisted by hand", "held_by": "volume"}, Contradiction, "mode"),
        ({**SET, "rate": 30}, AskAgain, "ventilator rate"),
        ({**SET, "peep_cmh2o": d("8"), "peak_cmh2o": d("14")}, AskAgain, "PEEP"),
    ],
)
def test_settings_that_cannot_be_or_are_unusual(fields: dict[str, Any], fault: type[Any], field: str) -> None:
    cat().refused(fault, field, ev.VentilationSet, **fields)


# ---- the card


def told(score: int | None = 5) -> Book:
    b = Book("c-vent")
    b.tell(0, ev.CaseOpened, species="cat", name="Sedge")
    b.tell(1, ev.Weighed, weight_kg=d("4"), method="scale")
    if score is not None:
        b.tell(2, ev.BodyConditionScored, score=score)
    return b


def card(b: Book, minutes: float) -> VentilatorCard:
    found = case_view(b.fold(), len(b.entries), load_facts(), at(minutes)).maintain.ventilator
    assert found is not None
    return found


def test_first_settings_stand_beside_before_anything_is_set() -> None:
    """10 mL/kg x 4 kg; the middle of 12 to 24 a minute."""
    found = card(told(), 5)
    volume, pressure = found.starts
    assert (
        volume.tidal is not None and volume.tidal.text == "40" and volume.rate is not None and volume.rate.text == "18"
    )
    assert volume.peak is not None and volume.peak.mark == "predicted" and volume.peak.memory
    assert pressure.set_pressure is not None and pressure.set_pressure.mark == "predicted"
    assert (found.now, found.changes, found.judged) == ("", (), ())
    assert [a.name for a in found.alarms][:2] == ["pressure high", "pressure low"] and all(
        a.value.memory for a in found.alarms
    )


def test_nobody_is_ventilated_by_a_guess() -> None:
    b = Book("c-vent")
    b.tell(0, ev.CaseOpened, species="cat", name="Sedge")
    assert case_view(b.fold(), 1, load_facts(), at(1)).maintain.ventilator is None


def test_what_is_set_is_named_judged_and_gives_the_chest_s_own_compliance() -> None:
    """68 mL over 17 - 2 cmH2O is 4.53 mL/cmH2O; the alarms follow what is set: 17 + 5 is over the cat's 20, so 20."""
    b = told()
    b.tell(10, ev.VentilationSet, **SET, tidal_ml=d("68"), peak_cmh2o=d("17"), peep_cmh2o=d("2"), confirmed=True)
    found = card(b, 12)
    assert found.now == "ventilator, volume, 68 mL, 14 /min, peak 17, PEEP 2 cmH₂O" and found.now_at == at(10)
    assert len(found.judged) == 2 and "17 mL/kg" in found.judged[0]
    assert found.compliance is not None and found.compliance.text == "4.53"
    assert next(a for a in found.alarms if a.name == "pressure high").value.text == "20"


def test_a_change_is_predicted_from_co2_that_was_measured_since() -> None:
    """A16: 50 mL, own dead space 35 % of it (17.5 mL), 48 mmHg at 14 a minute: at 16 it would be 48 x 14 / 16 = 42."""
    b = told()
    b.tell(5, ev.ReadingTaken, reading="etco2", value=d("30"), unit="mmHg")
    b.tell(10, ev.VentilationSet, **SET, tidal_ml=d("50"))
    assert card(b, 11).changes == ()  # what was read before is of another setting
    b.tell(21, ev.ReadingTaken, reading="etco2", value=d("48"), unit="mmHg")
    found = card(b, 22)
    assert "end-tidal 48 mmHg" in found.co2 and "usually higher" in found.co2
    by = {c.change: c.paco2 for c in found.changes}
    assert by["rate to 16"].text == "42" and by["rate to 12"].text == "56"
    assert all(n.mark == "predicted" for n in by.values())
    # 55 - 17.5 = 37.5 instead of 32.5: 48 x 32.5 / 37.5 = 41.6
    assert by["breath to 55 mL"].text == "42"
    b.tell(23, ev.SampleAnalysed, kind="arterial blood", results=(("PaCO2", "56", "mmHg"),))
    better = card(b, 24)
    assert better.co2.startswith("arterial 56 mmHg")
    assert {c.change: c.paco2.text for c in better.changes}["rate to 16"] == "49"


def test_no_change_is_offered_that_leaves_the_usual() -> None:
    """At 24 a minute and 15 mL/kg only less is offered."""
    b = told()
    b.tell(10, ev.VentilationSet, **{**SET, "rate": 24}, tidal_ml=d("60"))
    b.tell(20, ev.ReadingTaken, reading="etco2", value=d("48"), unit="mmHg")
    assert [c.change for c in card(b, 21).changes] == ["rate to 22", "breath to 54 mL"]


def alarms(found: VentilatorCard) -> dict[str, str]:
    return {a.name: a.value.text for a in found.alarms}


def test_alarms_are_those_of_the_typed_peak() -> None:
    """A16: peak 19 over PEEP 8: 19 + 5 is over the cat's hard 20; the lower one is 19 - 5, more than the half way of 13.5."""
    b = told()
    b.tell(10, ev.VentilationSet, **SET, tidal_ml=d("50"), peak_cmh2o=d("19"), peep_cmh2o=d("8"), confirmed=True)
    found = alarms(card(b, 12))
    assert (found["pressure high"], found["pressure low"], found["volume high"]) == ("20", "14", "65")


def test_pressure_held_without_a_breath_has_no_alarm_of_volume() -> None:
    """A16: 15 over 3: 20 and 10. No breath was typed, so none is made up."""
    b = told()
    b.tell(10, ev.VentilationSet, mode="ventilator", held_by="pressure", rate=14, peak_cmh2o=d("15"), peep_cmh2o=d("3"))
    assert alarms(card(b, 12)) == {"pressure high": "20", "pressure low": "10", "apnoea": "15"}


@pytest.mark.parametrize(
    ("fields", "why"),
    [({"peak_cmh2o": d("26"), "tidal_ml": d("40")}, "26 cmH2O is over the hard 20 cmH2O"), ({}, "neither a peak pressure nor a breath")],
)  # fmt: skip
def test_alarms_that_cannot_be_worked_are_left_out_and_it_is_said(fields: dict[str, Any], why: str) -> None:
    """A16: those of other settings would sound for nothing, or not at all."""
    b = told()
    b.tell(10, ev.VentilationSet, **SET, **fields, reason="by order")
    found = card(b, 12)
    assert found.alarms == () and any(why in w for w in found.judged)


def test_co2_read_soon_after_a_change_predicts_nothing_and_it_is_said() -> None:
    """A16: ten minutes (a row, ours)."""
    b = told()
    b.tell(10, ev.VentilationSet, **SET, tidal_ml=d("50"))
    b.tell(15, ev.ReadingTaken, reading="etco2", value=d("48"), unit="mmHg")
    found = card(b, 16)
    assert found.changes == () and "end-tidal 48 mmHg" in found.co2 and "less than 10 min" in found.co2


def test_a_pressure_from_memory_is_marked_where_it_is_to_be_set() -> None:
    """The cat's compliance is from memory, so what comes of it is."""
    pressure = card(told(), 5).starts[1]
    assert pressure.set_pressure is not None and pressure.set_pressure.memory and pressure.set_pressure.estimated
    assert pressure.minute_volume is not None and pressure.minute_volume.memory


def test_compliance_of_typed_settings_is_not_called_measured() -> None:
    b = told()
    b.tell(10, ev.VentilationSet, **SET, tidal_ml=d("50"), peak_cmh2o=d("12"), peep_cmh2o=d("2"))
    found = card(b, 12).compliance
    assert found is not None and (found.text, found.mark) == ("5", "worked")
    assert found.working is not None and {i.mark for i in found.working.inputs} == {"typed"}


def test_after_the_tube_is_out_no_ventilator_breathes() -> None:
    b = told()
    b.tell(5, ev.TubePlaced, id_mm=d("4"), cuffed=True, depth_cm=d("13"))
    b.tell(10, ev.VentilationSet, **SET, tidal_ml=d("40"))
    assert card(b, 11).now
    b.tell(30, ev.Extubated)
    found = card(b, 31)
    assert (found.now, found.now_at, found.judged, found.changes) == ("", None, (), ())


def test_a_gas_beside_the_oxygen_stays_in_sight_until_it_is_off() -> None:
    """A10: N2O that was forgotten when the oxygen was turned down leaves a mixture of 9 %."""
    b = told()
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"), other="N2O", other_l_min=d("2"))
    sheet = case_view(b.fold(), len(b.entries), load_facts(), at(11)).maintain
    assert sheet.other_gas == "N2O" and sheet.other_l_min is not None and sheet.other_l_min.text == "2"
    b.tell(12, ev.GasSet, oxygen_l_min=d("1"), other="N2O", other_l_min=d("0"))
    sheet = case_view(b.fold(), len(b.entries), load_facts(), at(13)).maintain
    assert (sheet.other_gas, sheet.other_l_min) == ("", None)
