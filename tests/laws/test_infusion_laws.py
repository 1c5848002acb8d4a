"""What holds for every infusion and every bag, over random animals, doses, vials and rates."""

from __future__ import annotations

from decimal import Decimal
from functools import cache

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.drugs import DosingWeight, Formulary, dose_rate_of, minutes_left, rate_ml_h
from spiracle.drugs.bags import Bag, Wanted, bag_rate, in_the_bag, mix
from spiracle.drugs.drops import SETS, drops
from spiracle.drugs.infusion import per
from spiracle.quantity import Quantity
from spiracle.refusals import NotMeasurable
from spiracle.sheets.infusion_cards import empty_at, running_cards
from spiracle.sheets.told import told

TINY = Decimal("1e-20")


@cache
def drugs() -> Formulary:
    return load_facts(None).drugs


def decimals(low: str, high: str, places: int = 2) -> st.SearchStrategy[Decimal]:
    return st.decimals(Decimal(low), Decimal(high), places=places)


weights = decimals("0.5", "90", 1)
UNITS = (
    "mg/kg/h",
    "mcg/kg/min",
    "mg/kg/min",
    "mcg/kg/h",
    "mg/kg/day",
    "mcg/lb/min",
    "ng/kg/min",
    "mg/h",
    "mg/animal/h",
)
VIALS = (("ketamine", "100 mg/mL"), ("lidocaine", "20 mg/mL"), ("morphine", "10 mg/mL"), ("fentanyl", "50 mcg/mL"))


@given(
    decimals("0.01", "100"),
    st.sampled_from(UNITS),
    weights,
    decimals("0.01", "100"),
    st.sampled_from(("mg/mL", "mcg/mL")),
)
def test_a_rate_reads_back_as_the_dose_it_was_made_from(
    dose: Decimal, unit: str, kg: Decimal, holds: Decimal, per_ml: str
) -> None:
    """U3: mL/h from a dose, and the dose from the mL/h."""
    strength, weight = Quantity.of(holds, per_ml), DosingWeight(kg)
    back = dose_rate_of(rate_ml_h(Quantity.of(dose, unit), weight, strength), weight, strength, unit)
    assert abs(back.value - dose) <= dose * TINY


@given(
    decimals("0.001", "10000", 3),
    st.sampled_from(("mg/kg/h", "mcg/kg/min", "mcg/kg/h", "mg/kg/min", "mIU/kg/min", "mL/kg/h")),
)
def test_both_time_bases_are_one_dose(value: Decimal, unit: str) -> None:
    """U3: sixty between them, whatever the figure reads as."""
    dose = Quantity.of(value, unit)
    for time in ("min", "h"):
        found = per(dose, time)
        assert str(found.unit).endswith(f"/{time}")
        assert abs(found.to(unit).value - value) <= value * TINY


@st.composite
def wanted(draw: st.DrawFn, most: int = 4) -> list[Wanted]:
    chosen = draw(st.lists(st.sampled_from(VIALS), min_size=1, max_size=most, unique=True))
    return [Wanted(n, n, Quantity.of(draw(decimals("0.5", "60", 1)), "mcg/kg/min" if n != "fentanyl" else "mcg/kg/h"),
                   Quantity.of(*v.split(" "))) for n, v in chosen]  # fmt: skip


def bag(doses: list[Wanted], rate: Decimal, kg: Decimal, ml: int) -> Bag | None:
    book = drugs()
    pump = bag_rate(Quantity.of(rate, "mL/kg/h"), kg, book.fineness)
    if pump.value <= 0:
        return None
    try:
        return mix(
            doses, pump, Quantity.of(ml, "mL"), kg, book.barrels_of(book.stock()), book.fineness, book.swap_share
        )
    except NotMeasurable:
        return None


bags = st.tuples(wanted(), decimals("0.5", "20", 1), weights, st.sampled_from((100, 250, 500, 1000)))


@given(bags)
@settings(max_examples=200)
def test_a_bag_adds_up_and_never_gives_more_than_is_ordered(case: tuple[list[Wanted], Decimal, Decimal, int]) -> None:
    """U3, U4: the parts are the whole, every volume is on a mark, and rounding only ever gives less."""
    made = bag(*case)
    assume(made is not None)
    assert made is not None
    removed = made.remove.value if made.remove is not None else Decimal(0)
    assert made.total.value == made.holds.value - removed + sum(p.volume.value for p in made.parts)
    assert removed <= sum(p.volume.value for p in made.parts)
    assert made.hours * made.rate.value - made.total.value < Decimal("1e-15")
    for p in made.parts:
        assert p.volume.value % p.barrel.mark.value == 0 and p.volume.value > 0
        assert p.gives.value <= p.wanted.dose.value * (1 + TINY)
        assert p.error_percent <= 0
        in_all = p.strength.value * made.total.value
        assert abs(in_all - p.amount.number(str(p.strength.unit).split("/")[0])) < Decimal("1e-15")


@given(bags)
@settings(max_examples=100)
def test_a_bag_of_one_drug_is_the_syringe_of_the_same_strength(
    case: tuple[list[Wanted], Decimal, Decimal, int],
) -> None:
    """U3: what a bag gives of a drug is what a pump gives from a syringe of that strength at that rate."""
    made = bag(case[0][:1], *case[1:])
    assume(made is not None)
    assert made is not None
    part = made.parts[0]
    from_syringe = dose_rate_of(made.rate, DosingWeight(case[2]), part.strength, part.wanted.dose.unit)
    assert abs(from_syringe.value - part.gives.value) <= part.gives.value * TINY
    assert in_the_bag(part.wanted.vial, part.volume.value, made.total.value) == part.strength


@given(decimals("1", "1000", 1), st.sampled_from(SETS))
def test_whole_drops_never_give_more(ml_h: Decimal, per_ml: int) -> None:
    """U3: a drop less than asked at most, and never one more."""
    try:
        found = drops(Quantity.of(ml_h, "mL/h"), per_ml)
    except NotMeasurable:
        return
    assert found.rate.value <= ml_h * (1 + TINY)
    assert ml_h - found.rate.value < Decimal(60) / per_ml
    assert abs(found.seconds_between * found.per_min - 60) <= Decimal("0.05") * found.per_min


@given(decimals("1", "1000", 1), decimals("0.1", "500", 1), decimals("0.1", "100", 1))
def test_less_left_or_faster_is_sooner_empty(ml: Decimal, rate: Decimal, more: Decimal) -> None:
    def left(volume: Decimal, ml_h: Decimal) -> Decimal:
        return minutes_left(Quantity.of(volume, "mL"), Quantity.of(ml_h, "mL/h"))

    assert left(ml, rate + more) <= left(ml, rate) <= left(ml + more, rate)


def running(kg: str = "20") -> Telling:
    t = Telling(kg=kg)
    t.order("l", "lidocaine", "analgesia", "IV", "25", "50", "mcg/kg/min")
    t.draw("s1", "l", "lidocaine", "20", "20 mg/mL", "20 mL")
    t.tell(ev.InfusionStarted, infusion="i1", drug="lidocaine", rate_ml_h=d("2"), order="l", syringe="s1")
    return t


@given(st.lists(st.tuples(st.integers(1, 60), decimals("1", "3", 1)), min_size=1, max_size=5))
@settings(max_examples=25, deadline=None)
def test_the_time_it_is_empty_stands_still_and_moves_with_the_rate(steps: list[tuple[int, Decimal]]) -> None:
    """U3: while nothing is touched it does not move; a faster rate brings it forward, a slower one puts it off."""
    t, at = running(), 0
    for minutes, rate in steps:
        at += minutes
        before = t.at(at - minutes + 1)
        was, then = _empty(before), t.case.live(ev.InfusionChanged)
        old = then[-1].rate_ml_h if then else d("2")
        now = _empty(t.at(at))
        assert was is not None and now is not None and abs((now - was).total_seconds()) <= 1
        t.tell(ev.InfusionChanged, infusion="i1", rate_ml_h=rate)
        after = _empty(t)
        assert after is not None
        assert (after <= now) if rate > old else (after >= now) if rate < old else after == now


def _empty(t: Telling):  # type: ignore[no-untyped-def]
    seen = told(t.case, t.facts, t.now)
    return empty_at(seen, seen.infusions[0])


@given(st.sampled_from(("19", "20", "20.0", "21")), st.sampled_from(("", "20 mg/mL", "10 mg/mL")))
@settings(max_examples=20, deadline=None)
def test_a_card_is_void_when_weight_or_strength_changed_and_only_then(kg: str, vial: str) -> None:
    """U4, U9: the same figure said again voids nothing."""
    t = running()
    t.at(5).tell(ev.Weighed, weight_kg=d(kg), method="scale", confirmed=True)
    if vial:
        t.at(6).tell(ev.VialPicked, order="l", drug="lidocaine", concentration=vial)
    seen = told(t.case, t.facts, t.now)
    void = running_cards(seen, seen.infusions[0])[0].void
    assert bool(void) == (d(kg) != 20 or vial == "10 mg/mL")
