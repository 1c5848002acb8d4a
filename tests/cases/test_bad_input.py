"""Nine slips of a tired hand, each caught by its own named refusal or question, in one sentence, beside its field.

The doses are rows of the tables with their sources there; the hospital is invented. Carries U1, U2, U3, U4, U9, U27.
"""

from __future__ import annotations

import msgspec
import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.refusals import AskAgain, Missing, OutOfRange, OverLimit, Refusal, Unknown
from spiracle.sheets.case_view import case_view


def one_sentence(refusal: Refusal, field: str, *words: str) -> None:
    """Beside its field, one sentence that says why, and what would be accepted."""
    assert refusal.field == field, refusal.sentence
    says = refusal.says.rstrip(".")
    assert ". " not in says and says and refusal.accepts.strip(), refusal.sentence
    for word in words:
        assert word in refusal.says, refusal.says


@pytest.mark.parametrize(
    ("drug", "purpose", "route", "dose", "unit", "words"),
    [
        ("methadone", "premedication", "IM", "2", "mg/kg", ("ten times the usual", "point slipped")),
        ("methadone", "premedication", "IM", "0.02", "mg/kg", ("tenth of the usual", "point slipped")),
        ("fentanyl", "analgesia", "IV", "5", "mg/kg/h", ("thousand times", "mg written for mcg")),
        ("methadone", "premedication", "IM", "0.2", "mcg/kg", ("thousandth", "mcg written for mg")),
        ("methadone", "premedication", "IM", "2.5", "mg/kg", ()),
        ("methadone", "premedication", "IM", "0.3", "mg", ("dose per kg written as a total",)),
        ("ketamine", "analgesia", "IV", "3", "mcg/kg/h", ("sixtieth", "per hour written for per minute")),
        ("fentanyl", "analgesia", "IV", "5", "mcg/kg/min", ("sixty times", "per minute written for per hour")),
    ],
)
def test_a_slip_in_the_order(drug: str, purpose: str, route: str, dose: str, unit: str, words: tuple[str, ...]) -> None:
    """U1, U2, U3: tenfold both ways, mg for mcg both ways, total for per kg both ways, minute for hour both ways."""
    t = Telling(kg="20")
    with pytest.raises((AskAgain, OverLimit)) as asked:
        t.order("o1", drug, purpose, route, dose, dose, unit)
    one_sentence(asked.value, "dose", *words)


def test_the_total_written_per_kg() -> None:
    """U2: 8 mg for 40 kg, written 8 mg/kg."""
    t = Telling(kg="40")
    with pytest.raises((AskAgain, OverLimit)) as asked:
        t.order("o1", "methadone", "premedication", "IM", "8", "8", "mg/kg")
    one_sentence(asked.value, "dose", "total for 40 kg written as a dose per kg")


def test_a_species_without_a_row() -> None:
    """U4: esmolol has rows for rhythm in dogs; a drug without one for a cat names what there is."""
    t = Telling("cat", "4")
    with pytest.raises(Unknown) as no:
        t.order("o1", "carprofen", "local block", "perineural", "1", "1")
    one_sentence(no.value, "purpose")


def test_a_species_nobody_has() -> None:
    """U4: there is no default and no guess."""
    with pytest.raises((Refusal, msgspec.ValidationError)):
        Telling("rabbit")


def test_an_expired_vial() -> None:
    """U27."""
    t = Telling()
    t.order()
    with pytest.raises(OutOfRange) as old:
        t.draw(expires="2026-04")
    one_sentence(old.value, "expires", "expired 2026-04")


def test_a_strength_not_stocked() -> None:
    """U9: 50 mg/mL of methadone stands nowhere."""
    t = Telling()
    t.order()
    with pytest.raises(AskAgain) as asked:
        t.draw(holds="50 mg/mL", ml="0.04")
    one_sentence(asked.value, "strength", "50 mg/mL", "not stocked")


def test_two_strengths_on_one_shelf() -> None:
    """U9: ephedrine stands there as 50 and as 5 mg/mL: no volume until one is picked."""
    t = Telling()
    t.order("o1", "ephedrine", "blood pressure", "IV", "0.1", "0.1")
    line = case_view(t.case, len(t.entries), t.facts, t.now).plan.lines[0]
    assert line.refusal is not None and line.refusal.name == Missing.__name__ and line.volume_ml is None
    assert "two strengths" in line.refusal.says
    assert "50 mg/mL" in line.refusal.accepts and "5 mg/mL" in line.refusal.accepts


def test_a_point_left_out_in_lock_step() -> None:
    """U1: order and draw carry the same slip, 3 for 0.3 mg/kg: caught at the order; passed by a word, the push is held too."""
    t = Telling()
    with pytest.raises((AskAgain, OverLimit)) as asked:
        t.order(low="3", high="3")
    one_sentence(asked.value, "dose", "ten times the usual")
    t.order()
    with pytest.raises(AskAgain) as draw:
        t.draw(ml="2", barrel="3 mL")
    one_sentence(draw.value, "volume", "20 mg", "10 times the 2 mg ordered")
    t.draw(ml="2", barrel="3 mL", confirmed=True)
    with pytest.raises(OverLimit) as over:
        t.tell(ev.DrugGiven, **t.push("2", "20"))
    one_sentence(over.value, "dose", "over the ordered 2 mg")
    assert t.case.live(ev.DrugGiven) == () and d("2") == t.case.live(ev.SyringeDrawn)[0].volume_ml
