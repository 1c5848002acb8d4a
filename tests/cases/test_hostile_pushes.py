"""What goes in and what is drawn: no flag, no order, no word of the sender's opens a way round animal, stop or syringe.

Figures are the tables' own or outside them: propofol with benzyl alcohol 24 mg/kg in one anaesthetic (labels), atipamezole
ten times the micrograms of dexmedetomidine in dogs and five times in cats (label), at most 0.3 mg/kg (review article; cats
from memory), potassium chloride never as a push, acepromazine 1 mg per dog by vein (common practice, from memory).
"""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.prepared import prepared
from spiracle.case.standing import orders
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    NotAllowed,
    OutOfRange,
    OverLimit,
    Refusal,
    Unknown,
    UnlikeUnits,
)
from spiracle.sheets.case_view import case_view


def free(drug: str, amount: str, unit: str = "mg", route: str = "IV", **more: Any) -> dict[str, Any]:
    """A push without a syringe."""
    return {"drug": drug, "amount": d(amount), "unit": unit, "route": route, **more}


def of_vial(drug: str, ml: str, holds: str, mg: str, **more: Any) -> dict[str, Any]:
    return free(drug, mg, volume_ml=d(ml), concentration=holds, **more)


def sedated(t: Telling) -> dict[str, Any]:
    """Dexmedetomidine 5 mcg/kg IM for 10 kg: 50 mcg, 0.1 mL of 0.5 mg/mL."""
    t.order("o1", "dexmedetomidine", "premedication", "IM", "5", "5", "mcg/kg")
    return of_vial("dexmedetomidine", "0.1", "0.5 mg/mL", "0.05", route="IM", order="o1", purpose="premedication")


def drawn(drug: str, ml: str, holds: str, order: str = "", **more: Any) -> dict[str, Any]:
    return {"syringe": "s1", "order": order, "drug": drug, "vial_concentration": holds, "concentration": holds,
            "volume_ml": d(ml), "drug_volume_ml": d(ml), **more}  # fmt: skip


# ---- conditions found after the order


def test_a_condition_found_after_the_order_stops_draw_and_push() -> None:
    """U14: heart disease is told after dexmedetomidine was ordered; a veterinarian's word with a reason passes."""
    t = Telling()
    push = sedated(t)
    t.at(2).tell(ev.HistoryTaken, conditions=("heart-disease",))
    draw = drawn("dexmedetomidine", "0.1", "0.5 mg/mL", "o1")
    assert "heart-disease" in t.refused(OverLimit, "caution", ev.SyringeDrawn, **draw).says
    t.refused(OverLimit, "caution", ev.DrugGiven, **push)
    t.refused(OverLimit, "caution", ev.DrugGiven, **push, confirmed=True)
    word = {"said_by": "vet", "reason": "heard again: no murmur"}
    t.tell(ev.SyringeDrawn, **draw, **word)
    t.tell(ev.DrugGiven, **push, **word)


def test_a_condition_stops_a_push_without_an_order_too() -> None:
    """U14: by the veterinarian's own hand as well, until he says why."""
    t = Telling()
    t.tell(ev.HistoryTaken, conditions=("heart-disease",))
    push = of_vial("dexmedetomidine", "0.1", "0.5 mg/mL", "0.05", route="IM", purpose="premedication", by="vet")
    t.refused(OverLimit, "caution", ev.DrugGiven, **push)
    t.refused(OverLimit, "caution", ev.SyringeDrawn, **drawn("dexmedetomidine", "0.1", "0.5 mg/mL"))
    t.tell(ev.DrugGiven, **push, said_by="vet", reason="cannot be handled otherwise")


def test_a_word_on_the_order_covers_what_was_known_then() -> None:
    """U14: the reason was given for the heart; kidneys that came later are not in it."""
    t = Telling()
    t.tell(ev.HistoryTaken, conditions=("heart-disease",))
    t.order(
        "o1", "dexmedetomidine", "premedication", "IM", "5", "5", "mcg/kg", over_hard_by="vet", reason="echo normal"
    )
    push = of_vial("dexmedetomidine", "0.1", "0.5 mg/mL", "0.05", route="IM", order="o1")
    t.tell(ev.DrugGiven, **push)
    t = Telling()
    t.order("o1", "carprofen", "analgesia", "SC", "4", "4", over_hard_by="vet", reason="as always")
    t.at(2).tell(ev.HistoryTaken, conditions=("kidney-disease",))
    late = of_vial("carprofen", "0.8", "50 mg/mL", "40", route="SC", order="o1")
    t.refused(OverLimit, "caution", ev.DrugGiven, **late)


def test_in_an_emergency_a_condition_is_asked_about() -> None:
    """D14, U14: not stopped, not silent."""
    t = Telling(kind="emergency")
    push = sedated(t)
    t.at(2).tell(ev.HistoryTaken, conditions=("heart-disease",))
    t.refused(AskAgain, "caution", ev.SyringeDrawn, **drawn("dexmedetomidine", "0.1", "0.5 mg/mL", "o1"))
    t.refused(AskAgain, "caution", ev.DrugGiven, **push)
    t.tell(ev.DrugGiven, **push, confirmed=True)


# ---- emergencies


@pytest.mark.parametrize("kind", ["elective", "emergency"])
def test_an_emergency_dose_can_be_read(kind: str) -> None:
    """U1, U4, D14: limits, order and hand are not asked; drug, unit, route and arithmetic are."""
    t = Telling(kind=kind)
    t.tell(ev.ArrestBegan)
    dose = of_vial("epinephrine", "1", "1 mg/mL", "1", emergency=True, by="unknown")
    t.refused(Unknown, "drug", ev.DrugGiven, **{**dose, "drug": "adrenalline"})
    t.refused(Unknown, "route", ev.DrugGiven, **{**dose, "route": "up nose"})
    t.refused(OutOfRange, "amount", ev.DrugGiven, **{**dose, "amount": d("0")})
    t.refused(Contradiction, "amount", ev.DrugGiven, **{**dose, "amount": d("10")})
    t.refused(UnlikeUnits, "unit", ev.DrugGiven, **{**dose, "unit": "IU"})
    t.refused(UnlikeUnits, "unit", ev.DrugGiven, **{**dose, "unit": "mg/kg"})
    with pytest.raises(Refusal):
        t.tell(ev.DrugGiven, **{**dose, "unit": "banana"})
    t.tell(ev.DrugGiven, **dose, purpose="no pulse")
    t.tell(ev.DrugGiven, **{**dose, "route": "IV or IO"})
    t.tell(ev.DrugGiven, **free("methadone", "300", emergency=True, by="unknown"))


def test_an_emergency_does_not_empty_a_syringe_twice() -> None:
    """U22, D22: what is left is what is left."""
    t = Telling()
    t.tell(ev.SyringeDrawn, **drawn("atropine", "1", "0.4 mg/mL"))
    dose = {**free("atropine", "0.8", emergency=True), "volume_ml": d("2"), "syringe": "s1"}
    t.refused(OutOfRange, "volume", ev.DrugGiven, **dose)
    t.tell(ev.DrugGiven, **{**dose, "amount": d("0.4"), "volume_ml": d("1")})


def test_only_emergency_drugs_are_emergencies_in_a_planned_case() -> None:
    """D14, D20: methadone 300 mg is none, whoever says so; with an arrest or a trouble open it is not blocked."""
    t = Telling()
    dose = free("methadone", "300", emergency=True)
    t.refused(Missing, "order", ev.DrugGiven, **dose, by="stu")
    with pytest.raises(Refusal):
        t.tell(ev.DrugGiven, **dose, by="unknown")
    t.tell(ev.DrugGiven, **free("epinephrine", "0.1", emergency=True, by="stu"))
    t.tell(ev.TroubleBegan, trouble="t1", kind="seizure")
    t.tell(ev.DrugGiven, **dose, by="stu")
    t.tell(ev.TroubleEnded, trouble="t1")
    t.at(30).refused(Missing, "order", ev.DrugGiven, **dose, by="stu")


def test_after_the_signature_only_an_emergency_is_written() -> None:
    """D11: the flag alone does not open a signed record."""
    t = Telling()
    t.tell(ev.RecordSigned, role="technician")
    t.tell(ev.RecordSigned, role="veterinarian", by="vet")
    t.refused(NotAllowed, "record", ev.DrugGiven, **free("methadone", "2", emergency=True))
    t.tell(ev.DrugGiven, **free("epinephrine", "0.1", emergency=True))


@pytest.mark.parametrize("species", ["dog", "cat"])
def test_every_key_of_the_emergency_sheet_is_written(species: str) -> None:
    """D14: what the sheet shows can be entered in one touch, in a planned case too."""
    t = Telling(species, "4")
    for drug in case_view(t.case, 1, t.facts, t.now).emergency.drugs:  # type: ignore[union-attr]
        if drug.amount is None or drug.volume_ml is None or drug.drug == "defibrillation":
            continue
        t.tell(ev.DrugGiven, drug=drug.drug, amount=d(str(drug.amount)), unit=drug.unit, volume_ml=d(str(drug.volume_ml)),
               concentration=drug.strength, route=drug.route, purpose=drug.what_for, emergency=True)  # fmt: skip


def test_what_was_stored_unread_breaks_nothing_later() -> None:
    """D10: an unknown drug, route and unit of an older log: the next push is decided all the same."""
    t = Telling()
    t.order()
    t.draw()
    for odd in (
        free("adrenalline", "1"),
        free("methadone", "1", "banana", "up nose"),
        free("methadone", "1", "mg/kg", "IM"),
    ):
        event = t.made(ev.DrugGiven, **odd, emergency=True)
        t.entries.append(ev.Entry(len(t.entries) + 1, t.now, event))
    t.at(20).tell(ev.DrugGiven, **t.push("0.2", "2"))
    t.order("o2", "lidocaine", "local block", "infiltration", "2", "2")
    t.tell(ev.DrugGiven, **of_vial("lidocaine", "1", "20 mg/mL", "20", route="infiltration", order="o2"))
    assert case_view(t.case, 1, t.facts, t.now).case == t.id


# ---- orders


def test_an_order_per_time_has_no_push() -> None:
    """U3, U14: potassium, norepinephrine, fentanyl, propofol ordered as rates are not pushed, word or no word."""
    for drug, purpose, top, unit, push in (
        ("potassium_chloride", "hypokalaemia", "0.5", "mEq/kg/h", of_vial("potassium_chloride", "5", "2 mEq/mL", "10") | {"unit": "mEq"}),
        ("norepinephrine", "blood pressure", "0.5", "mcg/kg/min", of_vial("norepinephrine", "1", "1 mg/mL", "1")),
        ("fentanyl", "analgesia", "5", "mcg/kg/h", of_vial("fentanyl", "40", "0.05 mg/mL", "2")),
        ("propofol", "maintenance", "0.3", "mg/kg/min", of_vial("propofol", "40", "10 mg/mL", "400")),
    ):  # fmt: skip
        t = Telling()
        t.order("o1", drug, purpose, "IV", top, top, unit)
        t.refused(Contradiction, "order", ev.DrugGiven, **push, order="o1")
        t.refused(Contradiction, "order", ev.DrugGiven, **push, order="o1", said_by="vet", reason="low")


@pytest.mark.parametrize("kind", ["elective", "emergency"])
def test_potassium_is_never_pushed_on_a_word_passed_on(kind: str) -> None:
    """U14: in a planned case only a veterinarian enters it himself, with his reason; in an emergency his word is asked."""
    t = Telling("cat", "4", kind=kind)
    push = of_vial("potassium_chloride", "4", "2 mEq/mL", "8", by="tec") | {"unit": "mEq"}
    said = {"said_by": "vet", "reason": "said and read back"}
    t.refused(OverLimit, "drug", ev.DrugGiven, **push, **said)
    t.refused(OverLimit, "drug", ev.DrugGiven, **{**push, "by": "vet", "purpose": "hypokalaemia"})
    t.refused(OverLimit, "drug", ev.DrugGiven, **push, emergency=True)
    if kind == "emergency":
        t.tell(ev.DrugGiven, **push, **said, emergency=True)
    t.at(30).tell(ev.DrugGiven, **{**push, "by": "vet"}, **said)


def test_an_order_is_one_dose_however_late() -> None:
    """U19, U29: the whole induction dose again after six minutes, and after an hour, is a second order."""
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "6", "6", row="propofol-dog-induction-iv")  # which lasts 5 min
    whole = of_vial("propofol", "6", "10 mg/mL", "60", order="o1", purpose="induction")
    t.tell(ev.DrugGiven, **whole)
    for minutes in (6, 70, 300):
        t.at(minutes).refused(OverLimit, "dose", ev.DrugGiven, **whole, confirmed=True)
    t.tell(ev.DrugGiven, **whole, said_by="vet", reason="awake again")


def test_an_order_that_may_be_repeated_asks_each_time_and_not_too_soon() -> None:
    """U19, U20: ephedrine's row lets it be repeated after 10 min."""
    t = Telling()
    t.order("o1", "ephedrine", "blood pressure", "IV", "0.1", "0.1", concentration="5 mg/mL")
    dose = of_vial("ephedrine", "0.2", "5 mg/mL", "1", order="o1")
    t.tell(ev.DrugGiven, **dose)
    t.at(8).refused(OverLimit, "dose", ev.DrugGiven, **dose, confirmed=True)
    t.at(12).refused(AskAgain, "dose", ev.DrugGiven, **dose)
    t.tell(ev.DrugGiven, **dose, confirmed=True)


def test_nothing_is_given_before_it_was_ordered() -> None:
    """D20: an order of afterwards covers nothing."""
    t = Telling()
    before = t.now
    t.at(30).order()
    t.draw()
    t.refused(Contradiction, "order", ev.DrugGiven, **t.push("0.2", "2", happened_at=before))


def test_one_name_for_one_drug() -> None:
    """U19: under another name no sum would find it."""
    t = Telling("cat", "4")
    t.order("o1", "alfaxalone", "induction", "IV", "2", "3")
    push = of_vial("alphaxalone", "0.5", "10 mg/mL", "5", order="o1")
    assert t.refused(Contradiction, "drug", ev.DrugGiven, **push).use == "alfaxalone"
    t.refused(Contradiction, "drug", ev.SyringeDrawn, **drawn("alphaxalone", "0.5", "10 mg/mL", "o1"))
    assert (
        t.refused(Contradiction, "route", ev.DrugGiven, **{**push, "drug": "alfaxalone", "route": "intravenous"}).use
        == "IV"
    )


# ---- what is in the syringe


def test_a_strength_nobody_stocks_is_asked_about() -> None:
    """U9: methadone 1 mg/mL stands nowhere here: ten times as much may be in the hand."""
    t = Telling()
    t.order()
    push = of_vial("methadone", "2", "1 mg/mL", "2", route="IM", order="o1")
    assert "10 mg/mL" in t.refused(AskAgain, "concentration", ev.DrugGiven, **push).accepts
    t.refused(AskAgain, "strength", ev.SyringeDrawn, **drawn("methadone", "2", "1 mg/mL", "o1"))
    t.tell(ev.DrugGiven, **push, confirmed=True)


def test_a_recorded_dilution_is_known() -> None:
    """U10: drawn as 1 mg/mL, given from the hand as 1 mg/mL."""
    t = Telling()
    t.order()
    t.tell(ev.SyringeDrawn, **{**drawn("methadone", "2", "10 mg/mL", "o1"), "concentration": "1 mg/mL",
                               "drug_volume_ml": d("0.2"), "diluent_volume_ml": d("1.8"), "diluent": "0.9 % saline"})  # fmt: skip
    t.tell(ev.DrugGiven, **of_vial("methadone", "2", "1 mg/mL", "2", route="IM", order="o1"))


# ---- sums


@pytest.mark.parametrize("how", ["form", "label", "picked", "words"])
def test_preserved_propofol_has_a_ceiling(how: str) -> None:
    """U24: 24 mg/kg in one anaesthetic: 240 mg in 10 kg; the plain form does not have it."""
    form = "with benzyl alcohol"
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "2", "4")
    more: dict[str, Any] = {"order": "o1", "purpose": "induction"}
    if how == "form":
        more["form"] = form
    if how == "label":
        fill = {**drawn("propofol", "50", "10 mg/mL", "o1"), "vial_concentration": f"10 mg/mL {form}"}
        assert "12 times the 20 mg to 40 mg" in t.refused(AskAgain, "volume", ev.SyringeDrawn, **fill).says
        fill["confirmed"] = True
        assert "at most 240 mg, 24 mL" in t.refused(OverLimit, "dose", ev.SyringeDrawn, **fill).accepts
        t.tell(ev.SyringeDrawn, **fill, said_by="vet", reason="drawn up at once")
        more["syringe"] = "s1"
    if how == "picked":
        t.tell(ev.VialPicked, order="o1", drug="propofol", concentration="10 mg/mL", form=form)
    if how == "words":
        more["concentration"] = f"10 mg/mL {form}"
    push = {**of_vial("propofol", "4", "10 mg/mL", "40"), **more}
    word = {"said_by": "vet", "reason": "light"}
    for n in range(6):
        t.at(20 * n).tell(ev.DrugGiven, **push, **word)
    t.order("o2", "propofol", "induction", "IV", "1", "1", over_hard_by="vet", reason="still light")
    if how == "picked":
        t.tell(ev.VialPicked, order="o2", drug="propofol", concentration="10 mg/mL", form=form)
    last = {**push, "order": "o2", "amount": d("10"), "volume_ml": d("1")}
    assert "benzyl" in t.at(200).refused(OverLimit, "dose", ev.DrugGiven, **last).says
    if how == "form":
        t.refused(Unknown, "form", ev.DrugGiven, **{**last, "form": "with vanilla"})


def test_plain_propofol_has_no_such_ceiling() -> None:
    """U24: 250 mg of it in 10 kg, then an order more."""
    t = Telling()
    word = {"said_by": "vet", "reason": "light"}
    t.tell(ev.DrugGiven, by="vet", **of_vial("propofol", "25", "10 mg/mL", "250"), **word)
    t.order("o2", "propofol", "induction", "IV", "1", "1", over_hard_by="vet", reason="still light")
    t.at(60).tell(ev.DrugGiven, **of_vial("propofol", "1", "10 mg/mL", "10", order="o2", purpose="induction"))


def test_what_holds_for_the_animal_counts_by_every_route() -> None:
    """U25: acepromazine 25 kg: 0.75 mg IM and then 0.5 mg IV pass the 1 mg a dog is given by vein."""
    t = Telling(kg="25")
    t.order("o1", "acepromazine", "premedication", "IM", "0.03", "0.03")
    t.order("o2", "acepromazine", "premedication", "IV", "0.02", "0.02")
    t.tell(ev.DrugGiven, **of_vial("acepromazine", "0.375", "2 mg/mL", "0.75", route="IM", order="o1"))
    t.at(10)
    by_vein = of_vial("acepromazine", "0.25", "2 mg/mL", "0.5", order="o2")
    assert "1.25 mg/animal" in t.refused(OverLimit, "dose", ev.DrugGiven, **by_vein).says


def test_a_small_boxer_gets_no_more_per_kg_than_another_dog() -> None:
    """U14: 8 kg: over 0.02 mg/kg is stopped in a Boxer (from memory), over the 0.05 of any dog in the other."""
    boxer, other = Telling(kg="8"), Telling(kg="8")
    boxer.tell(ev.PatientDescribed, breed="Boxer")
    by_vet = {"route": "IM", "purpose": "premedication", "by": "vet"}
    much = of_vial("acepromazine", "0.48", "2 mg/mL", "0.96", **by_vet)
    other.refused(OverLimit, "dose", ev.DrugGiven, **much)
    boxer.refused(OverLimit, "dose", ev.DrugGiven, **much)
    boxer.refused(OverLimit, "dose", ev.DrugGiven, **of_vial("acepromazine", "0.09", "2 mg/mL", "0.18", **by_vet))
    boxer.tell(ev.DrugGiven, **of_vial("acepromazine", "0.04", "2 mg/mL", "0.08", **by_vet))


# ---- reversal


@pytest.mark.parametrize(("species", "kg", "mg"), [("dog", "10", "0.5"), ("cat", "4", "0.1")])
def test_the_reversal_of_what_was_recorded_is_shown_and_can_be_ordered(species: str, kg: str, mg: str) -> None:
    """U26: 5 mcg/kg dexmedetomidine; ten times in a dog, five times in a cat: 0.5 mg of 50 mcg, 0.1 mg of 20 mcg."""
    t = Telling(species, kg)
    t.order("o1", "dexmedetomidine", "premedication", "IM", "5", "5", "mcg/kg")
    was = d(kg) * 5 / 1000
    t.tell(ev.DrugGiven, drug="dexmedetomidine", amount=was, unit="mg", volume_ml=was * 2, concentration="0.5 mg/mL",
           route="IM", order="o1")  # fmt: skip
    t.at(30)
    (line,) = case_view(t.case, 1, t.facts, t.now).recover.reversals
    assert (line.drug, line.route, line.reversal, line.refusal) == ("atipamezole", "IM", True, None)
    assert line.dose is not None and (line.dose.text, line.dose.unit) == (mg, "mg")
    assert line.dose.working is not None and "recorded" in line.dose.working.says
    assert line.volume is not None and line.delivered is not None and d(line.delivered.text) <= d(mg)
    t.order("o2", "atipamezole", "reversal", "IM", "0.05", "0.05")
    ml = (d(kg) * d("0.05") / 5).normalize()
    back = of_vial("atipamezole", str(ml), "5 mg/mL", str(ml * 5), route="IM", order="o2", purpose="reversal")
    t.tell(ev.DrugGiven, **back)
    assert [x.order for x in case_view(t.case, 1, t.facts, t.now).recover.reversals] == ["o2"]


def test_the_reversal_stops_at_its_stop_and_waits_for_ketamine() -> None:
    """U26: 0.3 mg/kg IM and no more; not within 40 min of ketamine (label)."""
    t = Telling()
    with pytest.raises(Refusal) as turned:
        t.order("o2", "atipamezole", "reversal", "IM", "0.31", "0.31")
    assert turned.value.field == "dose"
    t.tell(ev.DrugGiven, **sedated(t))
    t.order("o3", "ketamine", "induction", "IV", "2", "2")
    t.tell(ev.DrugGiven, **of_vial("ketamine", "0.2", "100 mg/mL", "20", order="o3", purpose="induction"))
    t.at(20)
    (line,) = case_view(t.case, 1, t.facts, t.now).recover.reversals
    assert line.refusal is not None and "ketamine" in line.refusal.says and line.volume is None
    over = of_vial("atipamezole", "0.62", "5 mg/mL", "3.1", route="IM", purpose="reversal", by="vet")
    t.at(60).refused(OverLimit, "dose", ev.DrugGiven, **over)


# ---- page and decision say the same


@pytest.mark.parametrize(
    ("drug", "purpose", "route", "dose", "holds"),
    [
        ("methadone", "premedication", "IM", "0.2", "10 mg/mL"),
        ("acepromazine", "premedication", "IM", "0.02", "2 mg/mL"),
        ("propofol", "induction", "IV", "4", "10 mg/mL"),
        ("carprofen", "analgesia", "SC", "4", "50 mg/mL"),
        ("lidocaine", "local block", "infiltration", "3", "20 mg/mL"),
    ],
)
def test_the_ladder_and_the_decision_agree(drug: str, purpose: str, route: str, dose: str, holds: str) -> None:
    """U29: a rung up to the order is written as it stands, the first above it is refused; the bar ends at the row's stop."""
    t = Telling()
    t.order("o1", drug, purpose, route, dose, dose, concentration=holds)
    (line,) = case_view(t.case, 1, t.facts, t.now).plan.lines
    assert line.ladder is not None and line.bar is not None and line.volume_ml is not None
    row = prepared(t.case, orders(t.case)[0], t.facts, t.now).row
    assert row is not None
    stop = row.guardrail(d("10")).hard_high
    assert line.bar.hard == (None if stop is None else float(stop.value))
    for rung in line.ladder.rungs:
        if abs(rung.ml - line.volume_ml) > 1.5 * line.ladder.mark_ml:
            continue
        push = {"drug": line.drug, "amount": d(str(rung.amount)), "unit": line.ladder.unit, "volume_ml": d(str(rung.ml)),
                "concentration": line.strength, "route": line.route, "purpose": line.purpose, "order": "o1"}  # fmt: skip
        if rung.ml > line.volume_ml:
            t.refused(OverLimit, "dose", ev.DrugGiven, **push)
        else:
            decide(t.case, t.made(ev.DrugGiven, **push), t.facts, t.now)


def test_new_fields_have_empty_defaults() -> None:
    """D10: entries of before are read as they were."""
    for kind in (ev.VialPicked, ev.SyringeDrawn, ev.DrugGiven):
        form = next(f for f in msgspec.structs.fields(kind) if f.name == "form")
        assert form.default == ""
