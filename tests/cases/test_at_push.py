"""At the push and after: what went in before and by whom, when it works and may be repeated, what is on board, what differs.

Carries U15, U19, U20, U25, U27, U29.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from small_house import NINE, Telling, d
from spiracle.case import events as ev
from spiracle.refusals import AskAgain, NotAQuantity, OutOfRange
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import AtPush, CaseView


def view(t: Telling) -> CaseView:
    return case_view(t.case, len(t.entries), t.facts, t.now)


def said(t: Telling, syringe: str = "s1") -> AtPush:
    found = next(s for s in view(t).prepare.drawn if s.syringe == syringe).at_push
    assert found is not None
    return found


def ward(drug: str, mg: str, minutes: int, **more: Any) -> dict[str, Any]:
    return {"drug": drug, "amount": d(mg), "unit": "mg", "route": "IM", "given_at": NINE - timedelta(minutes=minutes),
            "where": "the ward", "by_whom": "night nurse", **more}  # fmt: skip


def test_before_the_push_it_says_what_went_in_and_by_whom() -> None:
    """U19: "given 4 minutes ago by ...": the time, the amount and the hand of every earlier dose, newest first."""
    t = Telling()
    t.order(high="0.3")
    t.draw(ml="0.3")
    t.tell(ev.DrugGiven, **t.push("0.1", "1"))
    t.at(4)
    found = said(t)
    assert [(x.text, x.by, x.here) for x in found.before] == [("Methadone 1 mg IM", "TE", True)]
    assert (t.now - found.before[0].at) == timedelta(minutes=4)
    assert (
        "Methadone 0.2 to 0.3 mg/kg IM" in found.order_ref.replace("methadone", "Methadone")
        and "ordered by" in found.order_ref
    )
    assert found.difference == "given so far 1 of 3 mg"


def test_its_kin_and_the_ward_are_named_too() -> None:
    """U19, U25: another opioid of the ward stands beside methadone, told as given elsewhere."""
    t = Telling()
    t.tell(ev.GivenBefore, **ward("buprenorphine", "0.2", 90))
    t.tell(ev.GivenBefore, **ward("hydromorphone", "1", 200))
    t.order()
    t.draw()
    lines = said(t).before
    assert [(x.text, x.by, x.here) for x in lines] == [("Hydromorphone 1 mg IM the ward", "night nurse", False)]


def test_when_it_may_be_repeated_is_worked_from_the_row() -> None:
    """U20: methadone's interval of four hours counts from the last dose."""
    t = Telling()
    t.order()
    t.draw()
    assert said(t).next_due is None
    t.tell(ev.DrugGiven, **t.push("0.2", "2"))
    t.at(10)
    assert said(t).next_due == NINE + timedelta(hours=4)


def test_what_is_on_board_and_matters() -> None:
    """U25: an alpha-2 agonist of the ward changes what is said of an anticholinergic; after its time it does not."""
    t = Telling()
    t.tell(
        ev.GivenBefore,
        drug="dexmedetomidine",
        amount=d("50"),
        unit="mcg",
        route="IM",
        given_at=NINE - timedelta(hours=1),
    )
    t.order("o2", "atropine", "anticholinergic", "IV", "0.02", "0.02")
    flags = next(x for x in view(t).plan.lines if x.order == "o2").at_push
    assert flags is not None and flags.with_on_board
    t.at(60 * 12)
    later = next(x for x in view(t).plan.lines if x.order == "o2").at_push
    assert later is not None and not later.with_on_board


def test_an_order_without_a_signature_says_so() -> None:
    t = Telling()
    t.order()
    t.draw()
    assert said(t).unsigned.startswith("to be countersigned")


# ---- ordered against given


def test_what_differs_from_the_order_is_told() -> None:
    """U29: over, not given, without an order; within a mark of the order nothing is said. Percentages worked by hand."""
    t = Telling()
    t.order("o1")  # 2 mg; 1.9 is a mark below, inside the error limit
    t.draw("s1", "o1", ml="0.2")
    t.tell(ev.DrugGiven, **t.push("0.19", "1.9"))
    t.order("o2", "maropitant", "antiemetic", "SC", "1", "1")
    t.tell(ev.DrugGiven, by="vet", drug="glycopyrrolate", amount=d("0.1"), unit="mg", route="IV", volume_ml=d("0.5"),
           concentration="0.2 mg/mL", purpose="anticholinergic")  # fmt: skip
    found = {x.name: x for x in view(t).record.differences}
    assert set(found) == {"Maropitant", "Glycopyrronium bromide"}
    assert found["Maropitant"].difference == "not given" and found["Maropitant"].given == "nothing"
    assert found["Glycopyrronium bromide"].difference == "given without an order"


def test_over_and_under_are_in_per_cent() -> None:
    """U29: 1 of 2 mg is 50 % under; 3 mg on a veterinarian's word is 50 % over, with the reason."""
    t = Telling()
    t.order()
    t.draw(ml="0.3")
    t.tell(ev.DrugGiven, **t.push("0.1", "1"))
    assert [x.difference for x in view(t).record.differences] == ["50 % under"]
    t.at(10).tell(ev.DrugGiven, **t.push("0.2", "2", said_by="vet", reason="still in pain"))
    one = view(t).record.differences[0]
    assert one.difference == "50 % over" and one.given.startswith("3 mg in 2 pushes") and "still in pain" in one.why


# ---- what falls due again


def test_an_antibiotic_falls_due_while_the_wound_is_open() -> None:
    """U20: cefazolin again every 90 minutes during surgery (the row's sources); not once the procedure has ended."""
    t = Telling()
    t.order("o1", "cefazolin", "antibiotic", "IV", "22", "22")
    t.tell(ev.DrugGiven, drug="cefazolin", amount=d("220"), unit="mg", volume_ml=d("2.2"), concentration="100 mg/mL", order="o1",
           route="IV", confirmed=True)  # fmt: skip
    t.at(30)
    due = next(x for x in view(t).due if x.id == "repeat cefazolin")
    assert due.at == NINE + timedelta(minutes=90)
    t.at(60).tell(ev.TimeMarked, mark="procedure end")
    assert not [x for x in view(t).due if x.id == "repeat cefazolin"]


def test_pain_relief_of_the_ward_keeps_its_clock() -> None:
    """U20, U25: methadone of the ward two hours before the case is due again two hours into it, and needs an order."""
    t = Telling()
    t.tell(ev.GivenBefore, **ward("methadone", "2", 120))
    due = next(x for x in view(t).due if x.id == "repeat methadone")
    assert due.at == NINE + timedelta(hours=2) and "on the ward" in due.detail and "needs an order" in due.detail


# ---- vials


def test_an_opened_vial_keeps_as_long_as_its_form() -> None:
    """U27: plain propofol keeps for the day (cfr_propofol_old); with benzyl alcohol 28 days; other vials are asked about
    after 28 days (common practice, from memory)."""
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "4", "4")
    holds = {"vial_concentration": "10 mg/mL", "concentration": "10 mg/mL"}
    drawn: dict[str, Any] = {"syringe": "s1", "order": "o1", "drug": "propofol", **holds,
                             "volume_ml": d("4"), "drug_volume_ml": d("4"), "barrel": "5 mL"}  # fmt: skip
    old = t.refused(OutOfRange, "opened", ev.SyringeDrawn, **drawn, form="plain", opened="2026-05-03")
    assert "keeps for the day" in old.says
    t.refused(NotAQuantity, "opened", ev.SyringeDrawn, **drawn, form="plain", opened="yesterday")
    t.refused(OutOfRange, "opened", ev.SyringeDrawn, **drawn, form="plain", opened="2026-05-05")
    t.refused(OutOfRange, "opened", ev.SyringeDrawn, **drawn, form="with benzyl alcohol", opened="2026-04-01")
    t.tell(ev.SyringeDrawn, **drawn, form="plain", opened="2026-05-04")
    t.order("o2")
    methadone: dict[str, Any] = {"syringe": "s2", "order": "o2", "drug": "methadone", "volume_ml": d("0.2"),
                                 "drug_volume_ml": d("0.2"), "barrel": "1 mL", **holds}  # fmt: skip
    t.refused(AskAgain, "opened", ev.SyringeDrawn, **methadone, opened="2026-03-01")
    t.tell(ev.SyringeDrawn, **methadone, opened="2026-04-20")


def test_an_allergy_to_what_else_is_in_the_vial() -> None:
    """U15: benzyl alcohol is in one form of propofol (noah_propofol_ba): asked about."""
    t = Telling()
    t.tell(ev.AllergiesAsked, allergies=("benzyl alcohol",))
    asked = t.refused(AskAgain, "drug", ev.DrugOrdered, order="o1", drug="propofol", purpose="induction", route="IV", low=d("4"),
                      high=d("4"), unit="mg/kg", ordered_by="vet")  # fmt: skip
    assert "benzyl alcohol" in asked.says


def test_a_bag_is_handed_over_by_its_drugs() -> None:
    t = Telling()
    t.order("k", "ketamine", "analgesia", "IV", "0.12", "0.6", "mg/kg/h")
    part = ev.BagPart(drug="ketamine", vial_concentration="100 mg/mL", drug_volume_ml=d("0.6"), order="k")
    t.tell(ev.BagMixed, bag="b1", fluid="isotonic_crystalloid", bag_ml=d("1000"), removed_ml=d("0.6"), volume_ml=d("1000"),
           confirmed=True, seen_by="vet", parts=(part,))  # fmt: skip
    t.tell(
        ev.InfusionStarted, infusion="i1", drug="isotonic_crystalloid", rate_ml_h=d("50"), bag="b1", bag_ml=d("1000")
    )
    t.at(10)
    handed = dict(view(t).recover.handover)
    assert "ketamine in" in handed["Fluids"].casefold()


# ---- what made it so, what undoes it, from which vial


def flags_of(t: Telling, order: str) -> dict[str, str]:
    found = next(x for x in view(t).plan.lines if x.order == order).at_push
    assert found is not None
    return {f.title: f.changes for f in found.with_on_board}


def test_a_caution_of_the_moment_names_the_dose_that_makes_it_true() -> None:
    """U25: which drug, when, by whom and where, and for how long such a dose is counted."""
    t = Telling()
    t.tell(ev.GivenBefore, drug="dexmedetomidine", amount=d("50"), unit="mcg", route="IM", by_whom="night nurse",
           where="the ward", given_at=NINE - timedelta(hours=1))  # fmt: skip
    t.order("o2", "atropine", "anticholinergic", "IV", "0.02", "0.02")
    (said_so,) = flags_of(t, "o2").values()
    assert "Dexmedetomidine 50 mcg IM the ward, 08:00 by night nurse" in said_so
    assert "counted for 8 h, from memory" in said_so


def test_a_reversal_before_its_agonist_and_an_agonist_before_its_reversal() -> None:
    """U25, U26: naloxone undoes methadone, pain relief too; after naloxone methadone may not work. Both wear off (from memory)."""
    t = Telling()
    t.order()
    t.order("o2", "naloxone", "reversal", "IV", "0.002", "0.002")
    assert not flags_of(t, "o1") and not flags_of(t, "o2")
    t.draw()
    t.tell(ev.DrugGiven, **t.push("0.2", "2"))
    t.at(10)
    assert "Methadone 2 mg IM, 09:00 by TE" in flags_of(t, "o2")["what it undoes"]
    t.tell(ev.DrugGiven, drug="naloxone", amount=d("0.02"), unit="mg", volume_ml=d("0.05"), concentration="0.4 mg/mL", order="o2",
           route="IV", confirmed=True)  # fmt: skip
    t.at(20)
    assert "Naloxone 0.02 mg IV, 09:10 by TE" in flags_of(t, "o1")["its reversal went in"]
    t.at(60 * 9)
    assert "its reversal went in" not in flags_of(t, "o1") and "what it undoes" not in flags_of(t, "o2")


def test_times_to_come_say_whether_they_are_from_memory() -> None:
    t = Telling()
    t.order()
    t.draw()
    found = said(t)
    assert found.times_memory or found.times_cited, "a time is from somewhere, or it is marked"


def test_another_vial_than_ordered_is_a_difference() -> None:
    """U29: the order names 5 mg/mL, the syringe was drawn from 10 mg/mL; a dilution of the ordered vial is none."""
    t = Telling()
    t.order("o1", "midazolam", "premedication", "IM", "0.2", "0.2", concentration="1 mg/mL")
    t.draw("s1", "o1", "midazolam", "0.4", "5 mg/mL", confirmed=True)
    t.tell(ev.DrugGiven, **t.push("0.4", "2", drug="midazolam"))
    assert [x.difference for x in view(t).record.differences] == ["from 5 mg/mL instead of 1 mg/mL"]


def test_the_handover_tells_the_wards_clock() -> None:
    """U20: methadone of the ward is due four hours after it; pain relief that nobody planned stays not known."""
    t = Telling()
    t.tell(ev.GivenBefore, **ward("methadone", "2", 120))
    handed = dict(view(t).recover.handover)
    assert "Methadone again at the soonest Mon 11:00" in handed["Falls due again"]
    assert "needs an order" in handed["Falls due again"] and "pain relief" in handed["Not known"]
