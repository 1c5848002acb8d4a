"""Bags with drugs in them: what went in adds up and may be mixed; every drug of it counts under its own order while it runs.

Rates and limits are the tables' own (ketamine 10 mcg/kg/min, lidocaine 25 to 50 mcg/kg/min in dogs, potassium chloride to
0.5 mEq/kg/h, crystalloid 5 mL/kg/h); what may share a bag is from memory there. Volumes are worked in the docstrings.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.case.running import now_running, of_drug, summed
from spiracle.case.streams import streams
from spiracle.case.syringes import bag_of
from spiracle.drugs.bags import adds_up
from spiracle.quantity import unit
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    NotAllowed,
    NotMeasurable,
    OutOfRange,
    OverLimit,
    Unknown,
)
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import BagRecipe

FLUID = "isotonic_crystalloid"


def part(drug: str = "ketamine", vial: str = "100 mg/mL", ml: str = "0.6", order: str = "k", **more: Any) -> ev.BagPart:
    return ev.BagPart(drug=drug, vial_concentration=vial, drug_volume_ml=d(ml), order=order, **more)


def mixed(*parts: ev.BagPart, bag: str = "b1", ml: str = "1000", out: str = "0", **more: Any) -> dict[str, Any]:
    volume = adds_up(d(ml), d(out), [p.drug_volume_ml for p in parts])
    return {
        "bag": bag,
        "fluid": FLUID,
        "bag_ml": d(ml),
        "removed_ml": d(out),
        "volume_ml": volume,
        "parts": parts,
        **more,
    }


def dog(kg: str = "20", fluid: str = "10") -> Telling:
    """A dog with ketamine at 10 mcg/kg/min and a fluid rate ordered."""
    t = Telling(kg=kg)
    t.order("f", FLUID, "maintenance fluid", "IV", fluid, fluid, "mL/kg/h")
    t.order("k", "ketamine", "analgesia", "IV", "10", "10", "mcg/kg/min")
    return t


def run(ml_h: str, infusion: str = "i1", bag: str = "b1", **more: Any) -> dict[str, Any]:
    return {"infusion": infusion, "drug": FLUID, "rate_ml_h": d(ml_h), "bag": bag, "order": "f", "fluid": True, **more}


# ---- the recipe


def recipe(t: Telling, ml: float = 1000) -> BagRecipe:
    return next(b for b in case_view(t.case, 1, t.facts, t.now).plan.bags if b.holds_ml == ml)


@pytest.mark.parametrize("kg", ["8.4", "20", "30", "40"])
def test_sixty_milligrams_of_ketamine_in_a_litre(kg: str) -> None:
    """U3: 0.6 mg/kg/h in 10 mL/kg/h is 0.06 mg/mL: 60 mg, 0.6 mL, in 1 L, whatever the animal weighs; worked by hand."""
    found = recipe(dog(kg))
    assert [(p.add_ml, p.amount.text, p.amount.unit) for p in found.parts] == [(0.6, "60", "mg")]
    assert found.remove is None and found.rate_ml_h == float(d(kg) * 10)
    assert found.parts[0].gives.text == "9.994" and found.parts[0].error_percent == -0.06
    assert found.working is not None and "0.6 mL of 100 mg/mL = 60 mg" in found.working.says


def test_three_drugs_in_one_bag_and_what_stays_out_of_it() -> None:
    """U3, U9: each drug under its own order; a pressor has a pump of its own, an unpicked vial is not guessed."""
    t = dog(fluid="5")
    t.at(1).order("l", "lidocaine", "analgesia", "IV", "50", "50", "mcg/kg/min")
    t.at(2).order("m", "morphine", "analgesia", "IV", "0.12", "0.12", "mg/kg/h", concentration="10 mg/mL")
    t.at(3).order("h", "fentanyl", "analgesia", "IV", "3", "3", "mcg/kg/h", concentration="50 mcg/mL")
    t.order("n", "norepinephrine", "blood pressure", "IV", "0.1", "0.1", "mcg/kg/min")
    t.order("p", "dopamine", "blood pressure", "IV", "5", "5", "mcg/kg/min")
    found = recipe(t)
    assert [p.order for p in found.parts] == ["k", "l", "m"]
    for p, top in zip(found.parts, (10, 50, 0.12), strict=True):
        assert -5 < p.error_percent <= 0 and float(p.gives.text) <= top
    told = " ".join(found.cautions)
    assert "No row says that morphine and fentanyl may share a bag" in told
    assert "norepinephrine" in told.casefold() and "Not in it yet: dopamine" in told and "from memory" in told


def test_more_than_a_tenth_is_taken_out_first() -> None:
    """U3: lidocaine 3 mg/kg/h at 1 mL/kg/h is 3 mg/mL, 15 % of the bag: as much fluid comes out first."""
    t = Telling(kg="10")
    t.order("f", FLUID, "maintenance fluid", "IV", "1", "1", "mL/kg/h")
    t.order("l", "lidocaine", "analgesia", "IV", "50", "50", "mcg/kg/min")
    found = recipe(t, 500)
    assert found.remove is not None and found.remove_ml == found.parts[0].add_ml
    assert found.total_ml == 500 and float(found.parts[0].gives.text) <= 50


def test_no_bag_with_lidocaine_for_a_cat() -> None:
    """U3: a cat's bag leaves it out and says why; mixed all the same it is refused."""
    t = Telling("cat", "4")
    t.order("f", FLUID, "maintenance fluid", "IV", "3", "3", "mL/kg/h")
    t.order("k", "ketamine", "analgesia", "IV", "5", "5", "mcg/kg/min")
    assert [p.drug for p in recipe(t).parts] == ["ketamine"]
    with pytest.raises(OverLimit) as turned:
        t.tell(ev.BagMixed, **mixed(part("lidocaine", "20 mg/mL", "10", ""), by="vet", confirmed=True))
    assert "for a cat" in turned.value.says


def test_a_recipe_is_mixed_and_run_as_it_stands() -> None:
    """U3, U10: what the plan offers is what the log takes; the bag's card then counts from the log."""
    t = dog()
    offered = recipe(t)
    parts = tuple(ev.BagPart(drug=p.drug, vial_concentration=p.vial, drug_volume_ml=Decimal(str(p.add_ml)), order=p.order)
                  for p in offered.parts)  # fmt: skip
    t.tell(ev.BagMixed, bag="b1", fluid=offered.fluid, bag_ml=Decimal(str(offered.holds_ml)),
           removed_ml=Decimal(str(offered.remove_ml)), volume_ml=Decimal(str(offered.total_ml)), parts=parts)  # fmt: skip
    t.tell(ev.InfusionStarted, **run(str(offered.rate_ml_h)))
    made = next(b for b in case_view(t.case, 1, t.facts, t.at(60).now).plan.bags if b.mixed)
    assert made.bag == "b1" and made.parts[0].gives.text == "9.994"
    found = bag_of(t.case, "b1", t.now)
    assert found is not None and found.left_ml == d("800.6")


def test_a_bag_of_another_weight_says_so() -> None:
    """U15: mixed for 20 kg; on 15 kg the same rate gives a third more."""
    t = dog()
    t.tell(ev.BagMixed, **mixed(part()))

    def said() -> str:
        return next(b for b in case_view(t.case, 1, t.facts, t.now).plan.bags if b.mixed).cautions[0]

    assert "Mixed for doses" not in said()
    t.at(30).tell(ev.Weighed, weight_kg=d("15"), method="scale", confirmed=True)
    assert said() == "Mixed for doses on 20 kg, they are on 15 kg now: at the same rate it gives another dose."


# ---- what is refused


@pytest.mark.parametrize(
    ("name", "field", "change"),
    [
        (Contradiction, "volume", {"volume_ml": d("1000")}),
        (Contradiction, "volume", {"removed_ml": d("10")}),
        (OutOfRange, "removed", {"removed_ml": d("1001")}),
        (OutOfRange, "removed", {"removed_ml": d("-1")}),
        (Missing, "bag", {"bag": " "}),
        (Missing, "drug", {"parts": ()}),
        (Contradiction, "fluid", {"fluid": "lidocaine"}),
        (Unknown, "drug", {"fluid": "milk"}),
        (Unknown, "drug", {"parts": (part("unobtainium"),)}),
        (Contradiction, "drug", {"parts": (part("lignocaine", "20 mg/mL", "5", ""),)}),
        (Contradiction, "drug", {"parts": (part(FLUID, "1 L bag", "5", ""),)}),
        (OutOfRange, "drug volume", {"parts": (part(ml="0"),)}),
        (NotMeasurable, "drug volume", {"parts": (part(ml="0.605"),)}),
        (NotMeasurable, "drug volume", {"parts": (part(ml="60.5"),)}),
        (Missing, "order", {"parts": (part(order=""),)}),
        (Unknown, "order", {"parts": (part(order="gone"),)}),
        (Contradiction, "order", {"parts": (part("lidocaine", "20 mg/mL", "0.6", "k"),)}),
        (AskAgain, "strength", {"parts": (part(vial="50 mg/mL"),)}),
        (OutOfRange, "expires", {"parts": (part(expires="2020-01"),)}),
        (Contradiction, "seen by", {"seen_by": "tec"}),
        (AskAgain, "drug volume", {"parts": (part(ml="6"),), "volume_ml": d("1006")}),
        (AskAgain, "drug volume", {"parts": (part(ml="0.06"),), "volume_ml": d("1000.06")}),
    ],
)
def test_a_bag_that_cannot_be_is_refused_by_name(name: type, field: str, change: dict[str, Any]) -> None:
    """U4, U9, U10: sums, names, marks, vials and orders; ten times the drug shows at the ordered fluid rate."""
    dog().refused(name, field, ev.BagMixed, **{**mixed(part()), **change})


def test_a_dose_is_no_rate_and_a_bag_stands_once() -> None:
    """U3, D16."""
    t = dog()
    t.order("x", "ketamine", "induction", "IV", "5", "5", "mg/kg")
    assert "no rate" in t.refused(Contradiction, "order", ev.BagMixed, **mixed(part(order="x"))).says
    t.tell(ev.BagMixed, **mixed(part(lot="A", expires="2030-01"), seen_by="two"))
    t.refused(Contradiction, "bag", ev.BagMixed, **mixed(part()))


def test_what_no_row_lists_is_asked_and_what_a_row_forbids_is_refused() -> None:
    """U3: an unlisted pair is asked about and may be confirmed; what has a pump of its own is not mixed with others."""
    t = dog()
    t.order("m", "midazolam", "sedation", "IV", "0.2", "0.2", "mg/kg/h", concentration="5 mg/mL")
    t.order("d", "dobutamine", "blood pressure", "IV", "5", "5", "mcg/kg/min")
    # midazolam 0.2 mg/kg/h in 10 mL/kg/h is 0.02 mg/mL: 4 mL of 5 mg/mL in 1 L
    pair = mixed(part(), part("midazolam", "5 mg/mL", "4", "m"))
    asked = t.refused(AskAgain, "drug", ev.BagMixed, **pair)
    assert "may share a bag" in asked.says
    # dobutamine 0.3 mg/kg/h in 10 mL/kg/h is 0.03 mg/mL: 2.4 mL of 12.5 mg/mL
    with_pressor = mixed(part(), part("dobutamine", "12.5 mg/mL", "2.4", "d"))
    t.refused(OverLimit, "drug", ev.BagMixed, **with_pressor, confirmed=True)
    t.tell(ev.BagMixed, **pair, confirmed=True)
    t.tell(ev.BagMixed, **{**with_pressor, "bag": "b2"}, said_by="vet", reason="only one line")


# ---- what runs


def hung(kg: str = "20") -> Telling:
    """1.2 mL ketamine and 30 mL lidocaine in 1 L, and 5 mL/kg/h ordered: 9.70 and 48.5 mcg/kg/min."""
    t = dog(kg, "5")
    t.order("l", "lidocaine", "analgesia", "IV", "50", "50", "mcg/kg/min")
    t.tell(ev.BagMixed, **mixed(part(ml="1.2"), part("lidocaine", "20 mg/mL", "30", "l")))
    return t


def test_every_drug_of_a_bag_counts_while_it_runs() -> None:
    """U3: 100 mL/h of 120 and 600 mg in 1,031.2 mL: 9.697 and 48.49 mcg/kg/min in 20 kg, by hand."""
    t = hung()
    t.tell(ev.InfusionStarted, **run("100"))
    found = streams(t.case, t.facts)
    assert [(s.drug, s.order) for s in found] == [(FLUID, "f"), ("ketamine", "k"), ("lidocaine", "l")]
    now = now_running(t.case, t.facts)
    for drug, want in (("ketamine", "9.697"), ("lidocaine", "48.487")):
        total = summed(of_drug(now, drug, t.facts), unit("mcg/kg/min"), d("20"))
        assert abs(total.value - d(want)) < d("0.001")
    amount = found[2].amount(t.at(60).now)
    assert amount is not None and abs(amount.number("mg") - d("58.184")) < d("0.01")


def test_a_bag_made_faster_is_held_against_every_drug_in_it() -> None:
    """U3: the fluid order allows more, and the refusal names the drug that binds."""
    t = hung()
    t.at(1).order("f", FLUID, "maintenance fluid", "IV", "10", "10", "mL/kg/h")
    t.tell(ev.InfusionStarted, **run("100"))
    turned = t.refused(OverLimit, "rate", ev.InfusionChanged, infusion="i1", rate_ml_h=d("150"))
    assert "ketamine" in turned.says and "over the ordered 10 mcg/kg/min" in turned.says
    t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("90"))
    t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("102"))


def test_a_bag_and_a_syringe_of_one_drug_count_together() -> None:
    """U3: lidocaine in the bag and from a syringe under one order is one sum."""
    t = hung()
    t.tell(ev.InfusionStarted, **run("100"))
    beside = {"infusion": "i2", "drug": "lidocaine", "rate_ml_h": d("1"), "concentration": "20 mg/mL", "order": "l"}
    turned = t.refused(OverLimit, "rate", ev.InfusionStarted, **beside)
    assert "with what runs already" in turned.says


def test_a_bag_whose_order_was_withdrawn_is_not_made_faster() -> None:
    """U7: the order of each drug has to stand."""
    t = hung()
    t.tell(ev.InfusionStarted, **run("90"))
    t.at(5).tell(ev.OrderWithdrawn, order="l", by="vet")
    t.refused(Unknown, "order", ev.InfusionChanged, infusion="i1", rate_ml_h=d("95"))
    t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("50"))


@pytest.mark.parametrize(
    ("name", "field", "change"),
    [
        (Unknown, "bag", {"bag": "b9"}),
        (Contradiction, "bag", {"drug": "whole_blood", "order": "", "by": "vet"}),
        (Contradiction, "concentration", {"concentration": "0.1 mg/mL"}),
        (Contradiction, "fluid volume", {"bag_ml": d("500")}),
        (Contradiction, "bag", {"syringe": "s1"}),
    ],
)
def test_a_bag_that_is_not_there_does_not_run(name: type, field: str, change: dict[str, Any]) -> None:
    """U10, D22."""
    hung().refused(name, field, ev.InfusionStarted, **{**run("100"), **change})


def test_a_bag_hangs_on_one_pump_and_is_not_struck_under_it() -> None:
    """D22, D16: one bag, one pump; its entry stays while something ran from it."""
    t = dog()
    mix = t.tell(ev.BagMixed, **mixed(part()))
    t.tell(ev.InfusionStarted, **run("200"))
    t.refused(Contradiction, "bag", ev.InfusionStarted, **run("100", "i2"))
    t.refused(Contradiction, "target", ev.EntryStruck, target=mix, reason="wrong bag")
    assert (
        "b1 held" in t.at(60).refused(OutOfRange, "total", ev.InfusionStopped, infusion="i1", total_ml=d("1001")).says
    )


def test_potassium_in_a_bag_keeps_to_its_stop() -> None:
    """D20: 0.5 mEq/kg/h on whatever order; 40 mEq in 1,020 mL at 300 mL/h is 0.59 mEq/kg/h in 20 kg."""
    t = Telling(kg="20")
    t.order("f", FLUID, "maintenance fluid", "IV", "10", "20", "mL/kg/h", over_hard_by="vet", reason="shock")
    t.order("p", "potassium_chloride", "hypokalaemia", "IV", "0.1", "0.5", "mEq/kg/h")
    t.tell(ev.BagMixed, **mixed(part("potassium_chloride", "2 mEq/mL", "20", "p"), confirmed=True))
    turned = t.refused(OverLimit, "drug", ev.InfusionStarted, **run("300"))
    assert "potassium chloride" in turned.says and "0.5882 mEq/kg/h" in turned.says
    t.tell(ev.InfusionStarted, **run("200"))
    card = case_view(t.case, 1, t.facts, t.now).maintain.running[0]
    assert not card.card.drops and "pump" in card.card.no_drops  # type: ignore[union-attr]
    told = next(b for b in case_view(t.case, 1, t.facts, t.now).plan.bags if b.mixed).cautions
    assert any("unmixed potassium kills" in c for c in told)


def test_a_farm_vial_does_not_go_into_a_bag() -> None:
    """U9: a strength that is not for dogs and cats is refused whoever confirms it."""
    t = dog()
    drugs = t.facts.drugs
    trap = next((x, s) for x in drugs.drugs for s in x.strengths if s.trap and drugs.rows(x.id, "dog"))
    t.refused(
        NotAllowed,
        "strength",
        ev.BagMixed,
        **mixed(part(trap[0].id, trap[1].printed, "1", ""), confirmed=True, by="vet"),
    )


def test_a_shelf_with_a_fluid_that_is_no_drug_here_breaks_no_page() -> None:
    """U3: a hospital may write a bag of something the tables do not know; it is left out, the others are offered."""
    from msgspec.structs import replace as changed

    from spiracle.case.hospital import StockedBag

    t = dog()
    bags = (
        StockedBag(fluid="sodium chloride 0.9 %", volumes=("50 mL",)),
        StockedBag(fluid=FLUID, volumes=("750 mL", "a box")),
    )
    t.facts = replace(t.facts, hospital=changed(t.facts.hospital, bags=bags))
    assert [b.holds_ml for b in case_view(t.case, 1, t.facts, t.now).plan.bags] == [750]


def test_the_log_reads_a_bag_in_words() -> None:
    """D22: what went in, and that the pump ran from it."""
    t = hung()
    t.tell(ev.InfusionStarted, **run("100"))
    said = " | ".join(line.text for line in case_view(t.case, 1, t.facts, t.now).record.log)
    assert "bag b1 mixed" in said.casefold() and "from bag b1" in said
