"""Lines of advice on breathing, from values alone. Each rule fires on its pattern, and on no half of it.

The thresholds are rows of breathing-watch.toml; most are ours, so these tests hold the rule, not a published figure.
"""

from __future__ import annotations

from typing import Any

import pytest

from casebook import Book, at, d
from gas_case import cat, line, lines, press, see
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view

# ---- oxygen breathed in


@pytest.mark.parametrize(("value", "told"), [("21", True), ("29", True), ("30", False), ("95", False)])
def test_low_inspired_oxygen_is_told_at_once_without_any_order(value: str, told: bool) -> None:
    """A10: 30 % is taught as the least (from memory)."""
    b = cat()
    see(b, 70, fio2=value)
    found = line(b, 71, "fio2 low")
    assert (found is not None and found.priority == "high" and f"Inspired oxygen {value} %" in found.title) is told


def test_low_inspired_oxygen_has_one_line_even_with_an_order() -> None:
    b = cat()
    b.tell(5, ev.LimitOrdered, reading="fio2", below=d("40"), action="oxygen up", ordered_by="ilse")
    see(b, 70, fio2="25")
    assert [a.id for a in lines(b, 71) if "fio2" in a.id] == ["fio2 low"]
    see(b, 72, fio2="35")
    assert [a.id for a in lines(b, 73) if "fio2" in a.id] == ["limit fio2"]


# ---- vaporiser


@pytest.mark.parametrize(
    ("dial", "after", "et", "told"),
    [("2", 12, "0.3", True), ("2", 12, "0.8", False), ("2", 5, "0.3", False), ("1", 12, "0.5", False)],
)
def test_end_tidal_agent_far_under_the_dial_asks_for_the_vaporiser(dial: str, after: int, et: str, told: bool) -> None:
    """A11: 40 % of the dial after ten minutes (ours)."""
    b = cat()
    b.tell(64, ev.VaporiserSet, agent="isoflurane", percent=d(dial))
    see(b, 64 + after, agent_et=et)
    found = line(b, 65 + after, "vaporiser")
    assert (found is not None) is told
    if found is not None:
        assert found.priority == "medium" and "Is the vaporiser empty?" in found.title


@pytest.mark.parametrize(
    ("after", "et", "inspired", "told"),
    [
        (22, "0.8", None, True),
        (12, "0.8", None, False),
        (12, "0.6", "0.9", True),
        (12, "0.9", "0.2", False),
        (22, "0.2", None, False),
    ],
)
def test_a_dial_that_is_off_and_agent_that_still_comes(after: int, et: str, inspired: str | None, told: bool) -> None:
    """A11: more goes in than comes out, or much is left after twenty minutes (ours)."""
    b = cat()
    b.tell(64, ev.VaporiserSet, agent="isoflurane", percent=d("0"))
    see(b, 64 + after, agent_et=et, **({} if inspired is None else {"agent_in": inspired}))
    found = line(b, 65 + after, "vaporiser")
    assert (found is not None) is told
    assert found is None or "Is it really off?" in found.title


def test_turning_the_dial_up_begins_no_new_wait() -> None:
    """A11: 2 to 5 % over 31 min with nothing breathed out; the lowest of the last ten minutes is the measure."""
    b = cat()
    for minutes, percent in ((64, "2"), (72, "3"), (80, "4"), (88, "5")):
        b.tell(minutes, ev.VaporiserSet, agent="isoflurane", percent=d(percent))
    see(b, 95, agent_et="0.1")
    found = line(b, 96, "vaporiser")
    assert found is not None and "Dial 4 % or more for 10 min, end-tidal 0.1 %" in found.title
    see(b, 97, agent_et="1.7")  # more than 40 % of the lowest, less than 40 % of the last
    assert line(b, 97.5, "vaporiser") is None


def test_a_dial_just_turned_on_again_is_waited_for() -> None:
    b = cat()
    for minutes, percent in ((64, "2"), (72, "0"), (80, "2")):
        b.tell(minutes, ev.VaporiserSet, agent="isoflurane", percent=d(percent))
    see(b, 86, agent_et="0.3")
    assert line(b, 87, "vaporiser") is None


# ---- breaths


def dose(b: Book, minutes: float, drug: str = "alfaxalone", purpose: str = "induction", route: str = "IV") -> None:
    b.tell(minutes, ev.DrugGiven, drug=drug, amount=d("4"), unit="mg", volume_ml=d("0.4"), route=route, purpose=purpose)


def test_no_breath_noted_after_induction_is_told_until_one_is() -> None:
    """A15: two minutes (ours); a push restarts them, a breath ends them."""
    b = cat(tube=False)
    dose(b, 60)
    dose(b, 61)
    assert line(b, 62.5, "no breath seen") is None
    found = line(b, 63.2, "no breath seen")
    assert found is not None and found.priority == "medium" and "Alfaxalone" in found.title
    see(b, 63.5, respiratory_rate="12")
    assert line(b, 63.6, "no breath seen") is None


@pytest.mark.parametrize(
    ("drug", "route", "told"), [("fentanyl", "IV", True), ("fentanyl", "SC", False), ("cefazolin", "IV", False)]
)
def test_an_opioid_by_vein_asks_for_a_breath_again(drug: str, route: str, told: bool) -> None:
    """A15: during anaesthesia, tube or none."""
    b = cat()
    dose(b, 60)
    see(b, 65, respiratory_rate="12", etco2="38")
    dose(b, 70, drug=drug, purpose="analgesia", route=route)
    assert (line(b, 73, "no breath seen") is not None) is told
    b.tell(73, ev.VentilationSet, mode="assisted by hand")
    assert line(b, 74, "no breath seen") is None


def test_an_opioid_of_before_induction_is_not_asked_about() -> None:
    b = cat(tube=False)
    dose(b, 30, drug="methadone", purpose="premedication")
    assert line(b, 66, "no breath seen") is None


def test_a_rate_of_nothing_without_a_tube_is_told_at_once() -> None:
    """A15: no second line beside it."""
    b = cat(tube=False)
    dose(b, 60)
    see(b, 61, respiratory_rate="0")
    found = [a for a in lines(b, 64) if "breath" in a.id or "respiratory" in a.id]
    assert [(a.id, a.priority) for a in found] == [("no breaths", "high")]


def test_with_a_tube_and_no_co2_the_airway_s_line_alone_speaks() -> None:
    """A1, A15: one condition, one line."""
    b = cat()
    dose(b, 60)
    see(b, 70, etco2="0", respiratory_rate="0")
    assert [a.id for a in lines(b, 73) if a.priority == "high"] == ["no co2"]


# ---- pressure and volume as read


@pytest.mark.parametrize(
    ("reading", "value", "priority"),
    [("peak_pressure", "14", None), ("peak_pressure", "17", "medium"), ("peak_pressure", "24", "high"),
     ("tidal_volume", "50", None), ("tidal_volume", "30", None), ("tidal_volume", "68", "medium"), ("tidal_volume", "90", "high")],
)  # fmt: skip
def test_what_is_read_over_the_animal_s_limits_is_told(reading: str, value: str, priority: str | None) -> None:
    """A16: peak 15 and 20 in a cat; 15 and 20 mL/kg of 4 kg are 60 and 80 mL. A small breath is no barotrauma."""
    b = cat()
    b.tell(64, ev.VentilationSet, mode="ventilator", rate=14)
    see(b, 70, **{reading: value})
    found = line(b, 71, "over-ventilated")
    assert (None if found is None else found.priority) == priority


def test_too_much_pressure_does_not_hide_far_too_much_volume() -> None:
    """A16: peak 17 is unusual, 95 mL in 4 kg is 23.8 mL/kg, over the hard stop: the worse one leads, both are named."""
    b = cat()
    b.tell(64, ev.VentilationSet, mode="ventilator", rate=14)
    see(b, 70, peak_pressure="17", tidal_volume="95")
    found = line(b, 71, "over-ventilated")
    assert found is not None and found.priority == "high"
    assert found.title.startswith("Tidal volume: 95 mL is 23.8 mL/kg") and "Peak pressure: 17 cmH2O" in found.title


def test_a_breath_read_in_a_very_small_fat_animal_is_judged_by_body_weight() -> None:
    """A16: 0.22 kg at condition 9 is 0.13 kg lean, under any animal's weight; 300 mL is far too much by any weight."""
    b = cat()
    b.tell(62.6, ev.Weighed, weight_kg=d("0.22"), method="scale", confirmed=True)
    b.tell(62.7, ev.BodyConditionScored, score=9)
    b.tell(64, ev.VentilationSet, mode="ventilator", rate=14)
    see(b, 70, tidal_volume="300")
    found = line(b, 71, "over-ventilated")
    assert found is not None and found.priority == "high" and "of body weight" in found.title


@pytest.mark.parametrize(
    ("reading", "before", "now", "mode", "told"),
    [("peak_pressure", "10", "1", "ventilator", True), ("tidal_volume", "40", "5", "ventilator", True),
     ("peak_pressure", "10", "6", "ventilator", False), ("tidal_volume", "40", "5", "assisted by hand", False)],
)  # fmt: skip
def test_pressure_or_breath_that_is_nearly_gone_asks_for_a_disconnection(
    reading: str, before: str, now: str, mode: str, told: bool
) -> None:
    """A1: 30 % of the highest of the window (a row, ours), on a ventilator only."""
    b = cat()
    b.tell(64, ev.VentilationSet, mode=mode, rate=14)
    see(b, 70, **{reading: before})
    see(b, 75, **{reading: now})
    found = line(b, 76, "disconnected")
    assert (found is not None) is told
    assert found is None or (found.priority == "medium" and "Disconnected?" in found.title)
    b.tell(75.5, ev.VentilationSet, mode="ventilator", rate=12)
    assert line(b, 76, "disconnected") is None


def test_its_own_breath_is_not_called_too_large() -> None:
    b = cat()
    b.tell(64, ev.VentilationSet, mode="spontaneous")
    see(b, 70, tidal_volume="90")
    assert line(b, 71, "over-ventilated") is None


def test_an_arrest_has_its_own_page() -> None:
    b = cat()
    b.tell(69, ev.ArrestBegan)
    see(b, 70, peak_pressure="24", fio2="21")
    assert not {a.id for a in lines(b, 71)} & {"over-ventilated", "fio2 low", "no breath seen"}


# ---- a tube too deep


def desaturating(spo2: tuple[str, str], co2: tuple[str, str], turned: float | None = None) -> Book:
    b = cat()
    if turned is not None:
        b.tell(turned, ev.Positioned, position="right side", disconnected_first=True)
    start = 63 if turned is None else turned - 3
    see(b, start, spo2=spo2[0], etco2=co2[0])
    see(b, start + 6, spo2=spo2[1], etco2=co2[1])
    return b


@pytest.mark.parametrize(
    ("spo2", "co2", "told"),
    [(("99", "95"), ("38", "40"), True), (("99", "97"), ("38", "40"), False), (("99", "95"), ("38", "20"), False),
     (("95", "99"), ("38", "40"), False)],
)  # fmt: skip
def test_saturation_that_falls_with_the_same_co2_asks_for_the_depth(spo2: Any, co2: Any, told: bool) -> None:
    """A2: soon after intubation, four points (ours), CO2 within a fifth."""
    found = line(desaturating(spo2, co2), 70, "too deep")
    assert (found is not None) is told
    if found is not None:
        assert found.priority == "medium" and "since intubation" in found.title
        assert "13 cm" in found.body and "listen to both sides" in found.body and "no wave is read" in found.body


def test_no_co2_is_not_co2_as_before() -> None:
    """A1 leads: two zeros are no reassurance."""
    assert line(desaturating(("99", "90"), ("0", "0")), 70, "too deep") is None


def test_a_weight_that_no_animal_has_breaks_no_page() -> None:
    """A16: what can be judged without it still is."""
    b = cat()
    b.tell(63, ev.Weighed, weight_kg=d("90"), method="scale", confirmed=True)
    b.tell(64, ev.VentilationSet, mode="ventilator", rate=14, tidal_ml=d("50"), peak_cmh2o=d("22"), reason="by order")
    see(b, 70, tidal_volume="50")
    card = case_view(b.fold(), len(b.entries), load_facts(), at(71)).maintain.ventilator
    assert card is not None and [w.partition(":")[0] for w in card.judged] == [
        "peak pressure",
        "tidal volume",
        "alarms",
    ]
    assert "90 kg is not the weight of a cat" in card.judged[1]
    see(b, 72, peak_pressure="24")
    assert line(b, 73, "over-ventilated") is not None


def test_a_turn_begins_the_question_anew_and_it_ends_after_a_while() -> None:
    """A2."""
    b = desaturating(("99", "95"), ("38", "40"), turned=90)
    found = line(b, 94, "too deep")
    assert found is not None and "since the turn" in found.title
    see(b, 104, spo2="95", etco2="40")
    assert line(b, 106, "too deep") is None


def test_with_a_limit_that_is_broken_too_one_line_says_both() -> None:
    """A2: the ordered act stays, and the cause stands with it."""
    b = desaturating(("99", "91"), ("38", "40"))
    b.tell(5, ev.LimitOrdered, reading="spo2", below=d("94"), action="oxygen up", ordered_by="ilse")
    found = [a for a in lines(b, 70) if a.id in {"limit spo2", "too deep"}]
    assert [a.id for a in found] == ["limit spo2"]
    assert "oxygen up" in found[0].body and "Tube too deep?" in found[0].body


def test_nothing_is_said_while_all_is_well() -> None:
    b = cat()
    dose(b, 60)
    b.tell(64, ev.VaporiserSet, agent="isoflurane", percent=d("1.5"))
    b.tell(64, ev.VentilationSet, mode="ventilator", rate=14, tidal_ml=d("50"), peak_cmh2o=d("10"))
    for minutes in (65, 70, 75, 80):
        see(b, minutes, spo2="98", etco2="38", respiratory_rate="14", fio2="95", agent_et="1.2", agent_in="1.4", peak_pressure="10",
            peep="1", tidal_volume="50")  # fmt: skip
        press(b, minutes, "110", "80", "64")
    assert lines(b, 81) == ()
