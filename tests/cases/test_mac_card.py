"""MAC now: a range from the published figures, what moved it, and the measured end-tidal over it.

Figures of the rows, read by hand: isoflurane in the dog 1.15 to 1.69 % (twelve figures); 2 to 5 % less for each degree under 37.8;
dexmedetomidine 2 mcg/kg/h takes 33.3 to 53.3 % away in the dog (row on isoflurane); fentanyl was measured from 0.15 mcg/kg/min on.
"""

from __future__ import annotations

import re

import msgspec
import pytest

from casebook import Book, at, d
from level_case import animal, pump, seen
from spiracle.case import events as ev
from spiracle.sheets.shapes import MacNow

LOW, HIGH = 1.15, 1.69


def asleep(species: str = "dog", kg: str = "10", agent: str = "isoflurane") -> Book:
    b = animal(species, kg)
    b.tell(58, ev.TimeMarked, mark="induction")
    b.tell(60, ev.VaporiserSet, agent=agent, percent=d("2"))
    return b


def read(b: Book, minutes: float, reading: str, value: str, **more: object) -> str:
    unit = {"agent_et": "%", "temperature": "Cel"}[reading]
    return b.tell(minutes, ev.ReadingTaken, reading=reading, value=d(value), unit=unit, source="device", **more)


def card(b: Book, minutes: float) -> MacNow:
    found = seen(b, minutes).maintain.mac
    assert found is not None
    return found


def spread(text: str) -> list[float]:
    return [float(x) for x in re.findall(r"\d*\.?\d+", text)]


def test_a_multiple_is_a_range_over_the_published_figures() -> None:
    """1.3 % over 1.69 and over 1.15 is 0.77 to 1.13."""
    b = asleep()
    read(b, 70, "agent_et", "1.3")
    found = card(b, 71)
    assert found.range_text == "1.2 to 1.7 % end-tidal" and "12 published or taught figures" in found.parts[0].text
    assert found.multiple is not None and (found.multiple.unit, found.multiple.at) == ("× MAC", at(70))
    assert spread(found.multiple.text) == pytest.approx([1.3 / HIGH, 1.3 / LOW], rel=0.051)
    assert found.parts[0].cited and "no measurement of this animal" in found.says


def test_without_an_end_tidal_there_is_a_range_and_no_multiple() -> None:
    found = card(asleep(), 70)
    assert found.range_text and found.multiple is None and found.trend == ()


def test_an_artefact_makes_no_multiple() -> None:
    b = asleep()
    b.tell(71, ev.ArtefactMarked, target=read(b, 70, "agent_et", "1.3"))
    assert card(b, 72).multiple is None


@pytest.mark.parametrize(
    ("celsius", "left"), [("38.5", (1.0, 1.0)), ("37.8", (1.0, 1.0)), ("35.8", (0.90, 0.96)), ("30.8", (0.65, 0.86))]
)
def test_cold_lowers_it_by_two_to_five_per_cent_a_degree(celsius: str, left: tuple[float, float]) -> None:
    b = asleep()
    read(b, 70, "temperature", celsius)
    read(b, 70, "agent_et", "1.3")
    found = card(b, 71)
    assert [(p.low, p.high) for p in found.trend] == [
        (pytest.approx(1.3 / HIGH / left[1], rel=1e-6), pytest.approx(1.3 / LOW / left[0], rel=1e-6))]  # fmt: skip
    assert found.multiple is not None and spread(found.multiple.text) == pytest.approx(
        [found.trend[0].low, found.trend[0].high], rel=0.051), "one row of readings, one range"  # fmt: skip
    cold = next((p for p in found.parts if "°C" in p.text), None)
    assert cold is not None and spread(cold.change) == pytest.approx(
        [] if left == (1.0, 1.0) else list(left), rel=0.051
    )
    assert found.not_counted == ()


@pytest.mark.parametrize(("celsius", "words"), [("26.5", "26.5 °C is outside what MAC was followed to: not corrected for cold."),
                                                ("39.9", "39.9 °C is warmer than any animal of the studies")])  # fmt: skip
def test_a_temperature_past_the_studies_is_named_and_not_counted(celsius: str, words: str) -> None:
    b = asleep()
    read(b, 70, "temperature", celsius)
    read(b, 70, "agent_et", "1.3")
    found = card(b, 71)
    assert any(x.startswith(words) for x in found.not_counted), found.not_counted
    assert found.trend[0].low == pytest.approx(1.3 / HIGH)


def test_without_a_temperature_it_is_said() -> None:
    assert card(asleep(), 70).not_counted == ("Temperature not given: not corrected for cold.",)


def test_dexmedetomidine_lowers_it_as_its_row_says() -> None:
    """10 kg at 2 mcg/kg/h is 20 mcg/h: 4 mL/h of 5 mcg/mL. 33.3 to 53.3 % less: 1.15 x 0.467 to 1.69 x 0.667."""
    b = asleep()
    pump(b, 62, "4", "dexmedetomidine", "5 mcg/mL")
    read(b, 70, "agent_et", "1.0")
    found = card(b, 71)
    dex = next(p for p in found.parts if p.text.startswith("dexmedetomidine"))
    assert spread(dex.change) == pytest.approx([0.467, 0.667], rel=0.02) and dex.cited
    assert spread(found.range_text)[:2] == pytest.approx([LOW * 0.467, HIGH * 0.667], rel=0.051)
    assert [(p.low, p.high) for p in found.trend] == [
        (pytest.approx(1 / (HIGH * 0.667), rel=2e-3), pytest.approx(1 / (LOW * 0.467), rel=2e-3))]  # fmt: skip


def test_two_pumps_of_one_drug_are_one_rate() -> None:
    """Two times 1 mcg/kg/h is the row of 2."""
    b = asleep()
    pump(b, 62, "2", "dexmedetomidine", "5 mcg/mL", "i-1")
    pump(b, 62, "1", "dexmedetomidine", "10 mcg/mL", "i-2")
    dex = next(p for p in card(b, 71).parts if p.text.startswith("dexmedetomidine"))
    assert spread(dex.change) == pytest.approx([0.467, 0.667], rel=0.02)


def test_cold_and_a_drug_act_on_what_the_other_leaves() -> None:
    """35.8 °C leaves 0.90 to 0.96, dexmedetomidine 0.467 to 0.667."""
    b = asleep()
    pump(b, 62, "4", "dexmedetomidine", "5 mcg/mL")
    read(b, 69, "temperature", "35.8")
    assert spread(card(b, 71).range_text)[:2] == pytest.approx([LOW * 0.9 * 0.467, HIGH * 0.96 * 0.667], rel=0.051)


@pytest.mark.parametrize(("drug", "ml_h", "strength", "words"), [
    ("midazolam", "1", "1 mg/mL", "midazolam: no published effect on MAC in dogs was read, so not counted."),
    ("fentanyl", "0.6", "50 mcg/mL", "published only from 0.15 mcg/kg/min to 0.8 mcg/kg/min, so not counted."),
])  # fmt: skip
def test_a_drug_without_a_published_sparing_at_its_rate_is_listed(
    drug: str, ml_h: str, strength: str, words: str
) -> None:
    """0.6 mL/h of 50 mcg/mL in 10 kg is 0.05 mcg/kg/min, under what was measured."""
    b = asleep()
    pump(b, 62, ml_h, drug, strength)
    found = card(b, 71)
    assert any(words in x for x in found.not_counted) and found.range_text == card(asleep(), 71).range_text


def test_a_stopped_pump_takes_nothing_away() -> None:
    b = asleep()
    pump(b, 62, "4", "dexmedetomidine", "5 mcg/mL")
    b.tell(65, ev.InfusionStopped, infusion="i-1")
    assert card(b, 71).range_text == "1.2 to 1.7 % end-tidal"


def test_the_trend_holds_each_measured_end_tidal_over_its_own_moment() -> None:
    """The first before the pump ran, the second beside it, the third marked as an artefact."""
    b = asleep()
    read(b, 65, "agent_et", "1.4")
    pump(b, 66, "4", "dexmedetomidine", "5 mcg/mL")
    read(b, 70, "agent_et", "1.4")
    b.tell(73, ev.ArtefactMarked, target=read(b, 72, "agent_et", "4"))
    trend = card(b, 75).trend
    assert [p.at for p in trend] == [at(65), at(70)]
    assert trend[0].low == pytest.approx(1.4 / HIGH) and trend[1].low == pytest.approx(1.4 / (HIGH * 0.667), rel=2e-3)


def test_a_reading_of_one_agent_is_never_set_over_the_mac_of_another() -> None:
    """Isoflurane until 75, then sevoflurane: the 1.4 % of before belongs to isoflurane."""
    b = asleep()
    read(b, 70, "agent_et", "1.4")
    b.tell(75, ev.VaporiserSet, agent="isoflurane", percent=d("0"))
    b.tell(75.5, ev.VaporiserSet, agent="sevoflurane", percent=d("3"))
    found = card(b, 76)
    assert (found.agent, found.multiple, found.trend) == ("Sevoflurane", None, ())
    read(b, 80, "agent_et", "2.1")
    after = card(b, 81)
    assert [p.at for p in after.trend] == [at(80)] and after.trend[0].low == pytest.approx(2.1 / 2.4)


def test_species_do_not_borrow_from_one_another() -> None:
    """Dexmedetomidine's sparing was read in dogs: in a cat it is listed and not counted."""
    b = asleep("cat", "4")
    pump(b, 62, "1.6", "dexmedetomidine", "5 mcg/mL")
    found = card(b, 71)
    assert spread(found.range_text)[:2] == pytest.approx([1.2, 2.22], rel=0.051)
    assert any(x.startswith("dexmedetomidine: ") and x.endswith("so not counted.") for x in found.not_counted)


@pytest.mark.parametrize("agent", ["halothane", "nothing of the kind"])
def test_an_agent_without_a_published_mac_has_no_card(agent: str) -> None:
    assert seen(asleep(agent=agent), 71).maintain.mac is None


def test_no_card_awake_or_after() -> None:
    b = asleep()
    b.tell(90, ev.TubePlaced, id_mm=d("8"), cuffed=True)
    b.tell(100, ev.Extubated, signs=("swallow",))
    assert (
        seen(b, 59).maintain.mac is None and seen(b, 95).maintain.mac is not None and seen(b, 101).maintain.mac is None
    )


DEPTH = re.compile(
    r"\b(deep\w*|light(er|ly)?|surgical\w*|adequate\w*|inadequate\w*|plane|stage|aware\w*|asleep|enough|sufficient\w*|too )\b",
    re.IGNORECASE)  # fmt: skip


@pytest.mark.parametrize("percent", ["0.2", "1.3", "4.5"])
def test_no_word_names_a_depth(percent: str) -> None:
    """D4: whatever the multiple, a number is told and nothing is made of it. Titles of sources are left out."""
    b = asleep()
    pump(b, 62, "4", "dexmedetomidine", "5 mcg/mL", "i-1")
    pump(b, 62, "1", "midazolam", "1 mg/mL", "i-2")
    read(b, 68, "temperature", "34.0")
    read(b, 70, "agent_et", percent)
    told = msgspec.to_builtins(card(b, 71))
    stack, words = [told], []
    while stack:
        one = stack.pop()
        if isinstance(one, dict):
            stack += [v for k, v in one.items() if k != "cited"]
        elif isinstance(one, list):
            stack += one
        elif isinstance(one, str):
            words.append(one)
    assert words and not [w for w in words if DEPTH.search(w)]
