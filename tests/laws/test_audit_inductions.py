"""Laws of the inductions that a log tells: what is struck is gone, what comes after the tube is not in it, order plays no part."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook import Book, at, d, rearrived
from spiracle.audit import Induction, alike, by_asa
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.sheets.induction_of import induction_of
from spiracle.sheets.inductions import inductions_sheet, own_inductions

FACTS = load_facts()
AMOUNTS = st.lists(st.decimals("0.1", "80", places=1), min_size=1, max_size=8)
WEIGHTS = st.decimals("1", "70", places=2)


def told(amounts: list[Decimal], kg: Decimal, asa: str = "II", case: str = "c") -> tuple[Book, list[str]]:
    """So many pushes a quarter of a minute apart from 60 on, then a proven tube at 70."""
    b = Book(case)
    b.tell(0, ev.CaseOpened, species="dog")
    b.tell(1, ev.Weighed, weight_kg=kg, method="scale")
    b.tell(2, ev.AsaAssigned, asa=asa)
    pushes = [b.tell(60 + n / 4, ev.DrugGiven, drug="propofol", amount=mg, unit="mg", route="IV", purpose="induction")
              for n, mg in enumerate(amounts)]  # fmt: skip
    b.tell(69, ev.AttemptBegan, attempt="a", tube_id_mm=d("8"))
    b.tell(70, ev.AttemptEnded, attempt="a", outcome="in")
    b.tell(71, ev.ProofNoted, sign="co2", breaths=6)
    b.tell(71, ev.AirwayProven, method="CO2")
    return b, pushes


@given(AMOUNTS, WEIGHTS, st.data())
def test_striking_a_push_takes_its_dose_out(amounts: list[Decimal], kg: Decimal, data: st.DataObject) -> None:
    b, pushes = told(amounts, kg)
    gone = data.draw(st.sets(st.sampled_from(range(len(pushes)))))
    for n in gone:
        b.tell(80, ev.EntryStruck, target=pushes[n], reason="not given")
    left = [mg for n, mg in enumerate(amounts) if n not in gone]
    one = induction_of(b.fold(), FACTS)
    if not left:
        assert not isinstance(one, Induction)
        return
    assert isinstance(one, Induction)
    assert one.pushes == len(left)
    assert float(one.mg_per_kg) == pytest.approx(float(sum(left)) / float(kg), rel=1e-12)


@given(AMOUNTS, WEIGHTS, st.decimals("0.1", "80", places=1))
def test_what_goes_in_after_the_tube_changes_nothing(amounts: list[Decimal], kg: Decimal, more: Decimal) -> None:
    b, _ = told(amounts, kg)
    before = induction_of(b.fold(), FACTS)
    b.tell(72, ev.DrugGiven, drug="propofol", amount=more, unit="mg", route="IV", purpose="induction")
    b.tell(73, ev.DrugGiven, drug="ketamine", amount=more, unit="mg", route="IV", purpose="analgesia")
    b.tell(74, ev.Weighed, weight_kg=kg * 2, method="estimated")
    b.tell(75, ev.AsaAssigned, asa="V")
    b.tell(76, ev.VaporiserSet, agent="isoflurane", percent=d("2"))
    assert induction_of(b.fold(), FACTS) == before


@given(AMOUNTS, WEIGHTS, st.randoms(use_true_random=False))
def test_the_order_in_which_entries_arrive_plays_no_part(
    amounts: list[Decimal], kg: Decimal, chance: random.Random
) -> None:
    b, _ = told(amounts, kg)
    order = list(range(len(b.entries)))
    chance.shuffle(order)
    assert induction_of(b.fold(rearrived(b.entries, order)), FACTS) == induction_of(b.fold(), FACTS)


@given(st.lists(st.tuples(WEIGHTS, st.sampled_from(["I", "II", "III", "IV", "V"])), min_size=1, max_size=14),
       st.randoms(use_true_random=False))  # fmt: skip
def test_every_animal_is_in_one_group_and_one_band_whatever_the_order_of_cases(
    animals: list[tuple[Decimal, str]], chance: random.Random
) -> None:
    cases = [told([d("40")], kg, asa, f"c-{n}")[0].fold() for n, (kg, asa) in enumerate(animals)]
    own = own_inductions(cases, FACTS)
    groups = alike(own.found)
    assert sum(map(len, groups.values())) == len(animals)
    for group in groups.values():
        bands = by_asa(group)
        assert sum(len(bands.get(name, ())) for name in ("I-II", "III", "IV-V", "not graded")) == len(group)
    chance.shuffle(cases)
    assert inductions_sheet(own_inductions(cases, FACTS), FACTS) == inductions_sheet(own, FACTS)
    assert all(i.day == at(60).date() for i in own.found)
