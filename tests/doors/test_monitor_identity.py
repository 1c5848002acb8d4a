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
