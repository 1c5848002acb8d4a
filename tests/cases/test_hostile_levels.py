"""Cases made to draw a level out of an estimate that has none, or another animal's. Animals and doses are invented.

What a set is for (its background, its first minutes, its healthy warm animals) is read from the rows of kinetics.toml.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.linalg import expm

from casebook import Book, at, d
from level_case import animal, animals_of, by_expm, induce_level, induced_with, middle_80, pump, pushed, running, seen
from spiracle.case import events as ev
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.schedule import Infusion, Schedule
from spiracle.kinetics.solving import Levels, on_grid
from spiracle.sheets import levels as sheet


def figures(text: str) -> list[float]:
    return [float(x) for x in re.findall(r"\d*\.?\d+", text)]


def fentanyl(b: Book, minutes: float, mcg: str = "50") -> None:
    b.tell(
        minutes,
        ev.DrugGiven,
        drug="fentanyl",
        amount=d(mcg),
        unit="mcg",
        volume_ml=d("1"),
        concentration="50 mcg/mL",
        route="IV",
    )


def dial(b: Book, minutes: float, percent: str, agent: str = "isoflurane") -> None:
    b.tell(minutes, ev.VaporiserSet, agent=agent, percent=d(percent))


def under_propofol() -> Book:
    b = induced_with(animal())
    pushed(b, 60, "40")
    return b


# ---- what keeps it under


def test_a_set_for_the_awake_is_not_used_under_a_drug_by_the_vein() -> None:
    """D4: fentanyl's sets in the dog are for the awake and for isoflurane; a dog under propofol alone is neither."""
    b = under_propofol()
    fentanyl(b, 62)
    level = running(b, 70, "fentanyl")
    assert level.middle == () and level.sums.startswith("50 mcg = 5 mcg/kg")
    assert level.none.startswith(
        "No estimate. No set of fentanyl in the dog was made for an animal asleep without an inhaled agent."
    )


def test_a_closed_dial_does_not_wake_the_animal() -> None:
    """D4: the set stays that of isoflurane until the tube is out; the level of a second before the dial was closed goes on."""
    b = under_propofol()
    dial(b, 62, "2")
    fentanyl(b, 63)
    open_, (who, _) = running(b, 120, "fentanyl"), animals_of("fentanyl", background="isoflurane", use="infusion")
    dial(b, 120.1, "0")
    shut = running(b, 120.2, "fentanyl")
    assert open_.population == shut.population and "isoflurane" in shut.population.lower()
    now = 1000 * middle_80(who, by_expm(who.disposition, [57.2], [(0, 0.005)]))[:, 0]
    assert figures(shut.now_text) == pytest.approx([now[0], now[2]], rel=0.051)
    b.tell(130, ev.TubePlaced, id_mm=d("8"), cuffed=True)
    b.tell(140, ev.Extubated, signs=("swallow",))
    awake = running(b, 141, "fentanyl")
    assert awake.population != shut.population
    assert any(c == "It was under isoflurane before; the whole curve is for an animal awake." for c in awake.cautions)


def test_a_background_that_changed_on_the_way_is_said() -> None:
    """Fentanyl before the induction, gas two minutes after it: the curve is that of isoflurane alone, and says so."""
    b = induced_with(animal())
    fentanyl(b, 55)
    pushed(b, 60, "40")
    dial(b, 62, "2")
    words = running(b, 70, "fentanyl").cautions
    assert (
        "It was awake, then asleep without an inhaled agent before; the whole curve is for an animal under isoflurane."
        in words
    )
    quiet = under_propofol()
    dial(quiet, 62, "2")
    fentanyl(quiet, 63)
    assert not [c for c in running(quiet, 70, "fentanyl").cautions if c.startswith("It was ")]


def test_a_dial_tried_before_the_induction_is_no_background() -> None:
    b = animal()
    dial(b, 40, "5")
    dial(b, 41, "0")
    induced_with(b)
    pushed(b, 60, "40")
    fentanyl(b, 62)
    assert "asleep without an inhaled agent" in running(b, 70, "fentanyl").none


@pytest.mark.parametrize("agent", ["desflurane", "halothane"])
def test_another_gas_is_not_taken_for_isoflurane(agent: str) -> None:
    """D4: no row names desflurane or halothane."""
    b = under_propofol()
    dial(b, 62, "6", agent)
    fentanyl(b, 63)
    assert "for an animal under another inhaled agent" in running(b, 70, "fentanyl").none
    assert running(b, 70, "propofol").middle, "a set that is for any background"


@pytest.mark.parametrize("age", ["1 y", "12 mo", "365 d"])
def test_an_animal_of_one_year_is_grown(age: str) -> None:
    """Twelve months are the day of the first birthday, whatever the length of a month is taken to be."""
    b = induced_with(animal(age=age))
    pushed(b, 60, "15")
    assert induce_level(b, 61).middle
    b = induced_with(animal(age="364 d"))
    pushed(b, 60, "15")
    assert "the animals of this set were grown" in induce_level(b, 61).none


# ---- the circulation and the cold


def test_after_an_arrest_there_is_no_estimate() -> None:
    """D4: from the moment at which it was called, and after the return of the pulse; the sums stay."""
    b = under_propofol()
    assert running(b, 65, "propofol").middle
    b.tell(66, ev.ArrestBegan)
    for minute in (66, 67):
        level = running(b, minute, "propofol")
        assert (level.middle, level.now_text, level.half_text, level.falls) == ((), "", "", ())
        assert level.none == "No estimate. The circulation stopped at 09:06; no set holds. Only sums can be shown."
        assert level.sums == "40 mg = 4 mg/kg in 1 push since 09:00:00" and induce_level(b, minute).none == level.none
    b.tell(70, ev.ArrestEnded, outcome="pulse back")
    assert "The circulation stopped at 09:06" in running(b, 90, "propofol").none


@pytest.mark.parametrize(("degrees", "none"), [("34.9", True), ("35.0", False)])
def test_a_cold_animal_has_no_estimate(degrees: str, none: bool) -> None:
    """D4: hypothermia stands on the list of the row; the thermometer says it as the history does."""
    b = under_propofol()
    b.tell(62, ev.ReadingTaken, reading="temperature", value=d(degrees), unit="Cel", source="device")
    level = running(b, 63, "propofol")
    assert bool(level.none) is none
    assert not none or level.none == (
        "No estimate. It was measured at 34.9 °C; the animals of this set were warm. It is used from 35 °C on."
    )


# ---- what was given beforehand


def premedicated(*drugs: tuple[str, str], minute: float = 30, drug: str = "propofol", species: str = "dog") -> Book:
    b = induced_with(animal(species), drug)
    for name, mg in drugs:
        pushed(b, minute, mg, name, route="IM", order="", syringe="", purpose="premedication")
    return b


def marks(b: Book, drug: str = "propofol", minute: float = 61) -> dict[str, str]:
    pushed(b, 60, "15", drug)
    return {m.text: m.level_text for m in induce_level(b, minute).marks}


DEX, METHADONE, ACE = ("dexmedetomidine", "0.05"), ("methadone", "2"), ("acepromazine", "0.2")


def test_a_reversed_agonist_lowers_no_published_level() -> None:
    """D4: 1.3 to 1.34 is the intubation level after an unreversed alpha-2 agonist and opioid (Walters 2022); after atipamezole
    none was measured."""
    assert marks(premedicated(DEX, METHADONE))["intubation"] == "1.3 to 1.34 mcg/mL"
    b = premedicated(DEX, METHADONE)
    pushed(b, 40, "0.5", "atipamezole", route="IM", order="", syringe="", purpose="reversal")
    assert marks(b) == {}
    (said,) = induce_level(b, 61).unplaced
    assert said.startswith("No published level is shown: what was given beforehand was reversed")


def test_an_alpha_2_agonist_alone_is_not_shown_levels_of_two_drugs() -> None:
    """Walters 2022 and Boveri 2013 gave an opioid with it."""
    found = marks(premedicated(DEX))
    assert "intubation" not in found and "jaw loose" not in found


def test_what_has_worn_off_by_the_tables_is_no_premedication() -> None:
    """Pethidine IM in the dog lasts 45 to 120 min (its row's own source); unpremedicated, the tube goes in at 4.86 (Maney 2013)."""
    assert marks(premedicated(("pethidine", "30"), minute=-70))["intubation"] == "4.86 mcg/mL"
    assert "intubation" not in marks(premedicated(("pethidine", "30"), minute=-50))


def test_an_old_premedication_of_unknown_length_shows_no_published_level() -> None:
    """The tables do not say how long dexmedetomidine works: after three hours it is neither counted nor left out."""
    assert "intubation" in marks(premedicated(DEX, METHADONE, minute=-50))
    assert marks(premedicated(DEX, METHADONE, minute=-120)) == {}


def test_a_dose_of_before_of_unknown_length_shows_no_published_level() -> None:
    b = premedicated()
    b.tell(10, ev.GivenBefore, drug="midazolam", amount=d("2"), unit="mg", route="IM", given_at=at(-60), where="ward")
    assert marks(b) == {} and "do not say whether it still works" in induce_level(b, 61).unplaced[0]


def test_an_opioid_alone_is_told_apart_from_a_mixture() -> None:
    """Alfaxalone in the dog after an opioid: jaw tone gone at 4.5 under the chosen set (the row alfaxalone-dog-no-jaw-tone-opioid)."""
    assert marks(premedicated(METHADONE, drug="alfaxalone"), "alfaxalone")["jaw loose"] == "4.5 mcg/mL"
    assert "light plane" not in marks(premedicated(METHADONE)), "targets of mixed premedication"
    assert "jaw loose" not in marks(premedicated(METHADONE, ACE, drug="alfaxalone"), "alfaxalone")


def test_a_reversal_of_the_drug_itself_is_said_beside_its_level() -> None:
    """Fentanyl in blood stays what it was; naloxone takes the effect."""
    b = animal()
    b.tell(50, ev.TimeMarked, mark="induction")
    b.tell(51, ev.TimeMarked, mark="extubated")
    pushed(b, 60, "0.05", "fentanyl", order="", syringe="", purpose="analgesia")
    assert not [c for c in running(b, 70, "fentanyl").cautions if "went in since" in c]
    pushed(b, 75, "0.2", "naloxone", order="", syringe="", purpose="reversal")
    assert [c for c in running(b, 80, "fentanyl").cautions if c.startswith("Naloxone went in since")]


# ---- moments


def test_a_set_that_does_not_tell_the_first_minutes_tells_none_of_them() -> None:
    """D4: fentanyl in the dog, "not before 5 min" by its row (the measured peak is missed by half): no figure and no line before."""
    b = under_propofol()
    dial(b, 62, "2")
    fentanyl(b, 63)
    fentanyl(b, 66)
    for minute in (66.2, 69, 70.95):
        level = running(b, minute, "fentanyl")
        assert (level.middle, level.now_text) == ((), "") and level.sums.startswith("0.1 mg = 10 mcg/kg")
        assert level.none.startswith("No estimate. This set tells nothing of the first 5 min after a push.")
    level = running(b, 71, "fentanyl")
    assert level.now_text and level.begin_at is not None and level.begin_at >= at(71)
    who, _ = animals_of("fentanyl", background="isoflurane", use="infusion")
    now = 1000 * middle_80(who, by_expm(who.disposition, [8.0], [(0, 0.005), (3, 0.005)]))[:, 0]
    assert figures(level.now_text) == pytest.approx([now[0], now[2]], rel=0.051)


def test_a_dose_of_three_days_ago_costs_no_grid_and_bears_its_date() -> None:
    """2 mg/kg on the ward 72 h before, 1.5 mg/kg now: against a matrix exponential, and the day is told."""
    b = induced_with(animal())
    b.tell(
        10,
        ev.GivenBefore,
        drug="propofol",
        amount=d("20"),
        unit="mg",
        route="IV",
        given_at=at(60 - 72 * 60),
        where="ward",
    )
    pushed(b, 60, "15")
    level = induce_level(b, 61)
    assert level.sums == "35 mg = 3.5 mg/kg in 2 pushes since 9 Mar 09:00:00"
    assert level.begin_at is not None and level.begin_at >= at(14)
    who, _ = animals_of("propofol")
    seconds = (at(63) - level.begin_at).total_seconds()
    n = int(seconds // level.step_s)
    minute = (level.begin_at - at(60)).total_seconds() / 60 + n * level.step_s / 60
    band = middle_80(who, by_expm(who.disposition, [72 * 60 + minute], [(0, 2.0), (72 * 60, 1.5)]))[:, 0]
    assert (level.low[n], level.middle[n], level.high[n]) == pytest.approx(tuple(band), rel=0.0051)


def test_a_dose_of_long_ago_needs_no_more_room_than_one_of_today(monkeypatch: pytest.MonkeyPatch) -> None:
    """The longest row of times that is worked out for every animal stays within three times what is shown."""
    asked: list[int] = []
    real = sheet.on_grid

    def counted(of: Disposition, schedule: Schedule, every_min: float, points: int) -> Levels:
        asked.append(points)
        return real(of, schedule, every_min, points)

    monkeypatch.setattr(sheet, "on_grid", counted)
    b = induced_with(animal())
    b.tell(
        10,
        ev.GivenBefore,
        drug="propofol",
        amount=d("20"),
        unit="mg",
        route="IV",
        given_at=at(-90 * 1440),
        where="ward",
    )
    pushed(b, 60, "15")
    level = induce_level(b, 61)
    assert level.middle and all(points <= 3 * (sheet.POINTS + 2) for points in asked)


def test_a_pump_that_stops_at_this_very_second_does_not_run() -> None:
    b = induced_with(animal())
    pump(b, 60, "3", "propofol", "10 mg/mL")
    b.tell(61, ev.TimeMarked, mark="induction")
    on = running(b, 100, "propofol")
    b.tell(120, ev.InfusionStopped, infusion="i-1")
    off = running(b, 120, "propofol")
    assert on.plateau_text and off.plateau_text == ""
    assert off.middle[-1] < 0.7 * max(off.middle), "drawn on without it"


def test_a_push_of_nothing_has_no_level() -> None:
    b = induced_with(animal())
    pushed(b, 60, "0")
    assert running(b, 61, "propofol").none == "No estimate. Nothing of it went in yet."


def test_an_induction_by_pump_has_a_level_and_a_pace() -> None:
    """300 mL/h of 10 mg/mL in 10 kg are 5 mg/kg/min; the published pace after an alpha-2 agonist and an opioid is 1 (Walters 2022,
    who used a pump)."""
    b = premedicated(DEX, METHADONE, minute=40)
    pump(b, 60, "300", "propofol", "10 mg/mL")
    level = induce_level(b, 60.5)
    who, _ = animals_of("propofol")
    now = middle_80(who, by_expm(who.disposition, [0.5], rates=[(0.0, 0.5, 5.0)]))[:, 0]
    assert figures(level.now_text) == pytest.approx([now[0], now[2]], rel=0.051)
    (agent,) = seen(b, 60.5).induce.agents
    assert agent.pace is not None and agent.pace.cited
    assert (agent.pace.text, agent.pace.faster, agent.pace.next_at) == ("5 mg/kg/min by pump", True, None)
    b.tell(61, ev.InfusionStopped, infusion="i-1")
    assert induce_level(b, 62).middle
    assert [a.level for a in seen(b, 81).induce.agents] == [None]


def test_a_pump_beside_pushes_counts_for_the_pace() -> None:
    """1 mg/kg pushed, and 0.5 mg/kg/min beside it for the two minutes to the next push: 2 mg/kg in 2 min. Of 1 mg/kg/min half is
    left for pushes: 1 mg/kg takes 2 min."""
    b = premedicated(DEX, METHADONE, minute=40)
    pump(b, 60, "30", "propofol", "10 mg/mL")
    for minute in (60, 62):
        pushed(b, minute, "10")
    (agent,) = seen(b, 62).induce.agents
    assert agent.pace is not None
    assert agent.pace.text == "1 mg/kg/min from the first push to the last" and agent.pace.next_at == at(64)


# ---- whose level it is


def test_published_levels_are_read_in_the_animals_of_their_own_set() -> None:
    """Propofol in the cat: extubation at 1.3 to 2.0 belongs to the first of two sets, whatever the animals of the second do."""
    b = induced_with(animal("cat", "4"), high="8")
    pushed(b, 60, "24")
    level = running(b, 66, "propofol")
    who, _ = animals_of("propofol", "cat")
    own = np.split(np.arange(who.residual.size), who.sets)[0]
    grid = np.arange(0, 241.0, 1.0)
    low, high = np.percentile(
        (by_expm(who.disposition, list(6 + grid), [(0, 6.0)]) * who.residual[:, None])[own], (10, 90), axis=0
    )
    line = next(f for f in level.falls if f.text.startswith("waking, tube out"))
    early = 0.0 if low[0] <= 2.0 else float(np.interp(-2.0, -low, grid))
    late = float(np.interp(-1.3, -high, grid))
    assert high[-1] < 1.3 and line.from_at is not None and line.to_at is not None
    found = [(x - at(66)).total_seconds() / 60 for x in (line.from_at, line.to_at)]
    assert found == pytest.approx([early, late], rel=0.03, abs=0.5)
    assert any("those of the chosen set alone" in c for c in level.cautions)


def test_a_level_of_blood_on_the_curve_of_the_brain_is_said() -> None:
    """Walking at 2.0 to 2.2 and extubation at 4.5 to 4.7 are levels of blood by their rows; intubation is one of the effect site."""
    (said,) = [c for c in running(under_propofol(), 66, "propofol").cautions if c.startswith("Levels of blood")]
    assert "walking" in said and "waking, tube out" in said and "intubation" not in said


def test_a_weight_set_for_dosing_is_said_beside_the_curve() -> None:
    """7 kg lean of 10: 40 mg are 5.7 mg/kg on the one and 4 on the other."""
    b = animal()
    b.tell(10, ev.DosingWeightSet, weight_kg=d("7"), reason="lean", by="ilse")
    pushed(induced_with(b), 60, "40")
    level = running(b, 66, "propofol")
    assert level.cautions[0] == "Worked on the 7 kg set for dosing; the sets are per kg of the whole animal, 10 kg."
    assert level.working is not None and level.working.inputs[0].note == "set for dosing"
    guessed = induced_with(animal(method="estimated"))
    pushed(guessed, 60, "40")
    working = running(guessed, 66, "propofol").working
    assert working is not None and working.inputs[0].note == "estimated"


@pytest.mark.parametrize("span", [1 / 60e6, 1 / 60e3, 1 / 60])
def test_a_very_short_strong_flow_is_the_bolus_that_it_brings(span: float) -> None:
    """1 mg/kg within a microsecond, a millisecond, a second: on a grid as by the exponential of the whole matrix (scipy.linalg.expm)
    from the same amount; the promise of the grid is 1e-8."""
    of = Disposition(0.5, 0.02, ((0.03, 1.0), (0.002, 4.0)), 0.2)
    got = on_grid(of, Schedule(infusions=(Infusion(0.0, span, 1 / span),)), 1.0, 30)
    rates = np.array([[-0.104, 0.06, 0.004, 0], [0.03, -0.03, 0, 0], [0.0005, 0, -0.0005, 0], [0.2, 0, 0, -0.2]])
    whole = np.zeros((5, 5))
    whole[:4, :4], whole[0, 4] = rates, 1 / span / 0.5
    held = expm(whole * span)[:4, 4]
    expected = np.array([expm(rates * (minute - span)) @ held for minute in range(1, 30)])
    assert np.asarray(got.plasma)[..., 1:].ravel() == pytest.approx(expected[:, 0], rel=1e-8)
    assert got.effect is not None and np.asarray(got.effect)[..., 1:].ravel() == pytest.approx(expected[:, 3], rel=1e-8)
