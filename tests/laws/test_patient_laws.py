"""Laws of weights, readings, sheets and watches, over every weight a dog or cat can have."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from spiracle.patient import Weight
from spiracle.refusals import AskAgain, OutOfRange, Refusal, Unknown
from vital_rooms import circulation, emergency, patient, recovery, warmth

D = Decimal
NOON = datetime(2026, 3, 3, 12, tzinfo=UTC)
TOPS = {"dog": D(100), "cat": D(15)}
SPECIES = st.sampled_from(["dog", "cat"])
KG = st.decimals(min_value=D("0.2"), max_value=D(100), places=2, allow_nan=False)


@given(SPECIES, st.decimals(min_value=D("-500"), max_value=D("5000"), places=3, allow_nan=True))
def test_outside_the_bounds_nothing_passes_even_confirmed(species: str, kg: Decimal) -> None:
    """U5: no weight that no dog or cat has."""
    inside = kg.is_finite() and D("0.2") <= kg <= TOPS[species]
    if inside:
        patient().check_weight(species, kg, confirmed=True)
    else:
        with pytest.raises(OutOfRange):
            patient().check_weight(species, kg, confirmed=True)


@given(SPECIES, KG, st.sampled_from([D(10), D("0.1"), 1 / D("0.45359237"), D("0.45359237")]))
def test_tenfold_and_pound_slips_against_the_last_weight_never_pass_unasked(
    species: str, last: Decimal, by: Decimal
) -> None:
    """U5, U4: a tenfold or pound slip is asked or refused for every last weight."""
    kg = (last * by).quantize(D("0.01"))
    assume(last <= TOPS[species])
    with pytest.raises((AskAgain, OutOfRange)):
        patient().check_weight(species, kg, last=Weight(last, "scale"))


@given(SPECIES, KG, st.decimals(min_value=D("-60"), max_value=D(60), places=1))
def test_a_change_over_ten_per_cent_is_always_asked(species: str, last: Decimal, percent: Decimal) -> None:
    kg = last * (1 + percent / 100)
    assume(abs(percent) > 10 and last <= TOPS[species])
    with pytest.raises(Refusal):
        patient().check_weight(species, kg, last=Weight(last, "scale"), typed_once=False)


@given(SPECIES, st.decimals(min_value=D("0.2"), max_value=D("2.99"), places=2))
def test_the_tiny_are_typed_twice_but_not_in_an_emergency(species: str, kg: Decimal) -> None:
    growing = D(40)
    with pytest.raises(AskAgain):
        patient().check_weight(species, kg, age_days=growing)
    patient().check_weight(species, kg, age_days=growing, confirmed=True)
    patient().check_weight(species, kg, age_days=growing, typed_once=False)
    patient().check_weight(species, kg, age_days=growing, method="estimated")


@given(KG, st.integers(0, 60 * 48), st.one_of(st.none(), st.integers(0, 6000)))
def test_a_weight_holds_its_hours_and_no_longer(kg: Decimal, minutes: int, age: int | None) -> None:
    """U6: a day, half a day under 3 kg or six months."""
    days = None if age is None else D(age)
    small = kg < 3 or (days is not None and days < D("182.625"))
    stale = patient().weight_stale(Weight(kg, "scale", NOON), "dog", NOON + timedelta(minutes=minutes), days)
    assert bool(stale) == (minutes > (12 if small else 24) * 60)


def test_a_hospital_may_shorten_the_hours_but_not_lengthen_them() -> None:
    room = patient()
    assert room.weight_good_for(D(8), hospital_hours=(12, 6)) == timedelta(hours=12)
    assert room.weight_good_for(D(2), hospital_hours=(12, 6)) == timedelta(hours=6)
    assert room.weight_good_for(D(8), hospital_hours=(48, 48)) == timedelta(hours=24)


def test_a_weight_without_a_time_or_from_tomorrow_is_stale() -> None:
    room = patient()
    assert room.weight_stale(Weight(D(8), "scale"), "dog", NOON)
    assert room.weight_stale(Weight(D(8), "scale", NOON + timedelta(days=1)), "dog", NOON)


@given(SPECIES, KG, st.integers(1, 9))
def test_lean_weight_is_less_marked_and_falls_with_the_score(species: str, kg: Decimal, score: int) -> None:
    """U8: an estimate beside the weight of a fat animal."""
    lean = patient().lean(species, kg, score)
    if score <= 5:
        assert lean is None
        return
    assert lean is not None and D(0) < lean.value.number("kg") < kg and lean.working.estimated
    if score < 9:
        fatter = patient().lean(species, kg, score + 1)
        assert fatter is not None and fatter.value.number("kg") <= lean.value.number("kg")


@given(st.sets(st.sampled_from([c.id for c in patient().conditions]), max_size=6))
def test_conditions_closed_once_are_closed(ids: set[str]) -> None:
    once = patient().conditions_of("dog", named=ids)
    assert ids <= once == patient().conditions_of("dog", named=once)
    order = ["never", "avoid", "care"]
    severities = [order.index(f.severity) for f in patient().flags(once)]
    assert severities == sorted(severities)


@given(st.text(min_size=1, max_size=12).filter(lambda t: t not in {c.id for c in patient().conditions}))
def test_an_unlisted_condition_is_refused(word: str) -> None:
    with pytest.raises(Unknown):
        patient().conditions_of("cat", named=[word])


@given(st.sampled_from(circulation().readings()), st.decimals(min_value=-50, max_value=3000, places=1), st.booleans())
def test_a_reading_that_cannot_be_is_refused_whatever_is_confirmed(name: str, value: Decimal, confirmed: bool) -> None:
    room = circulation()
    row = room.bounds(name)
    if row.low <= value <= row.high:
        room.check_reading(name, value, "dog", last=value, confirmed=confirmed)
        room.check_reading(name, value, "dog", last=row.low, confirmed=True)
    else:
        with pytest.raises(OutOfRange):
            room.check_reading(name, value, "dog", confirmed=confirmed)


@given(st.decimals(min_value=D(30), max_value=D(42), places=1), st.decimals(min_value=D(30), max_value=D(42), places=1))
def test_a_jump_of_more_than_a_degree_is_asked(last: Decimal, value: Decimal) -> None:
    if abs(value - last) > 1:
        with pytest.raises(AskAgain):
            circulation().check_reading("temperature", value, "cat", last=last)
    else:
        circulation().check_reading("temperature", value, "cat", last=last)


@given(SPECIES, KG, st.lists(st.decimals(min_value=D("0.1"), max_value=D(200), places=1), max_size=20))
def test_boluses_never_pass_their_total_unsaid(species: str, kg: Decimal, wanted: list[Decimal]) -> None:
    """C7: whatever is asked for, in whatever steps."""
    room, given_ml = circulation(), list[Decimal]()
    for volume in wanted:
        try:
            room.check_bolus(species, kg, given_ml, volume)
        except Refusal:
            continue
        given_ml.append(volume)
    total = room.bolus_total(species, kg, given_ml)
    assert not total.over and total.total.value <= total.limit.value


@given(SPECIES, KG)
def test_fluid_figures_round_toward_less(species: str, kg: Decimal) -> None:
    room = circulation()
    row = room.fluid_row(species)
    bolus = room.bolus(species, kg)
    assert room.fluid_rate(species, kg).value.number("mL/h") <= row.rate_ml_per_kg_h * kg
    assert bolus.first.value.number("mL") <= row.bolus_low * kg
    assert bolus.largest.value.number("mL") <= row.bolus_high * kg
    assert bolus.in_all.value.number("mL") <= row.bolus_in_all * kg


@given(SPECIES, KG, st.decimals(min_value=5, max_value=70, places=0), st.decimals(min_value=5, max_value=70, places=0))
def test_linear_loss_is_the_most_cautious_form(species: str, kg: Decimal, start: Decimal, lowest: Decimal) -> None:
    """C8: the form that warns first."""
    from spiracle.circulation.blood import hand_loss, linear_loss, logarithmic_loss, mean_pcv_loss

    assume(start > lowest)
    blood = D(80) * kg
    linear = linear_loss(blood, start, lowest)
    assert linear <= logarithmic_loss(blood, start, lowest)
    assert linear <= mean_pcv_loss(blood, start, lowest)
    assert linear < blood
    assert hand_loss(blood, start / 100, lowest / 100) > 0


@given(SPECIES, st.decimals(min_value=D("0.2"), max_value=D(100), places=2), st.booleans())
def test_the_sheet_never_pushes_more_than_the_dose(species: str, kg: Decimal, estimated: bool) -> None:
    """U7, U11: an estimate stays marked, and a mark never exceeds the dose."""
    plan = emergency().plan(species, kg, estimated=estimated)
    for item in plan.items:
        assert item.estimated is estimated and item.amount.working.estimated is estimated
        assert item.volume is not None, item.id
        assert item.volume.working.estimated is estimated, item.id
        ml = item.volume.value.number("mL")
        assert ml > 0, item.id
        if item.dilution is None:
            assert item.volume_exact is not None and ml <= item.volume_exact.number("mL"), item.id
            assert (
                item.volume_exact.number("mL") >= D("0.05")
                or item.dose.unit == item.volume.value.unit
                or "mL" in item.dose_text
            )
        else:
            strength = D(item.strength.split()[0].replace(",", ""))
            assert ml * strength <= item.amount.value.value, item.id
            assert ml >= D("0.1"), item.id
        if item.mark_ml:
            assert ml % item.mark_ml == 0, item.id


@given(st.integers(0, 3600), st.integers(0, 3600))
def test_cycles_follow_one_another(a: int, b: int) -> None:
    """C14: two minutes, and the next."""
    early, late = sorted((a, b))
    clocks = [emergency().due(NOON, NOON + timedelta(seconds=s), {}) for s in (early, late)]
    assert clocks[0].cycle <= clocks[1].cycle
    for clock, seconds in zip(clocks, (early, late), strict=True):
        assert clock.cycle == seconds // 120 + 1 and 0 < clock.seconds_left <= 120


def test_a_drug_given_once_is_spent_and_one_repeated_falls_due() -> None:
    given_at = {"atropine": [NOON + timedelta(minutes=1)], "epinephrine": [NOON + timedelta(minutes=2)]}
    clock = emergency().due(NOON, NOON + timedelta(minutes=3), given_at, "dog")
    assert clock.spent == ("atropine-dog",)
    due = {d.item: (d.from_at, d.to_at) for d in clock.next_due}
    assert due["epinephrine-dog"] == (NOON + timedelta(minutes=5), NOON + timedelta(minutes=7))
    before = emergency().due(NOON, NOON + timedelta(minutes=3), {"atropine": [NOON - timedelta(hours=1)]}, "dog")
    assert before.spent == ()


@given(st.integers(0, 179), st.booleans(), st.booleans(), st.one_of(st.none(), st.integers(1, 120)))
def test_nobody_is_unwatched_in_the_first_three_hours(
    since: int, sternal: bool, warm: bool, agreed: int | None
) -> None:
    """C10: a look is due at every minute."""
    last = NOON + timedelta(minutes=since)
    due = recovery().next_look(NOON, last, sternal=sternal, warm=warm, agreed_every=agreed)
    assert due is not None
    limit = 15 if sternal and warm else 5
    assert timedelta(0) < due - last <= timedelta(minutes=min(limit, agreed or limit))


@given(st.integers(180, 2000), st.booleans(), st.booleans())
def test_the_watch_ends_only_with_an_animal_sternal_and_warm(since: int, sternal: bool, warm: bool) -> None:
    due = recovery().next_look(NOON, NOON + timedelta(minutes=since), sternal=sternal, warm=warm)
    assert (due is None) == (sternal and warm)


@given(SPECIES, st.integers(0, 180), st.integers(0, 180))
def test_the_expected_temperature_only_falls(species: str, a: int, b: int) -> None:
    early, late = sorted((a, b))
    first, second = (warmth().expected(species, D("38.4"), m).value.number("Cel") for m in (early, late))
    assert second <= first <= D("38.4")


@given(st.decimals(min_value=D(15), max_value=D(45), places=2), st.sampled_from(warmth().scales))
def test_every_temperature_has_one_grade_and_colder_is_not_milder(c: Decimal, scale: str) -> None:
    grade = warmth().grade(c, scale)
    assert grade.scale_words in grade.sentence
    if c - 1 >= 15:
        assert warmth().grade(c - 1, scale).index >= grade.index
