"""What of one drug went into the vein, read from the log. Every amount was worked by hand from the entries beside it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from casebook import Book, at, d, rearrived
from level_case import animal, pump, pushed
from spiracle.case import events as ev
from spiracle.case.deliveries import Deliveries, deliveries, drugs_by_vein
from spiracle.case.fold import fold
from spiracle.doors.tables import load_facts


def went(b: Book, minutes: float, drug: str = "propofol") -> Deliveries:
    return deliveries(b.fold(), load_facts(), drug, at(minutes))


def ran(found: Deliveries) -> list[tuple[float, float, float]]:
    """From minute, to minute, mg/min."""
    minute = timedelta(minutes=1)
    return [((r.start - at(0)) / minute, (r.stop - at(0)) / minute, round(r.mg_min, 9)) for r in found.ran]


def test_pushes_in_the_order_they_went_in_and_none_of_later() -> None:
    b = animal()
    pushed(b, 62, "20")
    pushed(b, 60, "15")
    pushed(b, 70, "5")
    found = went(b, 65)
    assert [(p.at, p.mg) for p in found.pushed] == [(at(60), 15.0), (at(62), 20.0)]
    assert (found.first_at, found.total_mg, found.mg_min_now, found.unfollowed) == (at(60), 35.0, 0, ())


@pytest.mark.parametrize(("amount", "unit", "mg"), [("15", "mg", 15.0), ("15000", "mcg", 15.0), ("0.015", "g", 15.0)])
def test_amounts_of_mass_come_to_milligrams(amount: str, unit: str, mg: float) -> None:
    """15 mg is 15,000 mcg is 0.015 g."""
    b = animal()
    pushed(b, 60, "1", amount=d(amount), unit=unit)
    assert [p.mg for p in went(b, 61).pushed] == [mg]


@pytest.mark.parametrize(("fields", "words"), [
    ({"route": "IM"}, "15 mg IM at 09:00"),
    ({"route": "SC"}, "15 mg SC at 09:00"),
    ({"route": "by pigeon"}, "15 mg by pigeon at 09:00"),
    ({"route": ""}, "15 mg by a way that was not told at 09:00"),
    ({"unit": "IU"}, "15 IU at 09:00"),
    ({"unit": "mL"}, "15 mL at 09:00"),
    ({"unit": "mg/kg"}, "15 mg/kg at 09:00"),
])  # fmt: skip
def test_what_no_model_of_the_vein_can_follow_is_named(fields: dict[str, str], words: str) -> None:
    """D4: by another way or in another measure: named, never guessed at, and it adds nothing to the milligrams."""
    b = animal()
    pushed(b, 60, "15", **fields)
    found = went(b, 61)
    assert (found.unfollowed, found.pushed, found.first_at, found.total_mg) == ((words,), (), None, 0)


def test_the_bone_is_as_good_as_the_vein() -> None:
    b = animal()
    pushed(b, 60, "15", route="IO")
    assert [p.mg for p in went(b, 61).pushed] == [15.0]


def test_doses_of_before_the_case_count_by_the_vein_alone() -> None:
    b = animal()
    b.tell(10, ev.GivenBefore, drug="propofol", amount=d("40"), unit="mg", route="IV", given_at=at(-90))
    b.tell(11, ev.GivenBefore, drug="propofol", amount=d("10"), unit="mg", route="IM", given_at=at(-60))
    b.tell(12, ev.GivenBefore, drug="methadone", amount=d("2"), unit="mg", route="IV", given_at=at(-60))
    found = went(b, 61)
    assert [(p.at, p.mg) for p in found.pushed] == [(at(-90), 40.0)]
    assert found.unfollowed == ("10 mg IM at 07:00",)


def test_a_struck_push_and_a_struck_pump_are_not_there() -> None:
    b = animal()
    one, two = pushed(b, 60, "15"), pump(b, 61, "30", "propofol", "10 mg/mL")
    for target in (one, two):
        b.tell(62, ev.EntryStruck, target=target, reason="wrong patient")
    assert went(b, 63) == Deliveries(drug="propofol", until=at(63))


def test_rates_follow_one_another_and_two_pumps_add_up() -> None:
    """30 mL/h of 10 mg/mL is 5 mg/min; 12 mL/h of 20 mg/mL is 4; the first is halved at 70 and stopped at 80."""
    b = animal()
    pump(b, 60, "30", "propofol", "10 mg/mL", "i-1")
    pump(b, 65, "12", "propofol", "20 mg/mL", "i-2")
    b.tell(70, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("15"))
    b.tell(80, ev.InfusionStopped, infusion="i-1")
    found = went(b, 90)
    assert ran(found) == [(60, 65, 5.0), (65, 70, 9.0), (70, 80, 6.5), (80, 90, 4.0)]
    assert (found.mg_min_now, found.total_mg) == (pytest.approx(4.0), pytest.approx(25 + 45 + 65 + 40))
    assert went(b, 68).mg_min_now == pytest.approx(9.0), "the stop is not known yet"


def test_a_pump_that_paused_has_a_gap() -> None:
    b = animal()
    pump(b, 60, "30", "propofol", "10 mg/mL")
    b.tell(65, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("0"))
    b.tell(70, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("12"))
    found = went(b, 75)
    assert ran(found) == [(60, 65, 5.0), (70, 75, 2.0)]


def test_the_total_read_at_the_stop_scales_every_rate() -> None:
    """5 mL at 30 mL/h and 2.5 at 15: 7.5 by rate and time, 6 by the pump: four fifths."""
    b = animal()
    pump(b, 60, "30", "propofol", "10 mg/mL")
    b.tell(70, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("15"))
    b.tell(80, ev.InfusionStopped, infusion="i-1", total_ml=d("6"))
    found = went(b, 90)
    assert ran(found) == [(60, 70, 4.0), (70, 80, 2.0)] and found.total_mg == pytest.approx(60)
    assert ran(went(b, 79)) == [(60, 70, 5.0), (70, 79, 2.5)], "before the stop the pump is taken at its word"


def test_the_syringe_says_what_a_pump_held() -> None:
    b = animal()
    b.tell(40, ev.SyringeDrawn, syringe="s-9", order="", drug="fentanyl", vial_concentration="50 mcg/mL", concentration="10 mcg/mL",
           volume_ml=d("20"), drug_volume_ml=d("4"), barrel="20 mL")  # fmt: skip
    pump(b, 60, "6", "fentanyl", "", syringe="s-9")
    assert ran(went(b, 70, "fentanyl")) == [(60, 70, 0.001)]


@pytest.mark.parametrize(("strength", "route", "words"), [
    ("", "IV", "what a pump held that was started at 09:00"),
    ("strong", "IV", "what a pump held that was started at 09:00"),
    ("100 IU/mL", "IV", "what a pump held that was started at 09:00"),
    ("10 mg/mL", "SC", "a pump SC"),
])  # fmt: skip
def test_a_pump_that_cannot_be_followed_is_named(strength: str, route: str, words: str) -> None:
    """D4: without a strength, in a measure that is no mass, or under the skin."""
    b = animal()
    pump(b, 60, "30", "propofol", strength, route=route)
    found = went(b, 61)
    assert (found.unfollowed, found.ran) == ((words,), ())
    assert "propofol" in drugs_by_vein(b.fold(), load_facts())


def test_drugs_in_the_order_of_their_entries_each_once() -> None:
    b = animal()
    pushed(b, 60, "15")
    pushed(b, 61, "1", "methadone")
    pushed(b, 62, "15")
    pump(b, 63, "6", "fentanyl", "50 mcg/mL")
    pushed(b, 64, "1", "nothing of the kind")
    assert drugs_by_vein(b.fold(), load_facts()) == ("propofol", "methadone", "fentanyl")


def test_order_of_arrival_plays_no_part() -> None:
    b = animal()
    pushed(b, 60, "15")
    pushed(b, 60, "10")
    pump(b, 61, "30", "propofol", "10 mg/mL")
    b.tell(65, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("15"))
    turned = fold(rearrived(b.entries, list(reversed(range(len(b.entries))))))
    assert deliveries(turned, load_facts(), "propofol", at(70)) == went(b, 70)


def test_a_moment_between_two_seconds_loses_no_second_of_the_pump() -> None:
    """The clock of the screens does not tick in whole seconds."""
    b = animal()
    pump(b, 60, "30", "propofol", "10 mg/mL")
    found = deliveries(b.fold(), load_facts(), "propofol", at(61) + timedelta(milliseconds=700))
    assert found.mg_min_now == pytest.approx(5.0) and found.total_mg == pytest.approx(5.05, abs=0.1)
