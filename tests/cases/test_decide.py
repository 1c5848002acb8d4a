"""What may stand in a case: rules of form, identity, orders and the plan."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest

from small_house import NINE, Telling, d
from spiracle.case import events as ev
from spiracle.case.decide import RULES
from spiracle.case.standing import dosing_weight_kg, plan_state, weight_in_use
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    NotAllowed,
    NotAQuantity,
    OutOfRange,
    OverLimit,
    StaleReading,
    Unknown,
    UnlikeUnits,
)


def test_every_event_has_its_rule() -> None:
    assert set(RULES) == set(ev.every_event())


# ---- form


@pytest.mark.parametrize("bad", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_a_number_that_is_none_is_refused_in_any_field(bad: str) -> None:
    """U12: whatever the field."""
    t = Telling()
    t.refused(NotAQuantity, "weight", ev.Weighed, weight_kg=Decimal(bad), method="scale")
    t.refused(NotAQuantity, "value", ev.ReadingTaken, reading="heart_rate", value=Decimal(bad), unit="/min")


@pytest.mark.parametrize("bad", ["-4", "1E+30", "1E-30", "99999999999"])
def test_a_number_no_instrument_shows_is_refused(bad: str) -> None:
    Telling().refused(OutOfRange, "weight", ev.Weighed, weight_kg=Decimal(bad), method="scale")


@pytest.mark.parametrize("id_", ["", "x", "6F1D2F64-3A57-5E0C-9A56-6F6F1C1DE300", "6f1d2f643a575e0c9a566f6f1c1de300"])
def test_an_id_is_a_uuid_written_one_way(id_: str) -> None:
    Telling().refused(Unknown, "id", ev.NoteWritten, text="calm", id=id_)


def test_times_carry_a_zone_and_lie_near() -> None:
    """D8: two clocks that differ are told."""
    t = Telling()
    t.refused(Missing, "happened at", ev.NoteWritten, text="calm", happened_at=datetime(2026, 5, 4, 9))  # noqa: DTZ001
    later = NINE + timedelta(minutes=5, seconds=1)
    t.refused(OutOfRange, "happened at", ev.NoteWritten, text="calm", happened_at=later, recorded_at=later)
    t.tell(
        ev.NoteWritten, text="calm", happened_at=NINE + timedelta(minutes=5), recorded_at=NINE + timedelta(minutes=5)
    )
    t.refused(OutOfRange, "happened at", ev.NoteWritten, text="calm", happened_at=NINE - timedelta(hours=48, seconds=1))
    t.tell(ev.NoteWritten, text="came in", happened_at=NINE - timedelta(hours=48))
    t.at(30).refused(Contradiction, "happened at", ev.NoteWritten, text="calm", recorded_at=NINE)


def test_an_entry_made_offline_hours_ago_is_taken_at_its_own_time() -> None:
    """D8: when it happened, not when it came."""
    t = Telling()
    t.at(240).tell(ev.NoteWritten, text="calm", happened_at=NINE, recorded_at=NINE)


def test_a_case_is_opened_first_and_once() -> None:
    t = Telling()
    t.refused(NotAllowed, "case", ev.CaseOpened, species="cat")
    t.entries.clear()
    t.refused(Missing, "case", ev.NoteWritten, text="calm")
    t.refused(Missing, "case", ev.Weighed, weight_kg=d("4"), method="scale")


def test_the_hand_is_one_of_the_hospital() -> None:
    t = Telling()
    t.refused(Unknown, "hand", ev.NoteWritten, text="calm", by="somebody")
    t.refused(Unknown, "hand", ev.NoteWritten, text="calm", by="unknown")
    t.refused(Missing, "hand", ev.NoteWritten, text="calm", by="")
    Telling(kind="emergency").tell(ev.NoteWritten, text="calm", by="unknown")


def test_an_arrest_asks_for_no_name() -> None:
    """D14, D36: nothing stands before it."""
    t = Telling()
    t.tell(ev.ArrestBegan, by="unknown")
    t.tell(ev.HelpCalled, by="unknown", whom="all")
    t.tell(ev.ArrestStepDone, by="unknown", step="compressor")
    t.at(4).tell(ev.ArrestEnded, by="unknown", outcome="pulse back")


def test_words_are_bounded_and_visible() -> None:
    t = Telling()
    t.tell(ev.NoteWritten, text="x" * 4000)
    t.refused(OutOfRange, "text", ev.NoteWritten, text="x" * 4001)
    t.refused(OutOfRange, "name", ev.OwnerNamed, name="x" * 201)
    t.refused(NotAllowed, "text", ev.NoteWritten, text="calm\x07")
    t.refused(NotAllowed, "text", ev.NoteWritten, text="4.2\u202e gnorw")
    t.refused(OutOfRange, "allergies", ev.AllergiesAsked, allergies=("x",) * 201)


@pytest.mark.parametrize("text", ["gave 2 mg", "2mg slowly", "0.3 mL/kg", "1,5 mg/kg IV", "10 IU", "4 mcg/kg/min"])
def test_a_dose_in_a_note_is_refused(text: str) -> None:
    """D34: In free words nothing adds it up and nothing holds it against a limit."""
    Telling().refused(NotAllowed, "note", ev.NoteWritten, text=text)


@pytest.mark.parametrize(
    "text", ["K 4.2 mmol/L yesterday", "glucose 95 mg/dL", "18 G in the left leg", "12 breaths", "ID 4.5 mm"]
)
def test_other_numbers_may_stand_in_a_note(text: str) -> None:
    Telling().tell(ev.NoteWritten, text=text)


# ---- identity


def test_a_weight_far_from_the_last_is_asked_about_and_pounds_are_named() -> None:
    """U5: 18.5 lb is 8.39 kg (0.45359237 kg a pound, NIST SP 811)."""
    t = Telling(kg="8.4")
    asked = t.refused(AskAgain, "weight", ev.Weighed, weight_kg=d("18.5"), method="scale")
    assert asked.use == "8.39 kg"
    assert weight_in_use(t.case).kg == d("8.4")  # type: ignore[union-attr]
    t.at(1).tell(ev.Weighed, weight_kg=d("18.5"), method="scale", confirmed=True)
    assert weight_in_use(t.case).kg == d("18.5")  # type: ignore[union-attr]


@pytest.mark.parametrize(("species", "kg"), [("cat", "40"), ("cat", "0.05"), ("dog", "150"), ("dog", "0")])
def test_what_no_animal_weighs_is_refused_even_if_confirmed(species: str, kg: str) -> None:
    """U5: bounds of the species."""
    Telling(species, weighed=False).refused(
        OutOfRange, "weight", ev.Weighed, weight_kg=d(kg), method="scale", confirmed=True
    )


def test_another_dosing_weight_is_the_veterinarians() -> None:
    """U8: with a reason."""
    t = Telling(kg="10")
    t.refused(NotAllowed, "hand", ev.DosingWeightSet, weight_kg=d("8"), reason="fat")
    t.refused(Missing, "reason", ev.DosingWeightSet, weight_kg=d("8"), reason=" ", by="vet")
    t.at(1).tell(ev.DosingWeightSet, weight_kg=d("8"), reason="lean weight", by="vet")
    assert dosing_weight_kg(t.case) == 8
    t.at(2).tell(ev.Weighed, weight_kg=d("10.2"), method="scale")
    assert dosing_weight_kg(t.case) == d("10.2"), "weighed again: the old dosing weight no longer holds"


def test_asa_and_limits_are_a_veterinarians_word() -> None:
    t = Telling()
    t.refused(NotAllowed, "assigned by", ev.AsaAssigned, asa="II")
    t.refused(NotAllowed, "assigned by", ev.AsaAssigned, asa="II", assigned_by="stu")
    t.tell(ev.AsaAssigned, asa="II", assigned_by="vet")
    t.tell(ev.AsaAssigned, asa="III", by="vet")
    t.refused(NotAllowed, "ordered by", ev.LimitOrdered, reading="map", below=d("60"))
    t.refused(Missing, "limit", ev.LimitOrdered, reading="map", ordered_by="vet")
    t.refused(Contradiction, "limit", ev.LimitOrdered, reading="map", below=d("90"), above=d("60"), ordered_by="vet")
    t.tell(ev.LimitOrdered, reading="map", below=d("60"), ordered_by="vet")


def test_a_condition_must_be_on_the_list() -> None:
    t = Telling()
    with pytest.raises(Unknown):
        t.tell(ev.HistoryTaken, conditions=("a made-up disease",))


def test_a_score_lies_on_its_scale() -> None:
    t = Telling()
    t.refused(OutOfRange, "score", ev.PainScored, scale="ours", score=d("11"), out_of=d("10"))
    t.refused(OutOfRange, "score", ev.PainScored, scale="ours", score=d("0"), out_of=d("0"))
    t.tell(ev.PainScored, scale="ours", score=d("3"), out_of=d("10"))


def test_body_condition_is_of_nine() -> None:
    t = Telling()
    t.tell(ev.BodyConditionScored, score=9)
    with pytest.raises(OutOfRange):
        t.tell(ev.BodyConditionScored, score=10)


# ---- orders

ORDER = {"order": "o1", "drug": "methadone", "purpose": "premedication", "route": "IM", "low": d("0.2"), "high": d("0.2"),
         "unit": "mg/kg"}  # fmt: skip


def test_an_order_names_its_veterinarian() -> None:
    """D20: said aloud it is read back by someone else."""
    t = Telling()
    t.refused(NotAllowed, "ordered by", ev.DrugOrdered, **ORDER)
    t.refused(NotAllowed, "ordered by", ev.DrugOrdered, **ORDER, ordered_by="two")
    t.refused(Missing, "ordered by", ev.DrugOrdered, **ORDER, given_as="oral", read_back_by="tec")
    t.refused(Missing, "read back by", ev.DrugOrdered, **ORDER, given_as="oral", ordered_by="vet")
    t.refused(
        Contradiction, "read back by", ev.DrugOrdered, **ORDER, given_as="oral", ordered_by="vet", read_back_by="vet"
    )
    t.tell(ev.DrugOrdered, **ORDER, given_as="oral", ordered_by="vet", read_back_by="tec")
    t.tell(ev.DrugOrdered, **{**ORDER, "order": "o2"}, by="vet")


def test_a_drug_purpose_route_or_unit_that_is_not_on_the_list_is_refused() -> None:
    t = Telling()
    t.refused(Unknown, "drug", ev.DrugOrdered, **{**ORDER, "drug": "methadon3"}, ordered_by="vet")
    t.refused(Unknown, "route", ev.DrugOrdered, **{**ORDER, "route": "by owl"}, ordered_by="vet")
    t.refused(Unknown, "purpose", ev.DrugOrdered, **{**ORDER, "purpose": "to be sure"}, ordered_by="vet")
    t.refused(UnlikeUnits, "dose", ev.DrugOrdered, **{**ORDER, "unit": "IU/kg"}, ordered_by="vet")
    t.refused(Contradiction, "dose", ev.DrugOrdered, **{**ORDER, "low": d("0.4")}, ordered_by="vet")
    t.refused(OutOfRange, "dose", ev.DrugOrdered, **{**ORDER, "low": d("0"), "high": d("0")}, ordered_by="vet")


def test_a_slipped_point_is_asked_about_and_a_hard_stop_needs_a_reason() -> None:
    """U4: Methadone IM in dogs stops at 1.0 mg/kg (label ceiling); 5 mg/kg is ten times the usual top of 0.5."""
    t = Telling()
    t.refused(AskAgain, "dose", ev.DrugOrdered, **{**ORDER, "low": d("5"), "high": d("5")}, ordered_by="vet")
    over = {**ORDER, "low": d("1.1"), "high": d("1.1")}
    t.refused(OverLimit, "dose", ev.DrugOrdered, **over, ordered_by="vet")
    t.refused(Missing, "reason", ev.DrugOrdered, **over, ordered_by="vet", over_hard_by="vet")
    t.refused(NotAllowed, "said by", ev.DrugOrdered, **over, ordered_by="vet", over_hard_by="tec", reason="used to it")
    t.tell(ev.DrugOrdered, **over, ordered_by="vet", over_hard_by="vet", reason="tolerant, on it at home")


def test_an_order_id_keeps_its_drug() -> None:
    t = Telling()
    t.order()
    t.refused(Contradiction, "order", ev.DrugOrdered, **{**ORDER, "drug": "propofol"}, ordered_by="vet")
    t.at(1).order(high="0.3")
    t.at(2).tell(ev.OrderWithdrawn, order="o1")
    t.refused(Unknown, "order", ev.OrderWithdrawn, order="o1")


def test_before_the_weight_an_order_is_held_against_what_there_is() -> None:
    t = Telling(weighed=False)
    t.order()
    t.refused(Unknown, "purpose", ev.DrugOrdered, **{**ORDER, "purpose": "maintenance"}, ordered_by="vet")


def test_a_vial_belongs_to_an_order_and_can_be_read() -> None:
    t = Telling()
    t.order()
    t.refused(Unknown, "order", ev.VialPicked, order="o9", drug="methadone", concentration="10 mg/mL")
    t.refused(Contradiction, "order", ev.VialPicked, order="o1", drug="propofol", concentration="10 mg/mL")
    t.refused(NotAQuantity, "strength", ev.VialPicked, order="o1", drug="methadone", concentration="10")
    t.tell(ev.VialPicked, order="o1", drug="methadone", concentration="10 mg/mL")


# ---- the plan


def approve(t: Telling, **more: object) -> dict[str, object]:
    return {"signed_by": "vet", "by": "vet", "weight_kg": d("10"), "orders": ("o1",), **more}


def test_a_plan_is_signed_by_a_veterinarians_own_hand_or_read_back() -> None:
    t = Telling()
    t.order()
    t.refused(NotAllowed, "signed by", ev.PlanApproved, **approve(t, signed_by="tec"))
    t.refused(NotAllowed, "hand", ev.PlanApproved, **approve(t, by="tec"))
    t.refused(Missing, "read back by", ev.PlanApproved, **approve(t, by="tec", how="oral"))
    t.tell(ev.PlanApproved, **approve(t, by="tec", how="oral", read_back_by="tec"))
    assert plan_state(t.case).stale == ()


def test_a_plan_is_signed_for_the_weight_asa_and_orders_that_stand() -> None:
    t = Telling()
    t.order()
    t.tell(ev.AsaAssigned, asa="III", by="vet")
    t.refused(Contradiction, "weight", ev.PlanApproved, **approve(t, weight_kg=d("9")))
    t.refused(Contradiction, "ASA", ev.PlanApproved, **approve(t, asa="II"))
    t.refused(Contradiction, "orders", ev.PlanApproved, **approve(t, orders=()))
    t.refused(Unknown, "order", ev.PlanApproved, **approve(t, orders=("o1", "o2")))
    t.tell(ev.PlanApproved, **approve(t, asa="III"))
    t.at(1).tell(ev.Weighed, weight_kg=d("10.4"), method="scale")
    assert "10.4 kg" in plan_state(t.case).stale[0]


def test_no_plan_is_signed_over_an_old_weight_or_a_line_without_volume() -> None:
    """U6, U9: A weight holds a day (hospital rule of the patient tables); two stocked strengths give no volume."""
    t = Telling()
    t.order()
    t.at(25 * 60).refused(StaleReading, "weight", ev.PlanApproved, **approve(t))
    t.at(1)
    t.order("o2", "ephedrine", "vasopressor", "IV", "0.1", "0.1")
    refusal = t.refused(Missing, "ephedrine, strength", ev.PlanApproved, **approve(t, orders=("o1", "o2")))
    assert "50 mg/mL" in refusal.accepts and "5 mg/mL" in refusal.accepts
    t.tell(ev.VialPicked, order="o2", drug="ephedrine", concentration="5 mg/mL")
    t.tell(ev.PlanApproved, **approve(t, orders=("o1", "o2")))
