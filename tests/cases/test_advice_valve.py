"""A relief valve that may be shut: pressure up and blood flow down, and pressure that stays after a breath.

The thresholds are rows of breathing-watch.toml, all ours, so these tests hold the rule, not a published figure.
"""

from __future__ import annotations

import pytest

from casebook import Book, at, d
from gas_case import cat, line, lines, press, see
from spiracle.case import events as ev


def test_pressure_up_and_blood_pressure_down_is_a_shut_valve_first() -> None:
    """A9: peak 9 to 16, mean 82 to 60; before whatever else is as urgent."""
    b = cat()
    see(b, 70, peak_pressure="9")
    press(b, 70, "110", "82", "66")
    see(b, 75, peak_pressure="16", fio2="21")
    press(b, 75, "84", "60", "50")
    found = lines(b, 76)
    assert [a.id for a in found][:2] == ["valve", "fio2 low"]
    assert found[0].priority == "high" and found[0].title == "VALVE? Peak 9 to 16 cmH₂O, mean 82 to 60 mmHg."
    assert found[0].body.startswith("Open the relief valve")


def test_pressure_that_stays_after_a_breath_counts_for_less() -> None:
    """A9: 3 cmH2O at the end of a breath, and the pulse pressure alone where no mean was read."""
    b = cat()
    see(b, 70, peep="0")
    press(b, 70, "110", None, "66")
    see(b, 74, peep="4")
    press(b, 74, "90", None, "68")
    found = line(b, 75, "valve")
    assert found is not None and "Pressure after a breath 0 to 4 cmH₂O, pulse pressure 44 to 22 mmHg" in found.title


def test_a_shut_valve_and_too_much_pressure_are_one_condition() -> None:
    """A9, A16: 24 is over a cat's hard stop too."""
    b = cat()
    for minutes, peak, mean in ((70, "9", "82"), (75, "24", "60")):
        see(b, minutes, peak_pressure=peak)
        press(b, minutes, "110", mean, "50")
    assert [a.id for a in lines(b, 76) if a.id in {"valve", "over-ventilated"}] == ["valve"]


@pytest.mark.parametrize(
    ("peak", "mean"),
    [
        (("9", "16"), ("82", "78")),
        (("9", "12"), ("82", "60")),
        (("16", "9"), ("82", "60")),
        (("9", "16"), ("60", "82")),
    ],
)
def test_one_half_of_the_pattern_is_no_shut_valve(peak: tuple[str, str], mean: tuple[str, str]) -> None:
    b = cat()
    for i, minutes in enumerate((70, 75)):
        see(b, minutes, peak_pressure=peak[i])
        press(b, minutes, "110", mean[i], "50")
    assert line(b, 76, "valve") is None


def test_a_ventilator_set_anew_explains_its_pressure() -> None:
    b = cat()
    see(b, 70, peak_pressure="9")
    press(b, 70, "110", "82", "66")
    b.tell(72, ev.VentilationSet, mode="ventilator", rate=14, peak_cmh2o=d("15"))
    see(b, 75, peak_pressure="15")
    press(b, 75, "84", "60", "50")
    assert line(b, 76, "valve") is None


def test_old_values_and_artefacts_say_nothing_of_now() -> None:
    """C2: neither a value of half an hour ago nor one that was judged an artefact."""
    b = cat()
    see(b, 70, peak_pressure="9")
    press(b, 70, "110", "82", "66")
    false = b.tell(75, ev.ReadingTaken, reading="peak_pressure", value=d("16"), unit="cmH2O")
    press(b, 75, "84", "60", "50")
    assert line(b, 76, "valve") is not None
    assert line(b, 106, "valve") is None
    b.tell(76, ev.ArtefactMarked, target=false, reason="cough")
    assert line(b, 77, "valve") is None


def doppler(b: Book, minutes: float, sap: str) -> None:
    b.tell(minutes, ev.PressureTaken, sap=d(sap), method="doppler")


@pytest.mark.parametrize(
    ("values", "said"),
    [({"peep": ("2", "15")}, "Pressure after a breath 2 to 15"), ({"peak_pressure": ("8", "14.5")}, "Peak 8 to 14.5")],
)
def test_a_systolic_alone_tells_of_blood_flow(values: dict[str, tuple[str, str]], said: str) -> None:
    """A9: a Doppler gives neither mean nor pulse pressure: 110 to 60."""
    b = cat()
    for i, (minutes, sap) in enumerate(((70, "110"), (75, "60"))):
        see(b, minutes, **{name: pair[i] for name, pair in values.items()})
        doppler(b, minutes, sap)
    found = line(b, 76, "valve")
    assert found is not None and said in found.title and "systolic 110 to 60 mmHg" in found.title


@pytest.mark.parametrize(
    ("peep", "set_", "priority"),
    [
        ("5", None, None),
        ("6", None, "medium"),
        ("8", "8", None),
        ("9", "8", "medium"),
        ("18", "0", "high"),
        ("12", "12", "high"),
    ],
)
def test_pressure_that_stays_is_judged_without_any_blood_pressure(
    peep: str, set_: str | None, priority: str | None
) -> None:
    """A9: 5 and 10 cmH2O (rows, ours); what was set and confirmed explains a little, never much."""
    b = cat()
    if set_ is not None:
        b.tell(65, ev.VentilationSet, mode="ventilator", rate=14, peep_cmh2o=d(set_), confirmed=True)
    see(b, 70, peep=peep)
    found = line(b, 71, "peep high")
    assert (None if found is None else found.priority) == priority
    assert found is None or (found.title.startswith("VALVE?") and found.body.startswith("Open the relief valve"))


def test_the_first_row_of_a_shut_valve_is_told_and_pressure_up_down_has_one_line() -> None:
    """A9: nothing was read before: peak 14, 12 after a breath, mean 40."""
    b = cat()
    see(b, 70, peak_pressure="14", peep="12")
    press(b, 70, "60", "40", "30")
    assert [a.priority for a in lines(b, 71) if a.id == "peep high"] == ["high"]
    b = cat()
    see(b, 70, peep="2")
    press(b, 70, "110", "82", "66")
    see(b, 75, peep="19")
    press(b, 75, "84", "50", "40")
    assert [a.id for a in lines(b, 76) if a.id in {"valve", "peep high"}] == ["valve"]


def test_a_shut_valve_is_told_until_the_pressure_falls_back() -> None:
    """A9: peak 14 and mean 55 sustained; the window has moved on after fifteen minutes, the valve is still shut."""
    b = cat()
    see(b, 70, peak_pressure="8")
    press(b, 70, "110", "82", "66")
    for minutes in range(75, 120, 5):
        see(b, minutes, peak_pressure="14")
        press(b, minutes, "80", "55", "44")
        found = line(b, minutes + 1, "valve")
        assert found is not None and "Peak 8 to 14 cmH₂O, mean 82 to 55 mmHg" in found.title, minutes
    assert found.since == at(75)
    see(b, 120, peak_pressure="9")
    assert line(b, 121, "valve") is None


def test_a_hand_on_the_bag_or_a_new_setting_opens_no_valve() -> None:
    """A9: neither a line that stands goes, nor one that begins: peak 14, 9 after a breath, mean 50."""
    b = cat()
    see(b, 70, peak_pressure="8", peep="2")
    press(b, 70, "110", "82", "66")
    see(b, 75, peak_pressure="14", peep="2")
    press(b, 75, "80", "55", "44")
    b.tell(76, ev.VentilationSet, mode="assisted by hand")
    see(b, 80, peak_pressure="14", peep="9")
    press(b, 80, "76", "50", "40")
    assert line(b, 81, "valve") is not None
    b = cat()
    see(b, 70, peep="2")
    press(b, 70, "110", "82", "66")
    b.tell(72, ev.VentilationSet, mode="ventilator", rate=14, peak_cmh2o=d("15"))
    see(b, 75, peep="9")
    press(b, 75, "80", "55", "44")
    assert line(b, 76, "valve") is not None


def test_a_peak_that_was_set_anew_ends_the_line_once_blood_pressure_is_back() -> None:
    b = cat()
    for minutes, peak, mean in ((70, "8", "82"), (75, "14", "60")):
        see(b, minutes, peak_pressure=peak)
        press(b, minutes, "110", mean, "50")
    b.tell(77, ev.VentilationSet, mode="ventilator", rate=14, peak_cmh2o=d("14"))
    see(b, 80, peak_pressure="14")
    press(b, 80, "110", "62", "50")
    assert line(b, 81, "valve") is not None
    press(b, 85, "110", "80", "50")
    see(b, 85, peak_pressure="14")
    assert line(b, 86, "valve") is None
