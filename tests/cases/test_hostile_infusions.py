"""What runs, and fluids: no field of the sender's opens a way round an order, a stop or a row that says never.

Limits are the tables' own: lidocaine under anaesthesia in dogs to 80 mcg/kg/min and not for analgesia in cats, potassium
chloride to 0.5 mEq/kg/h and never as a push, crystalloid 10 mL/kg/h as a rate and 20 mL/kg in boluses in dogs (guidelines
and labels as the tables cite them), whole blood 20 mL/kg.
"""

from __future__ import annotations

import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed, OverLimit, Refusal, Unknown
from spiracle.sheets.case_view import case_view


def running(drug: str, ml_h: str, **more: object) -> dict[str, object]:
    return {"infusion": "i1", "drug": drug, "rate_ml_h": d(ml_h), **more}


def lidocaine(t: Telling) -> None:
    """50 mcg/kg/min in 10 kg is 30 mg/h: 1.5 mL/h of 20 mg/mL."""
    t.order("o1", "lidocaine", "analgesia", "IV", "50", "50", "mcg/kg/min")


def of_order(ml_h: str, infusion: str = "i1", **more: object) -> dict[str, object]:
    return running("lidocaine", ml_h, **{"infusion": infusion, "concentration": "20 mg/mL", "order": "o1", **more})


# ---- what is a fluid


@pytest.mark.parametrize(
    ("drug", "holds"),
    [
        ("potassium chloride", "2 mEq/mL"),
        ("dexmedetomidine", "0.5 mg/mL"),
        ("propofol", "10 mg/mL"),
        ("dextrose_50", ""),
    ],
)
@pytest.mark.parametrize("kind", ["elective", "emergency"])
def test_a_drug_does_not_run_as_a_fluid(drug: str, holds: str, kind: str) -> None:
    """U13, D20: what is a fluid stands in the formulary, whoever says otherwise."""
    t = Telling(kind=kind)
    t.refused(
        Contradiction, "fluid", ev.InfusionStarted, **running(drug, "100", concentration=holds, fluid=True, by="stu")
    )


@pytest.mark.parametrize("fluid", ["potassium chloride 2 mEq/mL", "potassium chloride", "propofol", "milk", ""])
@pytest.mark.parametrize("kind", ["elective", "emergency"])
def test_a_drug_is_not_given_as_a_fluid(fluid: str, kind: str) -> None:
    """U13, C7, D20: a bolus is of a fluid on the list; a drug or a strength in its name is entered as a drug."""
    t = Telling(kind=kind)
    with pytest.raises(Refusal) as turned:
        t.tell(ev.FluidGiven, fluid=fluid, volume_ml=d("20"), by="stu")
    assert (type(turned.value), turned.value.field) in {(Unknown, "fluid"), (Contradiction, "fluid")}
    assert "crystalloid" in turned.value.accepts or "as a drug" in turned.value.accepts


def test_blood_and_the_like_wait_for_a_veterinarian() -> None:
    """C7, D20: no unit of blood on a student's word; nor more than ordered, nor past its own stop."""
    t = Telling()
    blood = {"fluid": "whole_blood", "volume_ml": d("100")}
    t.refused(Missing, "order", ev.FluidGiven, **blood, by="stu")
    t.refused(Missing, "order", ev.InfusionStarted, **running("whole_blood", "50", fluid=True))
    t.order("o1", "whole_blood", "transfusion", "IV", "12", "15", "mL/kg")
    t.tell(ev.FluidGiven, **blood, order="o1")
    t.refused(OverLimit, "volume", ev.FluidGiven, **blood, order="o1")
    t.tell(ev.FluidGiven, fluid="whole_blood", volume_ml=d("50"), order="o1")
    t.refused(OverLimit, "volume", ev.FluidGiven, fluid="whole_blood", volume_ml=d("60"), by="vet")
    t.tell(ev.FluidGiven, fluid="whole_blood", volume_ml=d("60"), said_by="vet", reason="still bleeding")
    t.refused(Contradiction, "order", ev.FluidGiven, fluid="isotonic_crystalloid", volume_ml=d("10"), order="o1")
    t.refused(Unknown, "order", ev.FluidGiven, fluid="isotonic_crystalloid", volume_ml=d("10"), order="o9")


def test_strong_salt_keeps_to_its_speed() -> None:
    """C7: hypertonic saline in dogs not faster than 1 mL/kg/min, from memory in the table."""
    t = Telling()
    salt = {"fluid": "hypertonic_saline", "volume_ml": d("40"), "by": "vet"}
    t.refused(OverLimit, "volume", ev.FluidGiven, **salt, minutes=2)
    t.tell(ev.FluidGiven, **salt, minutes=5)


def test_an_emergency_bolus_waits_for_nothing() -> None:
    """D14: no weight, no order, no total; only that it is a fluid."""
    t = Telling(kind="emergency", weighed=False)
    t.tell(ev.FluidGiven, fluid="whole_blood", volume_ml=d("900"), by="stu")
    t.refused(Contradiction, "fluid", ev.FluidGiven, fluid="propofol", volume_ml=d("20"))


def test_all_fluids_that_run_share_the_ceiling() -> None:
    """C7: two bags at 60 mL/h are 12 mL/kg/h in 10 kg: the second waits for an order."""
    t = Telling()
    t.tell(ev.InfusionStarted, **running("isotonic_crystalloid", "60", fluid=True))
    over = running("isotonic_crystalloid", "60", infusion="i2", fluid=True)
    t.refused(OverLimit, "rate", ev.InfusionStarted, **over)
    t.tell(ev.InfusionStarted, **{**over, "rate_ml_h": d("40")})
    t.refused(OverLimit, "rate", ev.InfusionChanged, infusion="i2", rate_ml_h=d("41"))
    t.tell(ev.InfusionStopped, infusion="i1")
    t.tell(ev.InfusionChanged, infusion="i2", rate_ml_h=d("100"))


def test_a_cat_with_heart_disease_has_half_the_ceiling() -> None:
    """C7: the row of a cat's heart stops at 5 mL/kg/h: 20 mL/h in 4 kg."""
    t = Telling("cat", "4")
    t.tell(ev.HistoryTaken, conditions=("heart-disease",))
    t.refused(OverLimit, "rate", ev.InfusionStarted, **running("isotonic_crystalloid", "21", fluid=True))
    t.tell(ev.InfusionStarted, **running("isotonic_crystalloid", "20", fluid=True))


# ---- under an order


def test_an_order_without_a_time_is_no_rate() -> None:
    """U3, U13: 4 mg/kg says nothing of mL/h."""
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "4", "4")
    runs = running("propofol", "1000", concentration="10 mg/mL", order="o1", by="stu")
    t.refused(Contradiction, "order", ev.InfusionStarted, **runs)
    t.refused(Contradiction, "order", ev.InfusionStarted, **{**runs, "rate_ml_h": d("0.1")})


def test_pumps_of_one_order_are_one_rate() -> None:
    """U13: three pumps at the ordered rate are three times the order."""
    t = Telling()
    lidocaine(t)
    t.tell(ev.InfusionStarted, **of_order("1"))
    t.refused(OverLimit, "rate", ev.InfusionStarted, **of_order("1", "i2"))
    t.tell(ev.InfusionStarted, **of_order("0.5", "i2"))
    t.refused(OverLimit, "rate", ev.InfusionChanged, infusion="i2", rate_ml_h=d("0.7"))
    t.tell(ev.InfusionStopped, infusion="i1")
    t.tell(ev.InfusionChanged, infusion="i2", rate_ml_h=d("1.5"))


def test_orders_of_one_drug_share_its_stop() -> None:
    """U13: twice 50 mcg/kg/min passes the stop of 80, each order alone does not."""
    t = Telling()
    lidocaine(t)
    t.order("o2", "lidocaine", "maintenance", "IV", "50", "50", "mcg/kg/min")
    t.tell(ev.InfusionStarted, **of_order("1.5"))
    second = of_order("1.5", "i2", order="o2")
    assert "100 mcg/kg/min" in t.refused(OverLimit, "rate", ev.InfusionStarted, **second).says
    t.tell(ev.InfusionStarted, **second, said_by="vet", reason="rhythm")


def test_a_condition_found_after_the_order_stops_the_pump() -> None:
    """U14: heart disease came after the order of dexmedetomidine."""
    t = Telling()
    t.order("o1", "dexmedetomidine", "sedation", "IV", "1", "1", "mcg/kg/h")
    t.tell(ev.HistoryTaken, conditions=("heart-disease",))
    runs = running("dexmedetomidine", "0.02", concentration="0.5 mg/mL", order="o1")
    t.refused(OverLimit, "caution", ev.InfusionStarted, **runs)
    t.tell(ev.InfusionStarted, **runs, said_by="vet", reason="echo was normal")


def test_a_pump_is_not_started_before_its_order() -> None:
    """D20: an order given afterwards covers nothing."""
    t = Telling()
    begun = t.now
    t.at(30)
    lidocaine(t)
    t.refused(Contradiction, "order", ev.InfusionStarted, **of_order("1", happened_at=begun))


# ---- whose hand


def test_a_veterinarian_without_an_order_is_held_to_stops() -> None:
    """U13, U14, D20: by his own hand inside the row; over its stop with a reason."""
    t = Telling()
    runs = running("propofol", "2000", concentration="10 mg/mL", by="vet")
    t.refused(OverLimit, "rate", ev.InfusionStarted, **runs)
    t.tell(ev.InfusionStarted, **{**runs, "rate_ml_h": d("24")})
    t.refused(OverLimit, "rate", ev.InfusionChanged, infusion="i1", rate_ml_h=d("40"), by="vet")
    t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("40"), by="vet", reason="moved")


def test_past_what_is_published_a_veterinarian_is_asked() -> None:
    """U13: alfaxalone has no stop as a rate; 0.15 mg/kg/min is 9 mL/h of 10 mg/mL in 10 kg."""
    t = Telling()
    runs = running("alfaxalone", "90", concentration="10 mg/mL", by="vet")
    t.refused(AskAgain, "rate", ev.InfusionStarted, **runs)
    t.tell(ev.InfusionStarted, **{**runs, "rate_ml_h": d("9")})


def test_without_a_row_nothing_runs_on_a_hand_alone() -> None:
    """U14, D20: methadone has no row for running into a cat."""
    t = Telling("cat", "4")
    runs = running("methadone", "0.1", concentration="10 mg/mL", by="vet")
    t.refused(Unknown, "rate", ev.InfusionStarted, **runs)
    t.tell(ev.InfusionStarted, **runs, said_by="vet", reason="no other opioid here")


@pytest.mark.parametrize("kind", ["elective", "emergency"])
@pytest.mark.parametrize("drug", ["lidocaine", "potassium_chloride"])
def test_what_is_never_run_asks_always(drug: str, kind: str) -> None:
    """U14, D20: lidocaine into a cat and undiluted potassium need a veterinarian's name and reason, an emergency or not."""
    t = Telling("cat", "4", kind=kind)
    holds = {"lidocaine": "20 mg/mL", "potassium_chloride": "2 mEq/mL"}[drug]
    runs = running(drug, "100", concentration=holds)
    t.refused(OverLimit, "drug", ev.InfusionStarted, **runs, by="vet")
    t.refused(OverLimit, "drug", ev.InfusionStarted, **runs, by="stu")
    t.refused(Missing, "reason", ev.InfusionStarted, **runs, by="vet", said_by="vet")
    t.refused(NotAllowed, "said by", ev.InfusionStarted, **runs, said_by="two", reason="as always")
    t.tell(ev.InfusionStarted, **runs, by="vet", said_by="vet", reason="nothing else is left")


def test_made_up_potassium_keeps_to_its_rate() -> None:
    """U13, U14: 20 mEq in 500 mL is 0.04 mEq/mL: 125 mL/h are the 0.5 mEq/kg/h of 10 kg, more amounts to a push."""
    t = Telling()
    t.order("o1", "potassium_chloride", "hypokalaemia", "IV", "0.5", "0.5", "mEq/kg/h")
    t.tell(ev.SyringeDrawn, syringe="bag", order="o1", drug="potassium_chloride", vial_concentration="2 mEq/mL",
           concentration="0.04 mEq/mL", volume_ml=d("500"), drug_volume_ml=d("10"), diluent_volume_ml=d("490"),
           diluent="0.9 % saline")  # fmt: skip
    runs = running("potassium_chloride", "125", syringe="bag", order="o1")
    t.refused(OverLimit, "drug", ev.InfusionStarted, **{**runs, "rate_ml_h": d("140")})
    t.refused(
        OverLimit,
        "drug",
        ev.InfusionStarted,
        **{**runs, "syringe": "", "concentration": "2 mEq/mL", "rate_ml_h": d("2")},
    )
    t.tell(ev.InfusionStarted, **runs)


def test_nobody_turns_up_what_runs_on_a_veterinarians_hand() -> None:
    """D20: down is free, up is an order."""
    t = Telling()
    t.tell(ev.InfusionStarted, **running("fentanyl", "2", concentration="0.05 mg/mL", by="vet"))
    t.refused(Missing, "order", ev.InfusionChanged, infusion="i1", rate_ml_h=d("2.1"), by="stu")
    t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("1"), by="stu")
    t.refused(Missing, "order", ev.InfusionChanged, infusion="i1", rate_ml_h=d("2"), by="stu")


def test_in_an_emergency_a_pump_is_read_but_not_blocked() -> None:
    """D14: over any stop, without an order; but a drug there is, and a dose rate that follows from the pump."""
    t = Telling(kind="emergency")
    runs = running("norepinephrine", "60", concentration="0.04 mg/mL", by="unknown")
    t.refused(Contradiction, "dose rate", ev.InfusionStarted, **runs, dose_rate=d("0.4"), dose_unit="mcg/kg/min")
    t.refused(Unknown, "drug", ev.InfusionStarted, **{**runs, "drug": "noradrenalline"})
    t.tell(ev.InfusionStarted, **runs, dose_rate=d("4"), dose_unit="mcg/kg/min")


def test_an_arrest_in_a_planned_case_is_an_emergency() -> None:
    """D14: from the call until it has ended."""
    t = Telling()
    runs = running("norepinephrine", "60", concentration="0.04 mg/mL")
    t.refused(AskAgain, "concentration", ev.InfusionStarted, **runs)
    t.refused(Missing, "order", ev.InfusionStarted, **runs, confirmed=True)
    t.tell(ev.ArrestBegan)
    t.tell(ev.InfusionStarted, **runs)


# ---- what is in it


@pytest.mark.parametrize(("drug", "holds"), [("fentanyl", "0.005 mg/mL"), ("lidocaine", "1 mg/mL")])
def test_a_strength_nobody_stocks_is_asked_about(drug: str, holds: str) -> None:
    """U3: the real syringe may hold ten times as much; the question names what is stocked."""
    t = Telling()
    dose, unit = ("5", "mcg/kg/h") if drug == "fentanyl" else ("25", "mcg/kg/min")
    t.order("o1", drug, "analgesia", "IV", dose, dose, unit)
    runs = running(drug, "1", concentration=holds, order="o1")
    asked = t.refused(AskAgain, "concentration", ev.InfusionStarted, **runs)
    assert {"fentanyl": "0.05 mg/mL", "lidocaine": "20 mg/mL"}[drug] in asked.accepts.replace("50 mcg/mL", "0.05 mg/mL")
    t.tell(ev.InfusionStarted, **runs, confirmed=True)


def test_the_label_of_the_syringe_says_what_runs() -> None:
    """U3, U13: a pump names its syringe; another strength than on its label is refused."""
    t = Telling()
    lidocaine(t)
    t.tell(ev.SyringeDrawn, syringe="s1", order="o1", drug="lidocaine", vial_concentration="20 mg/mL",
           concentration="2 mg/mL", volume_ml=d("20"), drug_volume_ml=d("2"), diluent_volume_ml=d("18"),
           diluent="0.9 % saline", barrel="20 mL")  # fmt: skip
    runs = running("lidocaine", "15", syringe="s1", order="o1")
    t.refused(Contradiction, "concentration", ev.InfusionStarted, **runs, concentration="20 mg/mL")
    t.refused(Unknown, "syringe", ev.InfusionStarted, **{**runs, "syringe": "s7"})
    t.refused(OverLimit, "rate", ev.InfusionStarted, **{**runs, "rate_ml_h": d("16")})
    t.tell(ev.InfusionStarted, **runs)
    t.tell(
        ev.InfusionStarted,
        **running("lidocaine", "0.01", infusion="i2", concentration="2 mg/mL", said_by="vet", reason="r"),
    )


def test_a_planned_infusion_runs_as_the_plan_shows_it() -> None:
    """U3: rate and strength of the plan's line pass as they are, without a second question."""
    t = Telling(kg="2")
    t.order("o1", "fentanyl", "analgesia", "IV", "5", "5", "mcg/kg/h")
    (line,) = case_view(t.case, len(t.entries), t.facts, t.now).plan.lines
    assert line.dilution is not None and line.rate is not None
    holds, rate = line.dilution.concentration, line.rate.text
    t.tell(ev.InfusionStarted, **running("fentanyl", rate, concentration=holds, order="o1", route=line.route))


def test_a_total_far_from_rate_and_time_is_asked_about() -> None:
    """C7: 100 mL/h for an hour is no 9,999 mL; and nothing stops before its rate was last changed."""
    t = Telling()
    t.tell(ev.InfusionStarted, **running("isotonic_crystalloid", "50", fluid=True))
    early = t.at(10).now
    t.at(20).tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("60"))
    t.at(60).refused(Contradiction, "infusion", ev.InfusionStopped, infusion="i1", happened_at=early)
    t.refused(AskAgain, "total", ev.InfusionStopped, infusion="i1", total_ml=d("9999"))
    t.tell(ev.InfusionStopped, infusion="i1", total_ml=d("58"))


# ---- another weight


def test_another_weight_says_that_the_pump_runs_over_its_order() -> None:
    """U3, C7: 2 mL/h of 0.05 mg/mL are 5 mcg/kg/h in 20 kg and 10 in 10 kg; the pump has not changed, the dose has."""
    t = Telling(kg="20")
    t.order("o1", "fentanyl", "analgesia", "IV", "5", "5", "mcg/kg/h")
    t.tell(ev.InfusionStarted, **running("fentanyl", "2", concentration="0.05 mg/mL", order="o1"))
    t.at(1).tell(ev.InfusionStarted, **running("isotonic_crystalloid", "180", infusion="i2", fluid=True))
    before = case_view(t.case, len(t.entries), t.facts, t.now)
    assert [r.over_order for r in before.maintain.running] == ["", ""]
    t.at(5).tell(ev.Weighed, weight_kg=d("10"), method="scale", confirmed=True)
    view = case_view(t.case, len(t.entries), t.facts, t.now)
    drug, fluid = view.maintain.running
    assert "10 mcg/kg/h" in drug.over_order and "5 mcg/kg/h" in drug.over_order
    assert "180 mL/h" in fluid.over_order and "100 mL/h" in fluid.over_order
    said = {a.id: a for a in view.advice}
    assert said["rate i1"].priority == "medium" and "10 mcg/kg/h" in said["rate i1"].title
    t.refused(OverLimit, "rate", ev.InfusionChanged, infusion="i1", rate_ml_h=d("2.1"))
    t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("1"))
    assert "rate i1" not in {a.id for a in case_view(t.case, len(t.entries), t.facts, t.now).advice}


def test_a_fluid_is_a_fluid_on_the_chart_whatever_was_sent() -> None:
    """C7: an ordered crystalloid entered as an infusion stands among the fluids."""
    t = Telling()
    t.order("o1", "isotonic_crystalloid", "maintenance fluid", "IV", "5", "5", "mL/kg/h")
    t.tell(ev.InfusionStarted, **running("isotonic_crystalloid", "50", order="o1"))
    view = case_view(t.case, len(t.entries), t.facts, t.now)
    assert [b.kind for b in view.maintain.chart.bands] == ["fluid"]
    assert [r.fluid for r in view.maintain.running] == [True]
