"""What a hospital asks for at the draw, and what its shelf may answer. Invented lots and dates; the rules are the hospital's own.

Carries U27, D20, D22.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import msgspec
import pytest

from small_house import NINE, Telling, d
from spiracle.case import events as ev
from spiracle.case.hospital import DrawAsk, StockedDrug, StockedVial, read_hospital
from spiracle.refusals import BadTable, Missing, NotAllowed, OutOfRange
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import DrugLine


def asking(*asks: DrawAsk, vials: tuple[StockedVial, ...] = (), weighed: bool = True) -> Telling:
    t = Telling(weighed=weighed)
    shelf = tuple(d if d.drug != "methadone" else StockedDrug(drug="methadone", strengths=("10 mg/mL",), vials=vials)
                  for d in t.facts.hospital.drugs)  # fmt: skip
    t.facts = replace(t.facts, hospital=msgspec.structs.replace(t.facts.hospital, draw_asks=asks, drugs=shelf))
    return t


def methadone(**more: Any) -> dict[str, Any]:
    return {"syringe": "s1", "order": "o1", "drug": "methadone", "vial_concentration": "10 mg/mL", "concentration": "10 mg/mL",
            "volume_ml": d("0.2"), "drug_volume_ml": d("0.2"), "barrel": "1 mL", **more}  # fmt: skip


def line(t: Telling) -> DrugLine:
    view = case_view(t.case, len(t.entries), t.facts, t.now)
    return next(x for x in view.plan.lines if x.order == "o1")


def test_an_expiry_left_empty_is_asked() -> None:
    """U27: asked where the hospital asks; a vial that carries none is said so, an old one is refused as before."""
    t = asking("expiry")
    t.order()
    asked = t.refused(Missing, "expires", ev.SyringeDrawn, **methadone())
    assert "no date" in asked.accepts
    t.refused(Missing, "expires", ev.SyringeDrawn, **methadone(confirmed=True))
    t.refused(OutOfRange, "expires", ev.SyringeDrawn, **methadone(expires="2026-04"))
    t.tell(ev.SyringeDrawn, **methadone(expires="no date"))
    t.tell(ev.SyringeDrawn, **methadone(syringe="s2", expires="2026-05"))


def test_what_was_read_when_the_vial_was_picked_counts() -> None:
    t = asking("expiry", "lot of controlled drugs")
    t.order()
    t.tell(ev.VialPicked, order="o1", drug="methadone", concentration="10 mg/mL", lot="K77", expires="2027-01")
    t.tell(ev.SyringeDrawn, **methadone())


def test_a_controlled_drug_needs_its_lot() -> None:
    """D22: only a controlled one; where the hospital asks for nothing, nothing is asked."""
    t = asking("lot of controlled drugs")
    t.order()
    t.refused(Missing, "lot", ev.SyringeDrawn, **methadone())
    t.tell(ev.SyringeDrawn, **methadone(lot="K77"))
    t.order("o2", "ephedrine", "hypotension", "IV", "0.1", "0.1")
    t.tell(ev.SyringeDrawn, syringe="s2", order="o2", drug="ephedrine", vial_concentration="5 mg/mL", concentration="5 mg/mL",
           volume_ml=d("0.2"), drug_volume_ml=d("0.2"), barrel="1 mL")  # fmt: skip
    plain = Telling()
    plain.order()
    plain.tell(ev.SyringeDrawn, **methadone())


def test_a_controlled_drug_waits_for_a_signed_plan() -> None:
    """D20: an order entered for the veterinarian, a signature, a signature that a new weight undid, and the word over it."""
    t = asking("signed plan for controlled drugs")
    t.order()
    early = t.refused(NotAllowed, "order", ev.SyringeDrawn, **methadone())
    assert "nobody signed" in early.says
    sign = {"signed_by": "vet", "by": "vet", "weight_kg": d("10"), "orders": ("o1",)}
    t.at(1).tell(ev.PlanApproved, **sign)
    t.at(2).tell(ev.SyringeDrawn, **methadone())
    t.at(3).tell(ev.Weighed, weight_kg=d("9.8"), method="scale", confirmed=True)
    late = t.refused(NotAllowed, "order", ev.SyringeDrawn, **methadone(syringe="s2"))
    assert "weight is 9.8 kg" in late.says
    t.tell(ev.SyringeDrawn, **methadone(syringe="s2", said_by="vet", reason="on the phone, signs at noon"))
    no_order = t.refused(NotAllowed, "order", ev.SyringeDrawn, **methadone(syringe="s3", order=""))
    assert "no order" in no_order.says
    t.tell(ev.SyringeDrawn, **methadone(syringe="s3", by="vet"))


def test_a_veterinarians_own_order_is_signed_by_being_entered() -> None:
    t = asking("signed plan for controlled drugs")
    t.order(by="vet")
    t.tell(ev.SyringeDrawn, **methadone())


def test_an_emergency_is_never_held_up() -> None:
    t = asking("expiry", "lot of controlled drugs", "signed plan for controlled drugs")
    t.order()
    t.tell(ev.ArrestBegan)
    t.tell(ev.SyringeDrawn, **methadone())


def test_the_shelf_tells_its_one_lot_and_never_guesses_between_two() -> None:
    """A draw in one touch has lot and date only where the shelf holds one lot of this strength, or the picked vial told them."""
    one = StockedVial(strength="10 mg/mL", lot="K77", expires="2027-01")
    t = asking(vials=(one, StockedVial(strength="50 mg/mL", lot="Z1", expires="2028-01")))
    t.order()
    assert (line(t).lot, line(t).expires) == ("K77", "2027-01")
    two = asking(vials=(one, StockedVial(strength="10 mg/mL", lot="K78", expires="2027-06")))
    two.order()
    assert (line(two).lot, line(two).expires) == ("", "")
    two.tell(ev.VialPicked, order="o1", drug="methadone", concentration="10 mg/mL", lot="K78", expires="2027-06")
    assert (line(two).lot, line(two).expires) == ("K78", "2027-06")
    bare = asking()
    bare.order()
    assert (line(bare).lot, line(bare).expires) == ("", "")


def test_a_hospitals_file_may_ask_only_what_is_known() -> None:
    assert read_hospital('name = "x"\ndraw_asks = ["expiry"]').draw_asks == ("expiry",)
    with pytest.raises(BadTable):
        read_hospital('name = "x"\ndraw_asks = ["colour"]')
    assert NINE.year == 2026, "the dates above are held against this year"
