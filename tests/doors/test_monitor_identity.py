"""Whose numbers are whose stays so: over a new start of the server, over ids that begin again, over names that are alike.

D6, D7 and D8 are hazards. What monitors say is made up; that message ids of a sender may begin again is common practice, from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from small_house import NINE
from spiracle.case import events as ev
from spiracle.monitors.heard import Heard
from spiracle.sheets.live_sheet import contradiction
from ward import Ward, a_ward, co2, number


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    with a_ward(tmp_path) as made:
        yield made


def spo2(value: str, **more: Any) -> dict[str, Any]:
    return {"numbers": (number("spo2", value, "%", **more),)}


def test_d7_what_is_held_back_stays_so_after_a_new_start(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case, patient="H-6")
    assert ward.say(patient_ids=("H-9",), **spo2("80")).how == "held back"
    words = ward.state(case)["held_back"]
    ward.restart()
    assert ward.say(**spo2("81")).how == "held back"
    assert ward.shown(case) == {}
    assert ward.state(case)["held_back"] == words
    ward.clock.forward(timedelta(seconds=5))
    ward.pair(case, patient="H-9")
    assert ward.say(patient_ids=("H-9",), **spo2("82")).how == "kept"
    ward.restart()
    assert ward.say(**spo2("83")).how == "kept", "a person paired it again"


def test_d7_a_message_with_nothing_but_a_name_holds_after_a_new_start(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case, patient="H-6")
    assert ward.say(patient_ids=("H-9",), message_id="1").how == "held back"
    ward.archive.pack(ward.clock.now() + timedelta(hours=1))
    ward.restart()
    assert ward.say(**spo2("81")).how == "held back"


def test_d7_a_hold_stands_while_the_case_grows(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case, patient="H-6")
    assert ward.say(patient_ids=("H-9",)).how == "held back"
    for _ in range(3):
        ward.tell(case, ev.MonitorPaired, monitor="m2", name="Monitor 2", seen="pulse felt with it")
        assert ward.say(**spo2("80")).how == "held back"


def test_d6_ids_that_begin_again_lose_nothing(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    first: list[Heard] = []
    for value in ("97", "97", "96"):
        ward.clock.forward(timedelta(seconds=1))
        first.append(Heard(monitor="m1", sent_at=ward.clock.now(), message_id=str(len(first) + 1), **spo2(value)))
        assert ward.hub.take(first[-1], ward.clock.now()).how == "kept"
    ward.clock.forward(timedelta(minutes=20))
    for i in (1, 2, 3):  # switched off and on: the same ids, also the same numbers
        ward.clock.forward(timedelta(seconds=1))
        assert ward.say(message_id=str(i), **spo2("97")).how == "kept"
    ward.restart()
    assert ward.hub.take(first[0], ward.clock.now()).how == "repeat", "the very same message is one still"
    ward.clock.forward(timedelta(seconds=1))
    assert ward.say(message_id="2", **spo2("70")).how == "kept"
    kept = ward.archive.numbers(case, NINE, NINE + timedelta(days=1))
    assert [str(n.value) for n in kept] == ["97", "97", "96", "97", "97", "97", "70"]


def test_d6_one_id_at_one_moment_with_other_content_is_another_message(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    assert ward.say(message_id="1", waves=(co2(0, 20),)).how == "kept"
    assert ward.say(message_id="1", waves=(co2(20, 20),)).how == "kept"
    assert ward.say(message_id="1", waves=(co2(20, 20),)).how == "repeat"
    assert len(ward.kept(case)) == 40


def test_d6_a_format_that_flaps_is_told_and_not_read_back_again(ward: Ward) -> None:
    """The archive is read once for a wave of a pairing, whatever its formats do; what is kept is each sample all the same."""
    case = ward.patient()
    ward.pair(case)
    ward.breathe(0, 1000)
    reads: list[str] = []
    whole = ward.archive.read
    ward.archive.read = lambda *a: (reads.append(a[1]), whole(*a))[1]  # type: ignore[method-assign]  # counts, and reads
    flaps = [co2(1000 + i, 1, rate_hz=100.0 if i % 2 else 50.0, seq=None) for i in range(60)]
    ward.clock.forward(timedelta(seconds=1))
    assert ward.say(waves=tuple(flaps)).how == "kept"
    assert reads == []
    assert any("changes rate, unit or scale" in words for words in ward.state(case)["unknown"])
    ward.clock.forward(timedelta(minutes=2))
    ward.breathe(2000, 3000)
    assert not ward.state(case)["unknown"], "steady again"
    assert "15/min" in ward.state(case)["breath_text"]
    assert len(ward.kept(case)) >= 1000 + 60 + 3000


def test_d6_another_scale_is_read_on(ward: Ward) -> None:
    """Samples are read in the wave's unit: the breath goes on over a change of scale."""
    case = ward.patient()
    ward.pair(case)
    ward.breathe(0, 2000)
    text = ward.state(case)["breath_text"]
    for at in range(2000, 4000, 20):
        ward.clock.forward(timedelta(seconds=0.2))
        wave = co2(at, 20)
        ward.say(waves=(co2(at, 20, scale=0.05, samples=tuple(2 * (x or 0) for x in wave.samples)),))
    assert ward.state(case)["breath_text"] == text
    assert not ward.state(case)["unknown"]


@pytest.mark.parametrize(("said", "at_pairing", "agrees"), [
    ({"patient_name": "Leona Smith"}, "", False),
    ({"patient_name": "O"}, "", False),
    ({"patient_name": "LEO Smith"}, "", True),
    ({"patient_name": "Smith"}, "H-7 Bo Smith", True),
    ({"patient_name": "..."}, "", True),
    ({"patient_ids": ("Smith",)}, "H-7 Bo Smith", False),
    ({"patient_ids": ("Bo",)}, "Bo Smith", False),
    ({"patient_ids": ("h-6",)}, "", True),
    ({"patient_ids": ("H-7",)}, "H-7 Bo Smith", True),
    ({"patient_ids": ("22",)}, "H-7 22 Bo Smith", True),
    ({"patient_ids": ("H-77",)}, "H-7 Bo Smith", False),
    ({"patient_ids": ("7",)}, "H-7 Bo Smith", False),
])  # fmt: skip
def test_d7_names_and_ids_agree_as_wholes(said: dict[str, Any], at_pairing: str, agrees: bool) -> None:
    assert (contradiction(Heard(monitor="m1", **said), at_pairing, "H-6", "Leo") == "") is agrees


def test_d7_every_open_patient_is_bound_after_a_new_start(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    for i in range(201):
        ward.patient(f"n{i}", f"N-{i}")
    ward.restart()
    taken = ward.say(**spo2("97"))
    assert (taken.how, taken.case) == ("kept", case)


def test_d7_a_monitor_that_says_another_place_is_told(ward: Ward) -> None:
    """It goes on: a room is no identity. But it is said."""
    case = ward.patient()
    ward.pair(case, place="Room 1")
    ward.say(place="Room 1", **spo2("97"))
    assert ward.state(case)["link_text"] == "Live from Monitor 1."
    assert ward.say(place="Recovery", **spo2("96")).how == "kept"
    words = ward.state(case)["link_text"]
    assert "paired in Room 1" in words and "Recovery" in words
    ward.say(place="Room 1", **spo2("97"))
    assert ward.state(case)["link_text"] == "Live from Monitor 1."
