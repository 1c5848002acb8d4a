"""What a second hostile reader found: each line was let through once, and is asked about or refused now.

The figures are rows of the tables with their sources there; intervals of a "once" and of the ward's day are common practice, from
memory.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from small_house import NINE, Telling, d
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.refusals import AskAgain, OutOfRange, OverLimit, Unknown, UnlikeUnits
from spiracle.sheets.case_view import case_view
from spiracle.sheets.reversal_lines import reversal_lines


def of_vial(drug: str, ml: str, holds: str, mg: str, route: str, **more: Any) -> dict[str, Any]:
    return {
        "drug": drug,
        "amount": d(mg),
        "unit": "mg",
        "volume_ml": d(ml),
        "concentration": holds,
        "route": route,
        **more,
    }


def ward(t: Telling, drug: str, amount: str, unit: str, route: str, hours: float) -> dict[str, Any]:
    return {"drug": drug, "amount": d(amount), "unit": unit, "route": route, "given_at": t.now - timedelta(hours=hours),
            "by_whom": "the night nurse", "where": "ward"}  # fmt: skip


# ---- one yes, one question


def test_one_yes_answers_one_question() -> None:
    """U4, U9: a yes to the strength is no yes to the allergy, nor to the methadone of ten minutes ago."""
    t = Telling()
    t.order()
    t.tell(ev.AllergiesAsked, allergies=("methadone",))
    t.tell(ev.GivenBefore, **{**ward(t, "methadone", "2", "mg", "IM", 1), "given_at": t.now - timedelta(minutes=10)})
    push: dict[str, Any] = of_vial("methadone", "0.4", "5 mg/mL", "2", "IM", order="o1")
    first = t.refused(AskAgain, "concentration", ev.DrugGiven, **push)
    push |= {"confirmed": True, "answered": (first.says,)}
    second = t.refused(AskAgain, "drug", ev.DrugGiven, **push)
    assert "allergic" in second.says
    push["answered"] = (first.says, second.says)
    third = t.refused(AskAgain, "drug", ev.DrugGiven, **push)
    assert "10 min ago on ward by the night nurse" in third.says
    t.tell(ev.DrugGiven, **{**push, "answered": (first.says, second.says, third.says)})


def test_an_odd_diluent_hides_no_tenfold_draw() -> None:
    """U1, U10: the second question comes after the first was answered."""
    t = Telling()
    t.order()
    draw: dict[str, Any] = {
        "syringe": "s1", "order": "o1", "drug": "methadone", "vial_concentration": "10 mg/mL", "concentration": "5 mg/mL",
        "volume_ml": d("4"), "drug_volume_ml": d("2"), "diluent_volume_ml": d("2"), "diluent": "milk", "barrel": "5 mL",
    }  # fmt: skip
    first = t.refused(AskAgain, "diluent", ev.SyringeDrawn, **draw)
    draw |= {"confirmed": True, "answered": (first.says,)}
    second = t.refused(AskAgain, "volume", ev.SyringeDrawn, **draw)
    assert second.says == "the syringe would hold 20 mg: 10 times the 2 mg ordered."
    t.tell(ev.SyringeDrawn, **{**draw, "answered": (first.says, second.says)})


def test_a_tenth_in_the_syringe_is_asked_about_too() -> None:
    """U1: 0.02 mL drawn for 0.2 mL."""
    t = Telling(kg="50")
    t.order(high="0.4")
    low = {"ml": "0.1", "barrel": "1 mL"}
    with pytest.raises(AskAgain, match="1/10 of the 10 mg to 20 mg"):
        t.draw(**low)
    t.draw(**low, confirmed=True)


# ---- what an emergency lets through


def hung(t: Telling) -> None:
    """Half a litre with 58 mEq/L of potassium runs."""
    t.order("f", "isotonic_crystalloid", "maintenance fluid", "IV", "5", "5", "mL/kg/h")
    t.tell(ev.BagMixed, bag="b1", fluid="isotonic_crystalloid", bag_ml=d("500"), volume_ml=d("515"), by="vet", said_by="vet",
           reason="low potassium", confirmed=True,
           parts=(ev.BagPart(drug="potassium_chloride", vial_concentration="2 mEq/mL", drug_volume_ml=d("15")),))  # fmt: skip
    t.tell(ev.InfusionStarted, infusion="i1", drug="isotonic_crystalloid", bag="b1", route="IV", rate_ml_h=d("50"), fluid=True,
           bag_ml=d("515"), order="f", by="vet", said_by="vet", reason="low potassium", confirmed=True)  # fmt: skip


def test_no_bolus_from_a_bag_with_potassium_in_an_emergency_either() -> None:
    """U14: 58 mEq/L is asked about where time is short, and refused where it is not; the limit is from memory."""
    for kind, name in (("elective", OverLimit), ("emergency", AskAgain)):
        t = Telling(kind=kind)
        hung(t)
        bolus = {"fluid": "isotonic_crystalloid", "volume_ml": d("200"), "minutes": d("15"), "bag": "b1"}
        assert "potassium" in t.at(5).refused(name, "bag", ev.FluidGiven, **bolus).says


def test_the_word_emergency_opens_no_other_way_of_giving() -> None:
    """D14, U24: lidocaine is a rescue drug by vein; beside a nerve it is a block, whatever it is called."""
    t = Telling()
    push = of_vial("lidocaine", "15", "20 mg/mL", "300", "perineural", purpose="local block", emergency=True)
    t.refused(OverLimit, "dose", ev.DrugGiven, **push, by="vet")
    t.tell(ev.TroubleBegan, trouble="t1", kind="low-temperature")
    asked = t.refused(AskAgain, "dose", ev.DrugGiven, **push)
    t.tell(ev.DrugGiven, **push, confirmed=True, answered=(asked.says,))
    t.at(20).tell(ev.TroubleEnded, trouble="t1")
    small = of_vial("lidocaine", "0.5", "20 mg/mL", "10", "perineural", purpose="local block", by="vet")
    assert "over" in t.refused(OverLimit, "dose", ev.DrugGiven, **small).says, "what went in counts"


def test_a_cold_animal_is_asked_about_its_second_nsaid_and_an_old_vial() -> None:
    """U25, U27: any open trouble used to pass both unasked."""
    t = Telling()
    t.tell(ev.GivenBefore, **ward(t, "carprofen", "40", "mg", "SC", 2))
    t.order("o1", "carprofen", "analgesia", "SC", "4", "4")
    t.tell(ev.TroubleBegan, trouble="t1", kind="low-temperature")
    push = of_vial("carprofen", "0.8", "50 mg/mL", "40", "SC", order="o1")
    assert "2 h ago" in t.refused(AskAgain, "drug", ev.DrugGiven, **push).says
    draw = {"syringe": "s1", "order": "o1", "drug": "carprofen", "vial_concentration": "50 mg/mL", "concentration": "50 mg/mL",
            "volume_ml": d("0.8"), "drug_volume_ml": d("0.8"), "barrel": "1 mL", "expires": "2019-03"}  # fmt: skip
    t.refused(AskAgain, "expires", ev.SyringeDrawn, **draw)


@pytest.mark.parametrize(
    ("drug", "purpose", "dose", "unit"),
    [
        ("phenobarbital", "seizure", "60", "mg/kg"),
        ("esmolol", "arrhythmia", "5000", "mcg/kg"),
        ("diltiazem", "arrhythmia", "1", "mg/kg"),
        ("magnesium_sulfate", "arrhythmia", "300", "mg/kg"),
        ("epinephrine", "arrest", "0.1", "mg/kg"),
    ],
)
def test_a_slip_in_an_emergency_row_is_asked_about_while_nothing_is_wrong(
    drug: str, purpose: str, dose: str, unit: str
) -> None:
    """U1, U4: ordered calmly it is asked about, in trouble it is not."""
    t = Telling()
    with pytest.raises(AskAgain):
        t.order("o1", drug, purpose, "IV", dose, dose, unit)
    t.order("o1", drug, purpose, "IV", dose, dose, unit, over_hard_by="vet", reason="meant")
    t.tell(ev.TroubleBegan, trouble="t1", kind="hypotension")
    t.order("o2", drug, purpose, "IV", dose, dose, unit)


# ---- before the case


def test_a_ward_dose_in_a_unit_that_adds_up_nowhere_is_refused() -> None:
    """U24, U25: 20 mL of lidocaine of no strength stood in no ceiling."""
    t = Telling()
    for drug, amount, unit in (("lidocaine", "20", "mL"), ("bupivacaine", "5", "mEq"), ("methadone", "3", "IU")):
        assert "mg" in t.refused(UnlikeUnits, "unit", ev.GivenBefore, **ward(t, drug, amount, unit, "SC", 1)).accepts


def test_a_ward_dose_counts_against_the_stop_of_the_row() -> None:
    """U25: acepromazine at most 1 mg in all for this dog (its row): 1 mg on the ward leaves nothing; of two days ago it does."""
    push = of_vial("acepromazine", "0.45", "2 mg/mL", "0.9", "IV", order="o1")
    for hours, over in ((1, True), (48, False)):
        t = Telling(kg="30")
        t.tell(ev.GivenBefore, **ward(t, "acepromazine", "1", "mg", "IV", hours))
        t.order("o1", "acepromazine", "premedication", "IV", "0.03", "0.03")
        if over:
            t.refused(OverLimit, "dose", ev.DrugGiven, **push, confirmed=True)
        else:
            t.tell(ev.DrugGiven, **push, confirmed=True)


def test_a_ward_dose_is_reversed_and_a_reversed_one_is_not_again() -> None:
    """U26: 100 mcg of dexmedetomidine of the ward stands beside the orders of recovery; then it is said to be reversed."""
    t = Telling()
    t.tell(ev.GivenBefore, **ward(t, "dexmedetomidine", "100", "mcg", "IM", 1))

    def view() -> Any:
        return case_view(t.case, len(t.entries), t.facts, t.now)

    assert "as told" in next(r for r in reversal_lines(t.case, t.facts, t.now) if r.drug == "atipamezole").when

    def note() -> str:
        return next(i.note for i in view().emergency.drugs if i.drug == "atipamezole")

    assert "with the heart beating" in note()
    t.tell(
        ev.DrugGiven,
        **of_vial("atipamezole", "0.2", "5 mg/mL", "1", "IM", by="vet", purpose="reversal"),
        confirmed=True,
    )
    t.at(5)
    assert "reversed 5 min ago" in note() and "with the heart beating" not in note()


# ---- products and intervals


def test_a_product_goes_one_way_into_one_species() -> None:
    """U9: the strong products of buprenorphine are for cats, under or on the skin (their labels)."""
    t = Telling()
    with pytest.raises(OverLimit, match="for cats by skin"):
        t.order("o1", "buprenorphine", "premedication", "IM", "20", "20", "mcg/kg")
        t.draw("s1", "o1", "buprenorphine", "0.1", "20 mg/mL", confirmed=True)
    cat = Telling("cat", "4")
    cat.order("o1", "buprenorphine", "premedication", "IM", "20", "20", "mcg/kg")
    push = of_vial("buprenorphine", "0.04", "1.8 mg/mL", "0.072", "IM", order="o1")
    assert "for cats by SC" in cat.refused(OverLimit, "strength", ev.DrugGiven, **push, confirmed=True).says


def test_how_soon_an_nsaid_comes_again_hangs_on_its_dose() -> None:
    """U25: the row gives 2.2 mg/kg every 12 h or 4.4 mg/kg every 24 h."""
    for mg, apart, over in (("44", 13, True), ("22", 13, False), ("44", 25, False), ("22", 11, True)):
        t = Telling()
        t.tell(ev.GivenBefore, **ward(t, "carprofen", mg, "mg", "SC", apart))
        t.order("o1", "carprofen", "analgesia", "SC", "2.2", "2.2")
        push = of_vial("carprofen", "0.44", "50 mg/mL", "22", "SC", order="o1")
        if over:
            t.refused(OverLimit, "drug", ev.DrugGiven, **push)
        else:
            t.tell(ev.DrugGiven, **push)
    t = Telling()
    t.tell(ev.GivenBefore, **ward(t, "carprofen", "22", "mg", "SC", 13))
    t.order("o1", "carprofen", "analgesia", "SC", "4.4", "4.4")
    day = t.refused(OverLimit, "dose", ev.DrugGiven, **of_vial("carprofen", "0.88", "50 mg/mL", "44", "SC", order="o1"))
    assert "6.6 mg/kg within a day" in day.says


def test_once_is_asked_about_for_three_days() -> None:
    """U25: meloxicam in cats, once."""
    for hours, name in ((23, OverLimit), (30, AskAgain)):
        t = Telling("cat", "4")
        t.tell(ev.GivenBefore, **ward(t, "meloxicam", "0.8", "mg", "SC", hours))
        t.order("o1", "meloxicam", "analgesia", "SC", "0.2", "0.2")
        t.refused(name, "drug", ev.DrugGiven, **of_vial("meloxicam", "0.16", "5 mg/mL", "0.8", "SC", order="o1"))


def test_a_late_entry_is_held_as_an_early_one() -> None:
    """U19: methadone entered as given twenty minutes before another."""
    t = Telling()
    t.order()
    t.order("o2")
    t.at(30).tell(ev.DrugGiven, **of_vial("methadone", "0.2", "10 mg/mL", "2", "IM", order="o1"))
    late = of_vial("methadone", "0.2", "10 mg/mL", "2", "IM", order="o2", happened_at=NINE + timedelta(minutes=10))
    assert "20 min after this" in t.refused(AskAgain, "drug", ev.DrugGiven, **late).says


# ---- pumps, strengths, forms, labels


def test_a_pump_read_far_under_its_rates_is_read_again() -> None:
    """U24: a total of nothing took what had run in out of every ceiling."""
    t = Telling()
    t.order("o1", "lidocaine", "analgesia", "IV", "50", "50", "mcg/kg/min")
    t.tell(
        ev.InfusionStarted,
        infusion="i1",
        drug="lidocaine",
        concentration="20 mg/mL",
        rate_ml_h=d("1.5"),
        route="IV",
        order="o1",
    )
    t.at(180)
    for total in ("0", "0.1"):
        t.refused(AskAgain, "total", ev.InfusionStopped, infusion="i1", total_ml=d(total))
    t.tell(ev.InfusionStopped, infusion="i1", total_ml=d("4.4"))


def test_a_strength_of_nothing_is_refused() -> None:
    """U9: 0 mg/mL makes every rate and every dose nothing."""
    t = Telling()
    t.order("o1", "fentanyl", "analgesia", "IV", "5", "10", "mcg/kg/h")
    run = {
        "infusion": "i1",
        "drug": "fentanyl",
        "concentration": "0 mg/mL",
        "rate_ml_h": d("500"),
        "route": "IV",
        "order": "o1",
    }
    t.refused(OutOfRange, "strength", ev.InfusionStarted, **run, confirmed=True)
    t.order("o2")
    with pytest.raises(OutOfRange, match="holds nothing"):
        t.draw(order="o2", holds="0 mg/mL", confirmed=True)


def test_a_label_is_void_when_the_dosing_weight_or_the_order_changes() -> None:
    """U15: 8 mL were drawn for doses on 20 kg; doses on 12 kg, or half the order, ask for less."""
    t = Telling(kg="20")
    t.order("o1", "propofol", "induction", "IV", "2", "4")
    t.draw("s1", "o1", "propofol", "8", "10 mg/mL", barrel="10 mL")

    def void() -> str:
        return str(case_view(t.case, len(t.entries), t.facts, t.now).prepare.drawn[0].void)

    assert void() == ""
    t.at(5).tell(ev.DosingWeightSet, by="vet", weight_kg=d("12"), reason="lean")
    assert "12 kg" in void()
    t = Telling(kg="20")
    t.order("o1", "propofol", "induction", "IV", "2", "4")
    t.draw("s1", "o1", "propofol", "8", "10 mg/mL", barrel="10 mL")
    t.at(5).order("o1", "propofol", "induction", "IV", "1", "2")
    assert void() == "drawn for 2 to 4 mg/kg IV, ordered now 1 to 2 mg/kg IV"


def test_two_veins_stand_and_one_of_them_is_small() -> None:
    """U14: 15 % of sugar with a jugular and a cephalic line open: which of them is asked; 10 and 25 % are from memory."""
    run: dict[str, Any] = {"drug": "dextrose_10", "rate_ml_h": d("20"), "by": "vet", "purpose": "hypoglycaemia",
                           "concentration": "150 mg/mL", "infusion": "i1"}  # fmt: skip
    t = Telling()
    t.tell(ev.CatheterPlaced, site="left jugular", size="20 G")
    odd = t.refused(AskAgain, "concentration", ev.InfusionStarted, **run)
    run |= {"confirmed": True, "answered": (odd.says,)}
    t.refused(Unknown, "rate", ev.InfusionStarted, **run)  # past the vein: there it is a push, not a pump
    t.tell(ev.CatheterPlaced, site="right cephalic", size="22 G")
    asked = t.refused(AskAgain, "concentration", ev.InfusionStarted, **run)
    assert "15 % into the left jugular" in asked.says and "limb vein is open too" in asked.says
    t.refused(Unknown, "rate", ev.InfusionStarted, **{**run, "answered": (odd.says, asked.says)})


def test_what_a_push_calls_itself_frees_no_block_from_its_ceiling() -> None:
    """U24: the order is for a block: called a rhythm's rescue at the push, its 50 mg (all of 5 mg/kg) still leave nothing."""
    t = Telling()
    t.order("o1", "lidocaine", "local block", "perineural", "5", "5")
    t.tell(
        ev.DrugGiven, **of_vial("lidocaine", "2.5", "20 mg/mL", "50", "perineural", order="o1", purpose="arrhythmia")
    )
    t.at(30)
    with pytest.raises(OverLimit, match="200 %"):
        t.order("o2", "bupivacaine", "local block", "perineural", "2", "2")


def test_the_syringe_says_which_form_went_in() -> None:
    """U24: drawn from a vial with benzyl alcohol and pushed as plain, it counts as what was drawn: 24 mg/kg in 10 kg are 240 mg."""
    word = {"said_by": "vet", "reason": "light"}
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "2", "4")
    for n in range(6):
        t.at(20 * n).draw(f"s{n}", "o1", "propofol", "4", "10 mg/mL", barrel="5 mL", form="with benzyl alcohol", **word)
        push = of_vial("propofol", "4", "10 mg/mL", "40", "IV", order="o1", form="plain", syringe=f"s{n}")
        t.tell(ev.DrugGiven, **push, **word)
    t.order("o2", "propofol", "induction", "IV", "1", "1", over_hard_by="vet", reason="still light")
    last = of_vial("propofol", "1", "10 mg/mL", "10", "IV", order="o2", form="with benzyl alcohol")
    assert "benzyl" in t.at(200).refused(OverLimit, "dose", ev.DrugGiven, **last).says


def test_an_expiry_is_held_to_the_day_on_the_hospitals_wall() -> None:
    """U27: 10:30 UTC on the fourth is already the fifth in Kiritimati (UTC+14)."""
    t = Telling()
    t.order()
    draw = {"syringe": "s1", "order": "o1", "drug": "methadone", "vial_concentration": "10 mg/mL", "concentration": "10 mg/mL",
            "volume_ml": d("0.2"), "drug_volume_ml": d("0.2"), "barrel": "1 mL", "expires": "2026-05-04"}  # fmt: skip
    event = t.at(90).made(ev.SyringeDrawn, **draw)
    assert decide(t.case, event, t.facts, t.now) == (event,)
    far = replace(t.facts, zone=ZoneInfo("Pacific/Kiritimati"))
    with pytest.raises(OutOfRange, match="expired 2026-05-04"):
        decide(t.case, event, far, t.now)


def test_nothing_of_nothing_goes_into_a_bag() -> None:
    """U9: a vial of 0 mg/mL."""
    t = Telling()
    part = ev.BagPart(drug="ketamine", vial_concentration="0 mg/mL", drug_volume_ml=d("0.6"))
    t.refused(OutOfRange, "strength", ev.BagMixed, bag="b1", fluid="isotonic_crystalloid", bag_ml=d("1000"),
              volume_ml=d("1000.6"), parts=(part,), by="vet", confirmed=True)  # fmt: skip
