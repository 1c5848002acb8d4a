"""Syringes, pushes, infusions and fluids: nothing goes in that does not add up, and no limit is passed in silence.

Limits are the tables' own: methadone IM dog 1.0 mg/kg (label), bupivacaine 2 mg/kg and lidocaine 5 mg/kg in dogs summed as
fractions (common practice), crystalloid bolus 20 mL/kg in all in dogs before asking (guideline).
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.case.syringes import infusions, syringe
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    NotAllowed,
    NotMeasurable,
    OutOfRange,
    OverLimit,
    Unknown,
    UnlikeUnits,
)


def ready(**kind: str) -> Telling:
    """A 10 kg dog with methadone 0.2 mg/kg IM ordered: 2 mg, 0.2 mL of 10 mg/mL, drawn in a 1 mL syringe."""
    t = Telling(**kind)
    t.order()
    t.draw()
    return t


# ---- syringes


def drawn(**more: object) -> dict[str, object]:
    return {"syringe": "s9", "order": "o1", "drug": "methadone", "vial_concentration": "10 mg/mL", "concentration": "10 mg/mL",
            "volume_ml": d("0.2"), "drug_volume_ml": d("0.2"), "barrel": "1 mL", **more}  # fmt: skip


def test_a_syringe_shows_whole_marks() -> None:
    t = ready()
    t.refused(NotMeasurable, "volume", ev.SyringeDrawn, **drawn(volume_ml=d("0.205"), drug_volume_ml=d("0.205")))
    t.refused(NotMeasurable, "volume", ev.SyringeDrawn, **drawn(volume_ml=d("1.2"), drug_volume_ml=d("1.2")))
    t.refused(Unknown, "syringe", ev.SyringeDrawn, **drawn(barrel="7 mL"))
    t.refused(Contradiction, "syringe", ev.SyringeDrawn, **drawn(syringe="s1"))
    t.tell(ev.SyringeDrawn, **drawn())


def test_a_dilution_adds_up() -> None:
    """U10: 0.2 mL of 10 mg/mL made up to 2 mL is 1 mg/mL."""
    t = ready()
    weak = drawn(volume_ml=d("2"), drug_volume_ml=d("0.2"), diluent_volume_ml=d("1.8"), diluent="saline", barrel="3 mL")
    wrong = t.refused(Contradiction, "concentration", ev.SyringeDrawn, **weak)
    assert wrong.use == "1 mg/mL"
    t.refused(Contradiction, "volume", ev.SyringeDrawn, **{**weak, "diluent_volume_ml": d("1.6")})
    t.refused(Missing, "diluent", ev.SyringeDrawn, **{**weak, "diluent": "", "concentration": "1 mg/mL"})
    t.refused(UnlikeUnits, "concentration", ev.SyringeDrawn, **{**weak, "concentration": "1 IU/mL"})
    t.tell(ev.SyringeDrawn, **{**weak, "concentration": "1 mg/mL"})


def test_a_syringe_is_of_its_orders_drug_seen_by_someone_else_and_in_date() -> None:
    t = ready()
    t.refused(Contradiction, "order", ev.SyringeDrawn, **drawn(drug="propofol"))
    t.refused(Contradiction, "seen by", ev.SyringeDrawn, **drawn(seen_by="tec"))
    t.refused(OutOfRange, "expires", ev.SyringeDrawn, **drawn(expires="2026-04"))
    t.refused(OutOfRange, "expires", ev.SyringeDrawn, **drawn(expires="2026-05-03"))
    t.tell(ev.SyringeDrawn, **drawn(expires="2026-05", seen_by="two"))


def test_what_is_thrown_away_was_there_and_somebody_saw_it() -> None:
    """D22: a second person, and no more than was left."""
    t = ready()
    t.tell(ev.DrugGiven, **t.push("0.1", "1"))
    waste = {"syringe": "s1", "drug": "methadone", "volume_ml": d("0.1")}
    t.refused(Missing, "witness", ev.DrugWasted, **waste)
    t.refused(Contradiction, "witness", ev.DrugWasted, **waste, witness="tec")
    t.refused(OutOfRange, "volume", ev.DrugWasted, **{**waste, "volume_ml": d("0.11")}, witness="two")
    t.tell(ev.DrugWasted, **waste, witness="two")
    found = syringe(t.case, "s1")
    assert found is not None and (found.given_ml, found.wasted_ml, found.left_ml) == (d("0.1"), d("0.1"), 0)


# ---- pushes


def test_the_amount_is_worked_again() -> None:
    """U1, U4: volume times strength, here."""
    t = ready()
    t.refused(Contradiction, "amount", ev.DrugGiven, **t.push("0.2", "20"))
    t.refused(Contradiction, "amount", ev.DrugGiven, **t.push("0.2", "2.01"))
    t.refused(UnlikeUnits, "unit", ev.DrugGiven, **{**t.push("0.2", "2"), "unit": "IU"})
    t.refused(Contradiction, "concentration", ev.DrugGiven, **t.push("0.2", "2", concentration="1 mg/mL"))
    t.refused(Missing, "volume", ev.DrugGiven, **{**t.push("0.2", "2"), "volume_ml": None})
    t.tell(ev.DrugGiven, **{**t.push("0.2", "2000"), "unit": "mcg"})


def test_no_more_goes_in_than_is_left() -> None:
    t = ready()
    t.tell(ev.DrugGiven, **t.push("0.15", "1.5"))
    t.at(10).refused(OutOfRange, "volume", ev.DrugGiven, **t.push("0.06", "0.6"))


def test_a_struck_push_is_back_in_the_syringe() -> None:
    t = ready()
    wrong = t.tell(ev.DrugGiven, **t.push("0.2", "2"))
    t.tell(ev.EntryStruck, target=wrong, reason="not given")
    t.tell(ev.DrugGiven, **t.push("0.2", "2"))


def test_nothing_goes_in_without_an_order_or_a_word() -> None:
    t = ready()
    t.refused(Missing, "order", ev.DrugGiven, **t.push("0.2", "2", order=""))
    t.refused(Unknown, "order", ev.DrugGiven, **t.push("0.2", "2", order="o7"))
    t.refused(Contradiction, "route", ev.DrugGiven, **t.push("0.2", "2", route="IV"))
    t.refused(NotAllowed, "said by", ev.DrugGiven, **t.push("0.2", "2", order="", said_by="two", reason="as always"))
    t.refused(Missing, "reason", ev.DrugGiven, **t.push("0.2", "2", order="", said_by="vet"))
    t.tell(ev.DrugGiven, **t.push("0.2", "2", order="", said_by="vet", reason="said in the room"))


def test_over_the_order_needs_a_word() -> None:
    """U29: a veterinarian's, with a reason."""
    t = Telling()
    t.order()
    t.draw(ml="0.5")
    t.tell(ev.DrugGiven, **t.push("0.15", "1.5"))
    t.at(20)
    t.refused(OverLimit, "dose", ev.DrugGiven, **t.push("0.06", "0.6"))
    t.tell(ev.DrugGiven, **t.push("0.05", "0.5"))
    t.at(40).tell(ev.DrugGiven, **t.push("0.1", "1", said_by="vet", reason="still barking"))


def test_increments_to_effect_stop_at_the_order() -> None:
    """Propofol 2 to 4 mg/kg in 10 kg: 40 mg, 4 mL; four pushes of 1 mL fit, a fifth does not."""
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "2", "4")
    t.draw(drug="propofol", ml="8", barrel="10 mL")
    for n in range(4):
        t.now += timedelta(seconds=20)
        t.tell(ev.DrugGiven, **t.push("1", "10", drug="propofol", route="IV", purpose="induction"))
        assert syringe(t.case, "s1").pushes == n + 1  # type: ignore[union-attr]
    t.now += timedelta(seconds=20)
    t.refused(OverLimit, "dose", ev.DrugGiven, **t.push("1", "10", drug="propofol", route="IV", purpose="induction"))


def test_over_the_hard_stop_needs_a_word_and_a_reason_even_inside_the_order() -> None:
    """The sum counts: 0.9 + 0.2 mg/kg of methadone IM passes 1.0, each order alone does not."""
    t = Telling()
    t.order(high="0.9", low="0.5")
    t.order("o2", high="0.2")
    t.draw(ml="0.9")
    t.draw("s2", "o2", ml="0.2")
    t.tell(ev.DrugGiven, **t.push("0.9", "9"))
    t.at(10)
    over = t.push("0.2", "2", syringe="s2", order="o2")
    assert "1.1 mg/kg" in t.refused(OverLimit, "dose", ev.DrugGiven, **over).says
    t.tell(ev.DrugGiven, **over, said_by="vet", reason="not touched by the first dose")


def test_local_anaesthetics_share_one_ceiling() -> None:
    """U24: Lidocaine 3 mg/kg is 60 % of 5 mg/kg; bupivacaine 1 mg/kg is 50 % of 2 mg/kg: together over the ceiling, at the order
    already; 0.8 mg/kg is 40 % and fits."""
    t = Telling()
    t.order("o1", "lidocaine", "local block", "infiltration", "3", "3")
    block = {
        "drug": "bupivacaine",
        "purpose": "local block",
        "route": "infiltration",
        "unit": "mg/kg",
        "ordered_by": "vet",
    }
    refusal = t.refused(OverLimit, "dose", ev.DrugOrdered, order="o2", low=d("1"), high=d("1"), **block)
    assert "110 %" in refusal.says and "at most 8 mg" in refusal.accepts
    t.order("o2", "bupivacaine", "local block", "infiltration", "0.8", "0.8")
    t.draw("s1", "o1", "lidocaine", "1.5", "20 mg/mL", "3 mL")
    t.draw("s2", "o2", "bupivacaine", "1.6", "5 mg/mL", "3 mL")
    t.tell(ev.DrugGiven, **t.push("1.5", "30", drug="lidocaine", route="infiltration", site="flank"))
    t.at(20)
    t.tell(ev.DrugGiven, **t.push("1.6", "8", drug="bupivacaine", syringe="s2", order="o2", route="infiltration"))


def test_the_same_drug_so_soon_is_asked_about() -> None:
    """U19: meant, or entered twice?"""
    t = Telling()
    t.order()
    t.draw(ml="0.5")
    t.tell(ev.DrugGiven, **t.push("0.1", "1"))
    t.at(1).refused(AskAgain, "drug", ev.DrugGiven, **t.push("0.1", "1"))
    t.tell(ev.DrugGiven, **t.push("0.1", "1", confirmed=True))


@pytest.mark.parametrize("mg", ["1", "5000"])
def test_an_emergency_dose_is_never_blocked(mg: str) -> None:
    """D36: Not by a missing order, weight, syringe or name, nor by any limit, nor after signing."""
    bare = Telling(weighed=False)
    fields = {"drug": "epinephrine", "amount": d(mg), "unit": "mg", "route": "IV", "emergency": True}
    bare.tell(ev.DrugGiven, **fields, by="unknown")
    bare.tell(ev.RecordSigned, role="technician")
    bare.tell(ev.RecordSigned, role="veterinarian", by="vet")
    bare.tell(ev.DrugGiven, **fields)


def test_without_a_weight_no_dose_is_held_and_none_is_given() -> None:
    """U4: nor drawn under an order that cannot be held."""
    t = Telling(weighed=False)
    t.order()
    t.refused(Missing, "weight", ev.SyringeDrawn, **{**drawn(), "syringe": "s1"})
    t.refused(Missing, "weight", ev.DrugGiven, **free_push())


def free_push() -> dict[str, object]:
    return {"drug": "methadone", "amount": d("2"), "unit": "mg", "volume_ml": d("0.2"), "concentration": "10 mg/mL",
            "route": "IM", "order": "o1"}  # fmt: skip


# ---- what runs


def test_an_infusion_agrees_with_itself_and_with_its_order() -> None:
    """U3: Fentanyl 5 mcg/kg/h in 10 kg is 50 mcg/h: 1 mL/h of 0.05 mg/mL."""
    t = Telling()
    t.order("o1", "fentanyl", "analgesia", "IV", "5", "5", "mcg/kg/h")
    runs = {"infusion": "f1", "drug": "fentanyl", "concentration": "0.05 mg/mL", "order": "o1"}
    told = {"dose_rate": d("5"), "dose_unit": "mcg/kg/h"}
    t.refused(Contradiction, "dose rate", ev.InfusionStarted, **runs, rate_ml_h=d("10"), **told)
    t.refused(OverLimit, "rate", ev.InfusionStarted, **runs, rate_ml_h=d("1.1"))
    t.refused(Missing, "order", ev.InfusionStarted, **{**runs, "order": ""}, rate_ml_h=d("1"))
    t.tell(ev.InfusionStarted, **runs, rate_ml_h=d("1"), **told)
    t.refused(Contradiction, "infusion", ev.InfusionStarted, **runs, rate_ml_h=d("1"))
    t.at(30).refused(OverLimit, "rate", ev.InfusionChanged, infusion="f1", rate_ml_h=d("2"))
    t.tell(ev.InfusionChanged, infusion="f1", rate_ml_h=d("0.5"))
    t.at(90).tell(ev.InfusionStopped, infusion="f1")
    t.refused(Contradiction, "infusion", ev.InfusionStopped, infusion="f1")
    t.refused(Unknown, "infusion", ev.InfusionChanged, infusion="f2", rate_ml_h=d("1"))
    (ran,) = infusions(t.case)
    assert ran.volume_ml(t.now) == 1, "half an hour at 1 mL/h and an hour at 0.5 mL/h"


def test_a_fluid_without_an_order_keeps_to_the_ceiling_of_a_rate() -> None:
    """C7: 10 mL/kg/h as a rate (guideline): 100 mL/h in 10 kg."""
    t = Telling()
    runs = {"infusion": "f1", "drug": "isotonic_crystalloid", "fluid": True}
    t.refused(OverLimit, "rate", ev.InfusionStarted, **runs, rate_ml_h=d("101"))
    t.tell(ev.InfusionStarted, **runs, rate_ml_h=d("100"))


def test_fluid_boluses_are_summed_before_the_next_one() -> None:
    """C7: Dogs: 20 mL/kg in all, then ask: 200 mL in 10 kg."""
    t = Telling()
    t.tell(ev.FluidGiven, fluid="isotonic_crystalloid", volume_ml=d("150"))
    t.at(20)
    with pytest.raises(OverLimit):
        t.tell(ev.FluidGiven, fluid="isotonic_crystalloid", volume_ml=d("60"))
    t.tell(ev.FluidGiven, fluid="isotonic_crystalloid", volume_ml=d("60"), said_by="vet", reason="bleeding")
