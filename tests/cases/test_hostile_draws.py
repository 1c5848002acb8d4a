"""What is drawn: an order that no longer fits fills no syringe, nor does a wrong diluent, a guessed powder or an old vial.

Diluents are common practice, from memory in the tables; this is the fourth of May 2026.
"""

from __future__ import annotations

from typing import Any

import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.refusals import AskAgain, Missing, NotAQuantity, OutOfRange, OverLimit, Refusal


def drawn(drug: str, ml: str, holds: str, order: str = "", **more: Any) -> dict[str, Any]:
    return {
        "syringe": "s1",
        "order": order,
        "drug": drug,
        "vial_concentration": holds,
        "concentration": holds,
        "volume_ml": d(ml),
        "drug_volume_ml": d(ml),
        **more,
    }


def test_a_draw_is_held_like_a_push() -> None:
    """U4: an order written before there was a weight, thirty times the stop, fills no syringe."""
    t = Telling(weighed=False)
    t.order(low="30", high="30")
    draw = drawn("methadone", "60", "10 mg/mL", "o1")
    t.refused(Missing, "weight", ev.SyringeDrawn, **draw)
    t.tell(ev.Weighed, weight_kg=d("20"), method="scale", confirmed=True)
    with pytest.raises(Refusal) as turned:
        t.tell(ev.SyringeDrawn, **draw)
    assert turned.value.field == "dose"
    t.refused(OverLimit, "dose", ev.SyringeDrawn, **draw, confirmed=True)


@pytest.mark.parametrize("diluent", ["milk", "tap water", "sodium chloride 0.9 %"])
def test_a_diluent_is_one_of_the_drugs(diluent: str) -> None:
    """U10: propofol goes into glucose 5 % (common practice, from memory) and into nothing else unasked."""
    t = Telling()
    t.order("o1", "propofol", "induction", "IV", "2", "4")
    thin = {**drawn("propofol", "10", "10 mg/mL", "o1"), "concentration": "5 mg/mL", "drug_volume_ml": d("5"),
            "diluent_volume_ml": d("5"), "diluent": diluent}  # fmt: skip
    assert "glucose 5 %" in t.refused(AskAgain, "diluent", ev.SyringeDrawn, **thin).says
    t.tell(ev.SyringeDrawn, **{**thin, "diluent": "dextrose 5 %"})
    t.tell(ev.SyringeDrawn, **{**thin, "syringe": "s2"}, confirmed=True)


def test_a_powder_holds_what_is_listed_or_is_asked_about() -> None:
    """U9: a powder has no strength of its own: any would pass."""
    t = Telling()
    t.order("o1", "cefazolin", "antibiotic", "IV", "22", "22")
    powder = {**drawn("cefazolin", "2", "1 g powder", "o1"), "concentration": "900 mg/mL"}
    t.refused(AskAgain, "concentration", ev.SyringeDrawn, **powder)
    t.tell(ev.SyringeDrawn, **{**powder, "concentration": "100 mg/mL"})


@pytest.mark.parametrize(
    ("expires", "name"),
    [
        ("03/2020", OutOfRange),
        ("2020-03", OutOfRange),
        ("2026-05-03", OutOfRange),
        ("13/2028", OutOfRange),
        ("03/28", NotAQuantity),
        ("03/04/2028", NotAQuantity),
        ("MAR 2028", NotAQuantity),
        ("soon", NotAQuantity),
    ],
)
def test_an_expiry_is_read_or_refused(expires: str, name: type[Refusal]) -> None:
    """U27: month and year, or a day; what can be read in two ways is not read."""
    t = Telling()
    t.order()
    t.refused(name, "expires", ev.SyringeDrawn, **drawn("methadone", "0.2", "10 mg/mL", "o1"), expires=expires)


def test_an_expired_vial_needs_a_word_and_a_reason() -> None:
    """U27: a month counts to its end: this is the fourth of May 2026."""
    t = Telling()
    t.order()
    draw = drawn("methadone", "0.2", "10 mg/mL", "o1")
    t.tell(ev.SyringeDrawn, **draw, expires="05/2026")
    old = {**draw, "syringe": "s2", "expires": "04/2026"}
    t.refused(OutOfRange, "expires", ev.SyringeDrawn, **old, confirmed=True)
    t.refused(Missing, "reason", ev.SyringeDrawn, **old, said_by="vet")
    t.tell(ev.SyringeDrawn, **old, said_by="vet", reason="the only opioid in the house")
