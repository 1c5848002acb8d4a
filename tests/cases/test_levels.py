"""The predicted level of a drug by the vein, held against a matrix exponential (scipy.linalg.expm) over the same virtual animals.

The expected curves are worked in level_case.py, apart from the project's solver. Doses are invented and round: 15 mg in 10 kg is
1.5 mg/kg; 30 mL/h of 20 mg/mL in 10 kg is 1 mg/kg/min.
"""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

from casebook import Book, at, d, rearrived
from level_case import animal, animals_of, by_expm, induce_level, induced_with, middle_80, pump, pushed, running, seen
from spiracle.case import events as ev
from spiracle.case.fold import fold
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import Level

THREE = ((60.0, "15"), (60.5, "15"), (62.0, "10"))
SLOW = settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def three_pushes(**more: Any) -> Book:
    b = induced_with(animal(**more))
    for minutes, mg in THREE:
        pushed(b, minutes, mg)
    return b


def curve_at(level: Level, minutes: float) -> tuple[float, float, float]:
    assert level.begin_at is not None
    n, rest = divmod((at(minutes) - level.begin_at).total_seconds(), level.step_s)
    assert rest == 0, f"minute {minutes} is no point of the curve"
    return level.low[int(n)], level.middle[int(n)], level.high[int(n)]


def figures(text: str) -> list[float]:
    return [float(x.replace(",", "")) for x in re.findall(r"[\d,]*\.?\d+", text)]


def same(level: Level, minutes: float, expected: Any) -> None:
    """To the three figures that a curve is told in."""
    assert curve_at(level, minutes) == pytest.approx(tuple(expected), rel=0.0051, abs=1e-9)


# ---- pushes


def test_the_band_at_the_brain_now_and_later() -> None:
    """Propofol in a grown dog: 1.5, 1.5 and 1 mg/kg; at 62.5 min now, and at six moments of the curve, past and to come."""
    level = induce_level(three_pushes(), 62.5)
    assert (level.site, level.unit, level.quality, level.none) == ("brain level", "mcg/mL", "approximate", "")
    who, typical = animals_of("propofol")
    doses = [(m - 60, float(mg) / 10) for m, mg in THREE]
    moments = [0.0, 0.5, 2.0, 2.5, 4.0, 7.0, 10.0]
    band = middle_80(who, by_expm(who.disposition, moments, doses))
    for i, minute in enumerate(moments):
        same(level, 60 + minute, band[:, i])
    now = band[:, moments.index(2.5)]
    assert figures(level.now_text) == pytest.approx([now[0], now[2]], rel=0.051)
    alone = by_expm(typical, moments, doses)[0]
    assert np.all(np.abs(band[1][1:] / alone[1:] - 1) < 0.12), "the typical animal lies near the middle of the band"
    assert level.pushes == tuple(at(m) for m, _ in THREE) and level.as_of == at(62.5)


def test_the_band_of_two_sets_that_cannot_be_told_apart_reaches_over_both() -> None:
    """Propofol in the cat has two reconstructions: the band reaches from the lowest edge of both to the highest."""
    b = induced_with(animal("cat", "4"), high="8")
    pushed(b, 60, "16")
    level = induce_level(b, 61)
    who, _ = animals_of("propofol", "cat")
    for minute in (1.0, 3.0, 6.0):
        same(level, 60 + minute, middle_80(who, by_expm(who.disposition, [minute], [(0, 4.0)]))[:, 0])


def test_the_sums_stand_beside_the_curve() -> None:
    """15 + 15 + 10 mg are 40 mg, 4 mg/kg in 10 kg."""
    assert induce_level(three_pushes(), 63).sums == "40 mg = 4 mg/kg in 3 pushes since 09:00:00"


def test_a_struck_push_leaves_the_curve_and_the_sum() -> None:
    b = induced_with(animal())
    pushed(b, 60, "15")
    wrong = pushed(b, 60.5, "15")
    b.tell(61, ev.EntryStruck, target=wrong, reason="not given")
    once = induced_with(animal())
    pushed(once, 60, "15")
    struck, plain = induce_level(b, 62), induce_level(once, 62)
    assert struck.sums.startswith("15 mg = 1.5 mg/kg in 1 push")
    assert (struck.low, struck.middle, struck.high) == (plain.low, plain.middle, plain.high)


def test_order_of_arrival_plays_no_part() -> None:
    b = three_pushes()
    turned = rearrived(b.entries, list(reversed(range(len(b.entries)))))
    (agent,) = case_view(fold(turned), 0, load_facts(), at(63)).induce.agents
    assert agent.level == induce_level(b, 63)


def test_a_push_entered_late_moves_the_curve_from_where_it_went_in() -> None:
    """It went in at 60.5 and was written at 64: before that the curve knows nothing of it, after it as if it had been told at once."""
    b, prompt = induced_with(animal()), induced_with(animal())
    for told, late in ((b, 3.5), (prompt, 0.0)):
        pushed(told, 60, "15")
        pushed(told, 60.5, "15", late=late)
    assert induce_level(b, 63).sums.startswith("15 mg") and induce_level(prompt, 63).sums.startswith("30 mg")
    assert max(induce_level(b, 63).middle) < max(induce_level(prompt, 63).middle)
    assert induce_level(b, 65) == induce_level(prompt, 65)


def test_a_dose_of_before_the_case_counts_by_the_vein() -> None:
    """4 mg/kg on the ward half an hour before the case was opened, 1.5 mg/kg an hour and a half later."""
    b = induced_with(animal())
    b.tell(10, ev.GivenBefore, drug="propofol", amount=d("40"), unit="mg", route="IV", given_at=at(-30), where="ward")
    pushed(b, 60, "15")
    level = induce_level(b, 61)
    assert level.sums.startswith("55 mg = 5.5 mg/kg in 2 pushes")
    who, _ = animals_of("propofol")
    now = middle_80(who, by_expm(who.disposition, [91.0], [(0, 4.0), (90, 1.5)]))[:, 0]
    assert figures(level.now_text) == pytest.approx([now[0], now[2]], rel=0.051)
    assert level.begin_at is not None and at(14.5) <= level.begin_at <= at(15) and level.step_s <= 35, (
        "an early dose does not stretch the paper past its use"
    )


def test_at_the_moment_of_the_first_push_nothing_has_halved() -> None:
    """The brain holds nothing yet; the falls count from the peak that is to come, never from nothing."""
    b = induced_with(animal())
    pushed(b, 60, "15")
    level = running(b, 60, "propofol")
    who, _ = animals_of("propofol")
    grid = np.arange(0, 61.0, 1.0)
    falling = by_expm(who.disposition, list(grid), [(0, 1.5)])
    shares = falling / falling.max(axis=1, keepdims=True)
    halved = [grid[1:][(s[1:] <= 0.5) & (np.argmax(s) <= np.arange(1, len(s)))][0] for s in shares]
    early, late = np.percentile(halved, (10, 90))
    half = next(f for f in level.falls if f.text == "half of its coming peak")
    assert half.from_at is not None and half.to_at is not None
    found = [(x - at(60)) / timedelta(minutes=1) for x in (half.from_at, half.to_at)]
    assert found == pytest.approx([early, late], rel=0.12, abs=1.0)
    assert level.half_text.startswith("if nothing more goes in, half of its coming peak is left after ≈ ")


# ---- pumps


def lidocaine(until: float) -> Book:
    """Awake again, as the set's animals were: 1 mg/kg/min from minute 60, where it still runs at `until`."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    b.tell(59, ev.TimeMarked, mark="extubated")
    pump(b, 60, "30", "lidocaine", "20 mg/mL")
    if until > 70:
        b.tell(70, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("15"))
    if until > 75:
        pump(b, 75, "12", "lidocaine", "10 mg/mL", "i-2")
    return b


def expect(minutes: list[float], rates: list[tuple[float, float, float]], drug: str = "lidocaine") -> Any:
    who, _ = animals_of(drug, use="infusion")
    return middle_80(who, by_expm(who.disposition, minutes, rates=rates))


def near(level: Level, expected: Any) -> None:
    """The two figures of now, and the sharper curve one step on either side of it."""
    assert figures(level.now_text) == pytest.approx([expected[0], expected[2]], rel=0.051)


def test_a_change_of_rate_and_a_second_pump_of_the_same_drug_count() -> None:
    """1 mg/kg/min to 70, then 0.5; from 75 on 12 mL/h of 10 mg/mL is 0.2 more."""
    b = lidocaine(90)
    level = running(b, 90, "lidocaine")
    assert (level.site, level.unit) == ("blood level", "mcg/mL")
    rates = [(0.0, 10.0, 1.0), (10.0, 15.0, 0.5), (15.0, 90.0, 0.7)]
    step = level.step_s / 60
    points = [n for n in range(len(level.middle)) if n in {0, 5, 12, 20, 40, 60}]
    band = expect([n * step for n in points], rates)
    for i, n in enumerate(points):
        assert (level.low[n], level.middle[n], level.high[n]) == pytest.approx(tuple(band[:, i]), rel=0.0051, abs=1e-9)
    assert level.sums == "230 mg = 23 mg/kg by pump", "10 + 0.5 x 5 + 0.7 x 15 = 23 mg/kg"
    near(level, expect([30.0], rates)[:, 0])


def test_the_total_read_from_the_pump_stands_over_rate_times_time() -> None:
    """30 mL/h for 20 min is 10 mL; the pump says 8: the rate was four fifths of what was set."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    b.tell(59, ev.TimeMarked, mark="extubated")
    pump(b, 60, "30", "lidocaine", "20 mg/mL")
    b.tell(80, ev.InfusionStopped, infusion="i-1", total_ml=d("8"))
    level = running(b, 100, "lidocaine")
    assert level.sums == "160 mg = 16 mg/kg by pump"
    near(level, expect([40.0], [(0.0, 20.0, 0.8)])[:, 0])
    assert level.plateau_text == "", "nothing runs, so no plateau lies ahead"


def test_a_drug_in_a_bag_of_fluid_counts() -> None:
    """60 mg in 1,000.6 mL at 100 mL/h for 30 min: 2.998 mg, 0.2998 mg/kg."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    part = ev.BagPart(drug="ketamine", vial_concentration="100 mg/mL", drug_volume_ml=d("0.6"))
    b.tell(
        40, ev.BagMixed, bag="b-1", fluid="isotonic_crystalloid", bag_ml=d("1000"), volume_ml=d("1000.6"), parts=(part,)
    )
    b.tell(
        60, ev.InfusionStarted, infusion="i-1", drug="isotonic_crystalloid", rate_ml_h=d("100"), bag="b-1", fluid=True
    )
    levels = seen(b, 90).maintain.levels
    assert [x.drug for x in levels] == ["ketamine"] and levels[0].sums == "3 mg = 0.3 mg/kg by pump"
    near(levels[0], expect([30.0], [(0.0, 30.0, 60 / 1000.6 * 100 / 60 / 10)], "ketamine")[:, 0])


def test_what_runs_on_is_drawn_on_and_a_stop_turns_it_down() -> None:
    b = lidocaine(65)
    on = running(b, 65, "lidocaine")
    b.tell(65.5, ev.InfusionStopped, infusion="i-1")
    off = running(b, 66, "lidocaine")
    assert on.middle[-1] > 3 * curve_now(on), "30 more minutes at the same rate"
    assert off.middle[-1] < curve_now(off)


def curve_now(level: Level) -> float:
    assert level.begin_at is not None and level.as_of is not None
    return level.middle[round((level.as_of - level.begin_at).total_seconds() / level.step_s)]


def test_the_share_of_the_plateau_is_one_less_the_exponential() -> None:
    """One compartment: 1 - exp(-CL/V t) of rate / CL, animal by animal. Source: the equation of a constant rate."""
    level = running(lidocaine(65), 65, "lidocaine")
    who, typical = animals_of("lidocaine", use="infusion")
    assert typical.exchange == (), "the set of lidocaine in the dog has one compartment"
    k = np.asarray(who.disposition.clearance) / np.asarray(who.disposition.v1)
    low, high = np.percentile(100 * (1 - np.exp(-k * 5)), (10, 90))
    steady = np.percentile(1.0 / np.asarray(who.disposition.clearance) * who.residual, (10, 90))
    share = figures(level.plateau_text)
    assert share[:2] == pytest.approx([low, high], abs=0.51)
    assert share[2:] == pytest.approx(list(steady), rel=0.051)


def test_a_rate_turned_down_stands_above_its_plateau() -> None:
    """After an hour at 1 mg/kg/min the level is far over what 0.01 leads to."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    b.tell(59, ev.TimeMarked, mark="extubated")
    pump(b, 60, "30", "lidocaine", "20 mg/mL")
    b.tell(120, ev.InfusionChanged, infusion="i-1", rate_ml_h=d("0.3"))
    assert running(b, 121, "lidocaine").plateau_text.startswith("above the level that this rate leads to (≈ ")


def test_half_time_of_one_compartment_is_that_of_elimination_whatever_ran() -> None:
    """ln 2 x V / CL after 5 as after 60 minutes (Hughes, Glass, Jacobs 1992: one compartment has no context)."""
    who, _ = animals_of("lidocaine", use="infusion")
    halves = np.log(2) * np.asarray(who.disposition.v1) / np.asarray(who.disposition.clearance)
    expected = list(np.percentile(halves, (10, 90)))
    for until in (65.0, 70.0):
        level = running(lidocaine(65), until, "lidocaine")
        assert figures(level.half_text) == pytest.approx(expected, rel=0.051)


def test_half_time_of_more_compartments_grows_with_what_ran() -> None:
    """Ketamine in the dog, two compartments: context-sensitive half-time by matrix exponential, 5 and 120 min at one rate."""
    who, _ = animals_of("ketamine", use="infusion")
    for ran in (5.0, 120.0):
        b = animal()
        b.tell(58, ev.TimeMarked, mark="induction")
        pump(b, 60, "6", "ketamine", "100 mg/mL")
        level = running(b, 60 + ran, "ketamine")
        grid = np.arange(0, 241.0, 1.0)
        falls = by_expm(who.disposition, list(ran + grid), rates=[(0.0, ran, 1.0)])
        expected = np.percentile([np.interp(-0.5, -row / row[0], grid) for row in falls], (10, 90))
        half = next(f for f in level.falls if f.text == "half of now")
        assert half.from_at is not None and half.to_at is not None
        found = [(x - at(60 + ran)) / timedelta(minutes=1) for x in (half.from_at, half.to_at)]
        assert found == pytest.approx(list(expected), rel=0.03, abs=0.2)


def test_falls_to_published_levels_after_a_stop() -> None:
    """Extubation at 4.5 to 4.7 mg/L, walking at 2.2 (rows of the set; Hall 1994): the quick tenth is at the upper level and the slow
    tenth at the lower by the percentiles of the curves themselves."""
    b = induced_with(animal())
    for minutes in (60, 61, 62, 63):
        pushed(b, minutes, "15")
    level = running(b, 66, "propofol")
    who, _ = animals_of("propofol")
    grid = np.arange(0, 121.0, 0.5)
    band = middle_80(who, by_expm(who.disposition, list(6 + grid), [(m, 1.5) for m in (0, 1, 2, 3)]))
    for name, upper, lower in (("waking, tube out", 4.7, 4.5), ("walking", 2.2, 2.2)):
        line = next(f for f in level.falls if f.text.startswith(name))
        early = 0.0 if band[0][0] <= upper else np.interp(-upper, -band[0], grid)
        late = np.interp(-lower, -band[2], grid)
        assert line.from_at is not None and line.to_at is not None
        found = [(x - at(66)) / timedelta(minutes=1) for x in (line.from_at, line.to_at)]
        assert found == pytest.approx([early, late], rel=0.03, abs=0.25)


def test_the_interval_of_the_dose_row_is_told_as_the_rows_own() -> None:
    level = running(three_pushes(), 70, "propofol")
    assert [f.minutes_text for f in level.falls if f.text == "interval of its dose row since the last dose"] == [
        "over since 09:07"
    ]


def test_a_level_per_millilitre_in_nanograms_where_doses_are_in_micrograms() -> None:
    """Fentanyl 50 mcg in 10 kg under isoflurane: 5 mcg/kg. Volume at once 0.8 L/kg: about 6 ng/mL at the start."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    b.tell(59, ev.VaporiserSet, agent="isoflurane", percent=d("1"))
    b.tell(
        60,
        ev.DrugGiven,
        drug="fentanyl",
        amount=d("50"),
        unit="mcg",
        volume_ml=d("1"),
        concentration="50 mcg/mL",
        route="IV",
    )
    level = running(b, 66, "fentanyl")
    assert level.unit == "ng/mL" and level.sums.startswith("50 mcg = 5 mcg/kg in 1 push")
    who, _ = animals_of("fentanyl", background="isoflurane", use="infusion")
    now = 1000 * middle_80(who, by_expm(who.disposition, [6.0], [(0, 0.005)]))[:, 0]
    assert figures(level.now_text) == pytest.approx([now[0], now[2]], rel=0.051)


# ---- the next push, and the peak of the last


def test_the_next_push_is_shown_before_it_is_given() -> None:
    """A quarter of 60 mg in marks of 0.2 mL is 1.4 mL, 14 mg, 1.4 mg/kg: the whole band with it, by matrix exponential."""
    level = induce_level(three_pushes(), 62.5)
    assert level.next is not None and level.begin_at is not None
    assert level.next.text.startswith("if 1.4 mL went in now: brain level up to ≈ ")
    who, _ = animals_of("propofol")
    doses = [(m - 60, float(mg) / 10) for m, mg in THREE]
    after = [n for n in range(len(level.low)) if n * level.step_s > 150]
    assert len(level.next.low) == len(level.next.high) == len(after)
    some = [0, 5, 11, 20, len(after) - 1]
    moments = [after[i] * level.step_s / 60 for i in some]
    band = middle_80(who, by_expm(who.disposition, moments, [*doses, (2.5, 1.4)]))
    assert [level.next.low[i] for i in some] == pytest.approx(list(band[0]), rel=0.0051)
    assert [level.next.high[i] for i in some] == pytest.approx(list(band[2]), rel=0.0051)
    plain = middle_80(who, by_expm(who.disposition, moments, doses))
    for i, n in enumerate(some):
        gained = level.next.high[n] - level.high[after[n]]
        assert gained == pytest.approx(band[2][i] - plain[2][i], abs=0.011 * band[2][i]) and gained > 0


def test_no_next_push_once_the_order_is_reached() -> None:
    b = induced_with(animal())
    for minutes in (60, 61, 62, 63):
        pushed(b, minutes, "15")
    assert induce_level(b, 64).next is None


def test_the_window_of_the_peak_is_that_of_a_fine_grid() -> None:
    """Each animal's own highest second after the last push; 10, 50 and 90 % of those."""
    level = induce_level(three_pushes(), 62.5)
    who, _ = animals_of("propofol")
    seconds = np.arange(0, 900)
    doses = [(m - 60, float(mg) / 10) for m, mg in THREE]
    course = by_expm(who.disposition, list(2 + seconds / 60), doses)
    expected = np.percentile(course.argmax(axis=1), (10, 50, 90))
    found = [(x - at(62)).total_seconds() for x in (level.peak_from, level.peak_at, level.peak_to) if x is not None]
    assert found == pytest.approx(list(expected), abs=1.6)
    assert level.peak_text.startswith("a push is expected to peak ≈ ")


def test_a_pump_that_runs_on_counts_for_the_peak() -> None:
    """Propofol 2 mg/kg at 60 with 0.02 mg/kg/min beside it: the peak is that of a pump that goes on, by a fine grid."""
    b = induced_with(animal())
    pump(b, 59, "1.2", "propofol", "10 mg/mL")
    pushed(b, 60, "20")
    level = induce_level(b, 61)
    who, _ = animals_of("propofol")
    course = by_expm(who.disposition, list(1 + np.arange(0, 1200) / 60), [(1, 2.0)], [(0.0, 61.0, 0.02)])
    expected = np.percentile((np.diff(course) < 0).argmax(axis=1), (10, 50, 90))
    found = [(x - at(60)).total_seconds() for x in (level.peak_from, level.peak_at, level.peak_to) if x is not None]
    assert found == pytest.approx(list(expected), abs=1.6)


def test_a_push_that_a_fast_pump_outruns_is_said_not_to_peak_in_some() -> None:
    b = induced_with(animal())
    pump(b, 59, "30", "propofol", "10 mg/mL")
    pushed(b, 60, "20")
    level = induce_level(b, 61)
    assert level.peak_text.endswith("within an hour.") and level.peak_to is None


def test_an_agent_without_an_effect_site_tells_no_peak() -> None:
    """Alfaxalone: the two published speeds of injection fit no constant."""
    b = induced_with(animal(), "alfaxalone", high="3")
    pushed(b, 60, "10", "alfaxalone")
    level = induce_level(b, 61)
    assert (level.site, level.peak_text, level.peak_at) == ("blood level", "", None)
    assert any("effect-site" in c for c in level.cautions) and level.next is not None and "later" not in level.next.text
