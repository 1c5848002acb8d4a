"""Nothing old, stopped, impossible or another animal's stands on the panel as this patient's now."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from served import wait_for
from spiracle.case import events as ev
from spiracle.monitors.heard import Heard, Number
from ward import Ward, a_ward, co2, number


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    with a_ward(tmp_path) as made:
        yield made


def pressure(sap: str | None, mean: str | None, dap: str | None, **more: Any) -> tuple[Number, ...]:
    return tuple(
        number(n, v, "mmHg", **{"method": "oscillometric", **more})
        for n, v in (("sap", sap), ("map", mean), ("dap", dap))
    )


def steady(ward: Ward, seconds: int = 10) -> None:
    """Until the clock of the device is known."""
    for _ in range(seconds):
        ward.clock.forward(timedelta(seconds=1))
        ward.say(numbers=(number("spo2", "97", "%", device_at=ward.clock.now()),))


def test_d7_what_was_measured_before_the_pairing_is_not_the_new_patient_s(ward: Ward) -> None:
    """D7: a monitor that was moved sends the last cuff of the animal before, and a message that was held up on the way."""
    first, second = ward.patient(), ward.patient("Bijou", "H-7")
    ward.pair(first)
    steady(ward)
    then = ward.clock.now()
    ward.tell(first, ev.MonitorUnpaired, monitor="m1", reason="moved")
    wait_for(lambda: not ward.bound("m1"))
    ward.clock.forward(timedelta(seconds=60))
    ward.pair(second)
    ward.clock.forward(timedelta(seconds=1))
    old = {"seq": None, "device_at": then - timedelta(seconds=0.2)}
    ward.say(numbers=pressure("120", "90", "70", device_at=then), waves=(co2(0, 20, **old),))
    ward.say(late=61, numbers=(number("spo2", "60", "%", device_at=then),), waves=(co2(0, 20, **old),))
    state = ward.state(second)
    assert state["pressure"] is None and state["numbers"] == [] and state["waves"] == []
    span = timedelta(days=1)
    assert ward.archive.numbers(second, then - span, then + span) == () and ward.kept(second) == []
    assert len(ward.archive.numbers("", then - span, then + span)) == 4, "kept, as nobody's"
    ward.clock.forward(timedelta(seconds=1))
    ward.say(numbers=(number("spo2", "95", "%", device_at=ward.clock.now()),))
    assert ward.shown(second) == {"spo2": "95"}


@pytest.mark.parametrize("silent", [True, False])
def test_d6_a_line_that_is_silent_or_pulled_hides_no_cuff(ward: Ward, silent: bool) -> None:
    case = ward.patient()
    ward.pair(case)
    line = {"method": "arterial line"}
    ward.say(numbers=(*pressure("120", "90", "70", **line), *pressure("60", "45", "35")))
    assert ward.state(case)["pressure"]["method"] == "arterial line", "while it is fresh"
    if silent:
        ward.clock.forward(timedelta(seconds=11))
        ward.say(numbers=pressure("58", "44", "34"))
    else:
        ward.say(numbers=(*pressure(None, None, None, standing="unavailable", **line), *pressure("58", "44", "34")))
    found = ward.state(case)["pressure"]
    assert (found["text"], found["method"], found["state"]) == ("58/34 (44)", "oscillometric", "good")


def test_d6_a_co2_wave_that_stops_does_not_stand_as_live_while_numbers_go_on(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    ward.breathe(0, 6000, step=100)
    state = ward.state(case)
    assert "40 mmHg" in state["breath_text"] and [f["name"] for f in state["findings"]] == ["normal"]
    ward.clock.forward(timedelta(seconds=11))
    ward.say(numbers=(number("spo2", "97", "%"),))
    state = ward.state(case)
    assert state["link"] == "live" and "no CO₂ since 11 s" in state["link_text"]
    assert state["breath_text"] == "Not read: no CO₂ since 11 s."
    assert (state["findings"], state["waves"], state["airway"]) == ([], [], None)
    ward.breathe(6000, 800, step=100)
    assert ward.state(case)["waves"] and "mmHg" in ward.state(case)["breath_text"], "it comes again"


def test_d8_our_clock_set_back_hides_no_new_value(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    ward.say(numbers=(number("spo2", "98", "%"),))
    ward.clock.forward(timedelta(minutes=-9))
    state = ward.state(case)
    assert [n["state"] for n in state["numbers"]] == ["questionable"], "its age cannot be told"
    assert state["link"] == "stale" and "set back" in state["link_text"]
    ward.clock.forward(timedelta(seconds=1))
    ward.say(numbers=(number("spo2", "60", "%"),), waves=(co2(0, 20),))
    state = ward.state(case)
    assert [(n["text"], n["state"]) for n in state["numbers"]] == [("60", "good")]
    assert state["link"] == "live" and len(ward.kept(case)) == 20


@pytest.mark.parametrize(
    ("reading", "value", "unit"),
    [("spo2", "970", "%"), ("spo2", "-5", "%"), ("spo2", "NaN", "%"), ("heart_rate", "100000", "/min"),
     ("temperature", "3.8", "Cel")],
)  # fmt: skip
def test_d16_a_value_that_cannot_be_is_a_gap_and_says_why(ward: Ward, reading: str, value: str, unit: str) -> None:
    """No saturation is above 100 % or below 0 %, by what it is; no dog's heart beats 100 000 times a minute (common practice)."""
    case = ward.patient()
    ward.pair(case)
    ward.say(numbers=(number(reading, value, unit),))
    (found,) = ward.state(case)["numbers"]
    assert (found["state"], found["value"], found["text"], found["quality"]) == ("gap", None, "", "invalid")
    assert "cannot be" in found["why"]


def test_d8_what_was_held_up_on_the_way_keeps_its_own_time(ward: Ward) -> None:
    """D6, D8: after five minutes without a network all comes at once; none of it is now, and it does not pass for a clock set anew."""
    case = ward.patient()
    ward.pair(case)
    steady(ward, 20)
    then = ward.clock.now()
    ward.clock.forward(timedelta(minutes=5))
    for i in range(1, 31):
        sent = then + timedelta(seconds=i)
        ward.hub.take(
            Heard(monitor="m1", sent_at=sent, numbers=(number("spo2", str(90 - i), "%", device_at=sent),)),
            ward.clock.now(),
        )
        (found,) = ward.state(case)["numbers"]
        assert found["at"] == sent.isoformat().replace("+00:00", "Z")
        assert found["state"] == "questionable" and "came late" in found["why"]
    assert "come late" in ward.state(case)["skew_text"]
    steady(ward, 1)
    (found,) = ward.state(case)["numbers"]
    assert (found["text"], found["state"]) == ("97", "good")


def test_d8_a_clock_that_was_set_back_is_known_after_a_few_messages(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    steady(ward)
    for _ in range(8):
        ward.clock.forward(timedelta(seconds=1))
        ward.say(late=600, numbers=(number("spo2", "88", "%", device_at=ward.clock.now() - timedelta(seconds=600)),))
    (found,) = ward.state(case)["numbers"]
    assert (found["text"], found["state"]) == ("88", "good")
    assert found["at"] == ward.clock.now().isoformat().replace("+00:00", "Z")


@pytest.mark.parametrize("more", [{"scale": 1e308}, {"scale": math.inf}, {"offset": math.nan}, {"scale": 100.0}])
def test_d16_a_wave_that_cannot_be_is_held(ward: Ward, more: dict[str, float]) -> None:
    """No gas has a pressure above that of the air around it, 760 mmHg at sea level."""
    case = ward.patient()
    ward.pair(case)
    assert ward.say(waves=(co2(50, 20, **more),), numbers=(number("spo2", "97", "%"),)).how == "kept"
    state = ward.state(case)
    assert state["waves"] == [] and ward.kept(case) == [] and ward.shown(case) == {"spo2": "97"}
    assert state["unknown"] and "it is not shown" in state["unknown"][0]
    ward.say(waves=(co2(70, 20),))
    assert ward.state(case)["unknown"] == [] and len(ward.kept(case)) == 20
