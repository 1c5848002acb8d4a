"""Cases made to draw a level out of an estimate that has none, or another animal's. Animals and doses are invented.

What a set is for (its background, its first minutes, its healthy warm animals) is read from the rows of kinetics.toml.
"""

from __future__ import annotations

import re

import pytest

from casebook import Book, at, d
from level_case import animal, animals_of, by_expm, induce_level, induced_with, middle_80, pushed, running
from spiracle.case import events as ev


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
    """Alfaxalone in the dog after an opioid: jaw tone gone at 3.5 to 4.5 (the row alfaxalone-dog-no-jaw-tone-opioid)."""
    assert marks(premedicated(METHADONE, drug="alfaxalone"), "alfaxalone")["jaw loose"] == "3.5 to 4.5 mcg/mL"
    assert "light plane" not in marks(premedicated(METHADONE)), "targets of mixed premedication"
    assert "jaw loose" not in marks(premedicated(METHADONE, ACE, drug="alfaxalone"), "alfaxalone")


def test_a_reversal_of_the_drug_itself_is_said_beside_its_level() -> None:
    """Dexmedetomidine in blood stays what it was; atipamezole takes the effect."""
    b = animal()
    b.tell(50, ev.TimeMarked, mark="induction")
    b.tell(51, ev.TimeMarked, mark="extubated")
    pushed(b, 60, "0.05", "dexmedetomidine", order="", syringe="", purpose="sedation")
    assert not [c for c in running(b, 70, "dexmedetomidine").cautions if "went in since" in c]
    pushed(b, 75, "0.5", "atipamezole", route="IM", order="", syringe="", purpose="reversal")
    assert [c for c in running(b, 80, "dexmedetomidine").cautions if c.startswith("Atipamezole went in since")]
