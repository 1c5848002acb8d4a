"""What a signature covers, what still waits for one, and whose hand a far overdose needs.

That a spoken order is written down, read back and signed by the one who gave it, and that a signature holds for what was
signed and nothing else, is common practice. The stop of methadone is that of the dose tables.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from small_house import Telling, d, house
from spiracle.case import events as ev
from spiracle.case.hospital import StockedDrug
from spiracle.case.own_hand import push
from spiracle.case.signing import alike, state, waiting
from spiracle.case.standing import order as order_of
from spiracle.quantity import Quantity
from spiracle.refusals import AskAgain, Contradiction, Missing, OverLimit, Refusal
from spiracle.sheets.case_view import case_view


def signed(t: Telling, *names: str, strengths: tuple[str, ...] = (), **more: Any) -> None:
    t.tell(ev.PlanApproved, by="vet", signed_by="vet", weight_kg=d("10"), orders=names, strengths=strengths, **more)


def stale(t: Telling) -> tuple[str, ...]:
    return state(t.case, t.facts, t.now).stale


# ---- the strength a line was signed for


def test_another_strength_drawn_asks_for_a_new_signature() -> None:
    """D31: what was signed was 10 mg/mL; a syringe of 5 mg/mL is another plan."""
    t = Telling()
    t.order()
    signed(t, "o1", strengths=("10 mg/mL",))
    assert stale(t) == ()
    t.at(1).draw(ml="0.4", holds="5 mg/mL", confirmed=True)
    assert stale(t) == ("methadone is 5 mg/mL, the plan was signed for 10 mg/mL",)
    assert any("5 mg/mL" in r for r in case_view(t.case, 9, t.facts, t.now).collar.draft_reasons)


def test_the_same_strength_in_other_words_is_the_same() -> None:
    t = Telling()
    t.order()
    signed(t, "o1", strengths=("10.0 mg/mL",))
    t.at(1).draw(ml="0.2", holds="10 mg/mL")
    assert stale(t) == ()
    assert alike("1 %", "10 mg/mL") and not alike("10 mg/mL", "10 mcg/mL")


def test_another_vial_picked_asks_for_a_new_signature() -> None:
    t = Telling()
    t.order()
    signed(t, "o1", strengths=("10 mg/mL",))
    t.at(1).tell(ev.VialPicked, order="o1", drug="methadone", concentration="5 mg/mL")
    assert stale(t) == ("methadone is 5 mg/mL, the plan was signed for 10 mg/mL",)
    t.at(2).tell(ev.VialPicked, order="o1", drug="methadone", concentration="10 mg/mL")
    assert stale(t) == ()


def test_the_plan_follows_the_vial_that_was_picked() -> None:
    """U9: two strengths stand on the shelf; once one is in the hand, the line has its volume: 1 mg of 5 mg/mL is 0.2 mL."""
    t = Telling()
    t.order("o1", "ephedrine", "blood pressure", "IV", "0.1", "0.1")
    assert case_view(t.case, 9, t.facts, t.now).plan.lines[0].volume is None
    t.at(1).tell(ev.VialPicked, order="o1", drug="ephedrine", concentration="5 mg/mL")
    line = case_view(t.case, 9, t.facts, t.now).plan.lines[0]
    assert line.volume is not None and (line.strength, line.volume.text) == ("5 mg/mL", "0.2")
    signed(t, "o1", strengths=(line.vial,))
    assert stale(t) == ()


def test_thinning_a_drug_is_no_change_of_the_plan() -> None:
    """U10: the vial was signed for; how it is made measurable is worked again at each push."""
    t = Telling(kg="1.2")
    t.order()
    line = case_view(t.case, 9, t.facts, t.now).plan.lines[0]
    t.tell(ev.PlanApproved, by="vet", signed_by="vet", weight_kg=d("1.2"), orders=("o1",), strengths=(line.vial,))
    t.at(1).tell(ev.SyringeDrawn, syringe="s1", order="o1", drug="methadone", vial_concentration="10 mg/mL",
                 concentration="1 mg/mL", volume_ml=d("1"), drug_volume_ml=d("0.1"), diluent="sodium chloride 0.9 %",
                 diluent_volume_ml=d("0.9"), barrel="1 mL")  # fmt: skip
    assert stale(t) == () and line.vial == "10 mg/mL"


def test_the_shelf_changed_under_a_signed_plan() -> None:
    """D31: the hospital took in another strength: the plan is worked anew, and so is signed anew."""
    t = Telling()
    t.order()
    signed(t, "o1", strengths=("10 mg/mL",))
    hospital = replace_drug(t.facts.hospital, "methadone", ("5 mg/mL",))
    t.facts = replace(t.facts, hospital=hospital)
    assert stale(t) == ("methadone is 5 mg/mL, the plan was signed for 10 mg/mL",)


def replace_drug(hospital: Any, drug: str, strengths: tuple[str, ...]) -> Any:
    from msgspec.structs import replace as with_fields

    drugs = tuple(x if x.drug != drug else StockedDrug(drug=drug, strengths=strengths) for x in hospital.drugs)
    return with_fields(hospital, drugs=drugs)


def test_a_signature_names_the_strengths_that_stand_on_the_page() -> None:
    t = Telling()
    t.order()
    fields = {"by": "vet", "signed_by": "vet", "weight_kg": d("10"), "orders": ("o1",)}
    t.refused(Contradiction, "strength", ev.PlanApproved, **fields, strengths=("5 mg/mL",))
    t.refused(Missing, "strengths", ev.PlanApproved, **fields, strengths=("10 mg/mL", "10 mg/mL"))
    t.tell(ev.PlanApproved, **fields, strengths=("10 mg/mL",))


def test_a_grade_given_after_signing_asks_for_a_new_signature() -> None:
    """D31: also where the plan was signed before anybody had given one."""
    t = Telling()
    t.order()
    signed(t, "o1")
    t.at(1).tell(ev.AsaAssigned, asa="IV", assigned_by="vet")
    assert stale(t) == ("ASA IV was given after signing",)
    signed(t.at(2), "o1", asa="IV")
    assert stale(t) == ()
    t.at(3).tell(ev.AsaAssigned, asa="III", assigned_by="vet")
    assert stale(t) == ("ASA is III, the plan was signed for IV",)


def test_a_limit_set_by_somebody_else_after_signing_asks_for_a_new_signature() -> None:
    """D31: the plan was signed with its limits; the veterinarian's own hand may set another without signing all again."""
    t = Telling()
    t.order()
    t.tell(ev.LimitOrdered, reading="map", below=d("60"), ordered_by="vet")
    signed(t, "o1")
    assert stale(t) == ()
    t.at(1).tell(ev.LimitOrdered, reading="spo2", below=d("95"), by="vet")
    assert stale(t) == ()
    t.at(2).tell(ev.LimitOrdered, reading="map", below=d("50"), ordered_by="vet")
    assert stale(t) == ("limit set after signing: map",)


# ---- orders that wait for their veterinarian


def test_what_was_said_aloud_waits_for_the_one_who_said_it() -> None:
    """D20: an oral order is somebody's word only once that person has signed for it."""
    t = Telling()
    t.order(given_as="oral", read_back_by="tec")
    assert [(o.order, vet) for o, vet in waiting(t.case, t.facts)] == [("o1", "vet")]
    view = case_view(t.case, 9, t.facts, t.now)
    assert [x.title for x in view.due if x.id.startswith("countersign")] == ["1 order waits for VE to sign"]
    assert "said aloud" in next(x.detail for x in view.due if x.id == "countersign vet")
    assert "to be countersigned by VE" in view.plan.lines[0].needs
    t.at(1).tell(ev.PlanApproved, signed_by="vet", how="oral", read_back_by="two", weight_kg=d("10"), orders=("o1",))
    assert waiting(t.case, t.facts), "a signature said aloud is a word again"
    signed(t.at(2), "o1")
    assert waiting(t.case, t.facts) == ()
    assert case_view(t.case, 9, t.facts, t.now).plan.lines[0].needs == ()


def test_what_a_technician_entered_as_written_is_shown_to_be_countersigned() -> None:
    """D20: "written" in a technician's hand is not the veterinarian's hand."""
    t = Telling()
    t.order()
    assert "to be countersigned by VE" in case_view(t.case, 9, t.facts, t.now).plan.lines[0].needs
    t.order("o2", "propofol", "induction", "IV", "2", "4", by="vet")
    assert [o.order for o, _ in waiting(t.case, t.facts)] == ["o1"]
    t.tell(ev.OrderWithdrawn, order="o1", reason="not needed")
    assert waiting(t.case, t.facts) == ()


def test_an_order_worded_anew_after_signing_waits_again() -> None:
    """D20, D31: the signature was for the other wording."""
    t = Telling()
    t.order()
    signed(t, "o1")
    t.at(1).order(low="0.3", high="0.3")
    assert [o.order for o, _ in waiting(t.case, t.facts)] == ["o1"]


def test_a_range_is_kept_as_a_range() -> None:
    t = Telling()
    t.order("o2", "propofol", "induction", "IV", "2", "4")
    found = order_of(t.case, "o2")
    assert found is not None and (found.low, found.high) == (d("2"), d("4"))
    line = case_view(t.case, 9, t.facts, t.now).plan.lines[0]
    assert line.order_text == "2 to 4 mg/kg"


# ---- over a stop


def test_an_order_over_a_stop_names_it_and_what_would_be_taken() -> None:
    t = Telling()
    fields = {
        "order": "o1",
        "drug": "methadone",
        "purpose": "premedication",
        "route": "IM",
        "unit": "mg/kg",
        "ordered_by": "vet",
    }
    said = t.refused(OverLimit, "dose", ev.DrugOrdered, **fields, low=d("1.1"), high=d("1.1"))
    assert "1.0 mg/kg" in said.says or "1 mg/kg" in said.says
    assert "at most 1 mg/kg" in said.accepts
    t.tell(ev.DrugOrdered, **fields, low=d("1"), high=d("1"))


def test_far_over_a_stop_a_name_is_not_enough() -> None:
    """U4, D20: until a hand is proven by more than a touch, beyond twice the stop the veterinarian enters it themself."""
    t = Telling()
    fields = {"order": "o1", "drug": "methadone", "purpose": "premedication", "route": "IM", "unit": "mg/kg",
              "ordered_by": "vet", "over_hard_by": "vet", "reason": "said so"}  # fmt: skip
    said = t.refused(OverLimit, "dose", ev.DrugOrdered, **fields, by="stu", low=d("60"), high=d("60"))
    assert "twice" in said.says and "own hand" in said.accepts
    t.refused(OverLimit, "dose", ev.DrugOrdered, **fields, low=d("2.1"), high=d("2.1"))
    t.tell(ev.DrugOrdered, **fields, low=d("1.9"), high=d("1.9"))
    t.tell(ev.DrugOrdered, **{**fields, "order": "o2"}, by="vet", low=d("2.1"), high=d("2.1"))


def test_a_push_far_over_its_stop_needs_the_veterinarians_own_hand() -> None:
    """U4: 600 mg of methadone in a 10 kg dog by a student's hand, with a veterinarian's name and any reason."""
    t = Telling()
    given = t.made(ev.DrugGiven, by="stu", said_by="vet", reason="she said so", drug="methadone", amount=d("600"), unit="mg",
                   route="IM", purpose="premedication")  # fmt: skip
    with pytest.raises(OverLimit) as turned:
        push(t.case, given, None, Quantity.of("600", "mg"), t.facts)
    assert "twice" in turned.value.says and "own hand" in turned.value.accepts
    for purpose in ("", "to make it sleepy"):
        odd = t.made(ev.DrugGiven, by="stu", said_by="vet", reason="x", drug="methadone", amount=d("600"), unit="mg",
                     route="IM", purpose=purpose)  # fmt: skip
        with pytest.raises(OverLimit):
            push(t.case, odd, None, Quantity.of("600", "mg"), t.facts)
    own = t.made(ev.DrugGiven, by="vet", said_by="vet", reason="x", drug="methadone", amount=d("600"), unit="mg",
                 route="IM", purpose="premedication")  # fmt: skip
    push(t.case, own, None, Quantity.of("600", "mg"), t.facts)
    push(t.case, given, None, Quantity.of("15", "mg"), t.facts)


def test_the_log_refuses_such_a_push_but_never_in_trouble() -> None:
    """U4: through the same door as every push; an arrest waits for nobody's hand."""
    t = Telling()
    fields = {"by": "stu", "said_by": "vet", "reason": "x", "drug": "methadone", "amount": d("600"), "unit": "mg",
              "route": "IM", "purpose": "premedication"}  # fmt: skip
    t.refused(OverLimit, "dose", ev.DrugGiven, **fields)
    t.tell(ev.DrugGiven, **{**fields, "amount": d("15")})
    t.tell(ev.ArrestBegan)
    t.at(10).tell(ev.DrugGiven, **fields)


def test_without_a_weight_the_largest_animal_stands_for_it() -> None:
    t = Telling(weighed=False)
    given = t.made(ev.DrugGiven, by="stu", said_by="vet", reason="x", drug="methadone", amount=d("600"), unit="mg", route="IM",
                   purpose="premedication")  # fmt: skip
    with pytest.raises(OverLimit):
        push(t.case, given, None, Quantity.of("600", "mg"), t.facts)


# ---- an order withdrawn


def test_a_withdrawn_order_whose_drug_lies_drawn_up_is_told() -> None:
    t = Telling()
    t.order()
    t.draw()
    t.at(1).tell(ev.OrderWithdrawn, order="o1", reason="vomited")
    told = next(a for a in case_view(t.case, 9, t.facts, t.now).advice if a.id == "withdrawn s1")
    assert told.priority == "medium" and "0.2 mL" in told.body and "vomited" in told.body
    t.at(2).tell(ev.DrugWasted, syringe="s1", drug="methadone", volume_ml=d("0.2"), manner="sink", witness="two")
    assert not [a for a in case_view(t.case, 9, t.facts, t.now).advice if a.id.startswith("withdrawn")]


def test_a_withdrawn_order_whose_pump_runs_is_told_first() -> None:
    """The pump does not know of the withdrawal: the line stops it in one touch, and that entry is let in."""
    t = Telling()
    t.order("o1", "fentanyl", "CRI (awake analgesia)", "IV", "3", "3", "mcg/kg/h")
    t.tell(ev.InfusionStarted, infusion="i1", drug="fentanyl", rate_ml_h=d("0.6"), concentration="0.05 mg/mL", order="o1",
           dose_rate=d("3"), dose_unit="mcg/kg/h")  # fmt: skip
    t.at(5).tell(ev.OrderWithdrawn, order="o1", reason="too deep")
    told = case_view(t.case, 9, t.facts, t.now).advice[0]
    assert (told.priority, told.title) == ("high", "Fentanyl still runs. Its order was withdrawn.")
    stop = told.acts[0]
    t.tell(getattr(ev, stop.event), **stop.fields)
    assert not [a for a in case_view(t.case, 9, t.facts, t.now).advice if a.id.startswith("withdrawn")]


def test_a_withdrawn_order_in_a_running_bag_is_told_too() -> None:
    """The bag runs on for its fluid; the drug in it has no order any more, and an infusion of it is on the record."""
    t = Telling()
    t.order("o1", "lidocaine", "CRI (analgesia)", "IV", "30", "30", "mcg/kg/min")
    t.tell(ev.BagMixed, bag="b1", fluid="isotonic_crystalloid", bag_ml=d("500"), removed_ml=d("90"), volume_ml=d("500"),
           parts=(ev.BagPart(drug="lidocaine", vial_concentration="20 mg/mL", drug_volume_ml=d("90"), order="o1"),))  # fmt: skip
    t.tell(ev.InfusionStarted, infusion="i1", drug="isotonic_crystalloid", rate_ml_h=d("5"), fluid=True, bag="b1",
           said_by="vet", reason="as mixed", confirmed=True)  # fmt: skip
    t.at(5).tell(ev.OrderWithdrawn, order="o1", reason="vomits")
    told = next(a for a in case_view(t.case, 9, t.facts, t.now).advice if a.id == "withdrawn i1 o1")
    assert told.title == "Lidocaine in the bag still runs. Its order was withdrawn."


def test_refusals_of_a_slip_come_before_the_stop() -> None:
    """A dose that looks like a slip is asked about by that name, so that nobody overrides a typing error."""
    t = Telling()
    t.refused(AskAgain, "dose", ev.DrugOrdered, order="o1", drug="methadone", purpose="premedication", route="IM",
              low=d("200"), high=d("200"), unit="mg/kg", ordered_by="vet")  # fmt: skip
    assert issubclass(OverLimit, Refusal) and house() is t.facts
