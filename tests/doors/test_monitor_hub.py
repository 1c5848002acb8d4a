"""Where monitors come together: kept before shown, on the patient they were paired with and on no other, and never new when old.

The numbered tests are the conformance tests of the exchange notes behind docs/monitors.md; D6, D7, D8, D16 are hazards.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Iterator
from concurrent.futures import Future
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from looped import looped
from served import wait_for
from spiracle.case import events as ev
from spiracle.doors.monitor_hub import MOST_MONITORS
from spiracle.monitors.heard import Standing
from spiracle.sheets.live_sheet import state_of
from ward import Ward, a_ward, breath, co2, number


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    with a_ward(tmp_path) as made:
        yield made


def test_what_a_paired_monitor_says_is_kept_and_shown(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    taken = ward.say(waves=(co2(0, 20),), numbers=(number("spo2", "97", "%"),), message_id="1")
    assert (taken.how, taken.case, taken.ok) == ("kept", case, True)
    assert ward.kept(case) == [breath(i) for i in range(20)]
    state = ward.state(case)
    assert (state["link"], state["monitor"], state["monitor_name"]) == ("live", "m1", "Monitor 1")
    (spo2,) = state["numbers"]
    assert (spo2["text"], spo2["value"], spo2["unit"], spo2["raw"], spo2["quality"]) == ("97", 97, "%", "97 %", "good")
    (wave,) = [said for name, said in ward.heard(case) if name == "wave"]
    assert (wave["wave"], wave["first"], wave["samples"]) == ("co2", 0, [breath(i) for i in range(20)]), "raw, as sent"


def test_an_unpaired_monitor_is_offered_and_nothing_of_it_is_kept(ward: Ward) -> None:
    """D7: standing in the case's own room does not make it this patient's."""
    case = ward.patient()
    taken = ward.say("m5", name="Monitor 5", place="Theatre 1", patient_ids=("H-6",), waves=(co2(0, 20),),
                     numbers=(number("heart_rate", "88", "/min"), number("spo2", "97", "%")))  # fmt: skip
    assert (taken.how, taken.case) == ("unpaired", "")
    assert ward.archive.cases() == ()
    wait_for(lambda: ward.hub.candidates() and ward.hub.candidates()[0].showing)
    (found,) = ward.state(case)["candidates"]
    assert (found["name"], found["place"], found["patient"], found["taken_by"]) == ("Monitor 5", "Theatre 1", "H-6", "")
    assert found["showing"] == "HR 88 · SpO₂ 97", (
        "what tells one monitor from another: its numbers against the finger's pulse"
    )
    assert ward.state(case)["link"] == "no monitor"


def test_strangers_cannot_fill_the_memory(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    ward.say()
    for n in range(MOST_MONITORS * 3):
        ward.say(f"stranger {n}")
    assert len(ward.hub._monitors) <= MOST_MONITORS
    assert "m1" in ward.hub._monitors, "a paired one is not pushed out"


def test_3_the_same_message_five_times_is_one_set_of_values(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    said: dict[str, Any] = {"waves": (co2(0, 20),), "numbers": (number("spo2", "97", "%"),), "message_id": "T1"}
    assert [ward.say(**said).how for _ in range(5)] == ["kept", *["repeat"] * 4]
    assert len(ward.kept(case)) == 20
    assert len([1 for name, _ in ward.heard(case) if name == "wave"]) == 1


def test_13_a_repeat_after_a_new_start_gives_one_copy(ward: Ward) -> None:
    """Killed after it was kept and before it was acknowledged: the sender repeats it to a process that has never heard it."""
    case = ward.patient()
    ward.pair(case)
    said: dict[str, Any] = {"waves": (co2(0, 20),), "message_id": "T1"}
    ward.say(**said)
    ward.restart()
    assert ward.say(**said).how == "repeat"
    assert len(ward.kept(case)) == 20


def test_a_new_start_goes_on_reading_where_it_was(ward: Ward) -> None:
    """The breath before the start and the one across it are there: the reader is fed from what was kept."""
    case = ward.patient()
    ward.pair(case)
    ward.breathe(0, 3000)
    before = ward.state(case)["breath_text"]
    assert "15/min" in before and "40 mmHg" in before, "15 breaths a minute to 40 mmHg, as the trace was made"
    ward.restart()
    assert ward.state(case)["breath_text"] == ""
    ward.breathe(3000, 20)
    assert "15/min" in ward.state(case)["breath_text"]


def test_d6_a_pulled_cable_shows_itself(ward: Ward) -> None:
    """D6: stale after 10 s and lost after 30 s of silence; the number keeps the moment it stands for."""
    case = ward.patient()
    ward.pair(case)
    assert ward.state(case)["link"] == "waiting"
    ward.say(numbers=(number("spo2", "97", "%"),))
    at = ward.state(case)["numbers"][0]["at"]
    for seconds, link in ((10, "live"), (1, "stale"), (19, "stale"), (1, "lost")):
        ward.clock.forward(timedelta(seconds=seconds))
        state = ward.state(case)
        assert state["link"] == link
        assert state["numbers"][0]["at"] == at
    assert "silent since 31 s" in state["link_text"] and "Look at the animal" in state["link_text"]
    ward.clock.forward(timedelta(minutes=10))
    assert ward.shown(case) == {}


def test_d6_the_page_is_told_of_the_silence_without_asking(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    ward.say(numbers=(number("spo2", "97", "%"),))

    async def until_lost() -> str:
        ear: asyncio.Queue[bytes | None] = asyncio.Queue(100)
        ward.hub.listen(case, ear)
        await ear.get()
        ward.clock.forward(timedelta(seconds=40))
        said = ""
        while '"link":"lost"' not in said:
            said = (await asyncio.wait_for(ear.get(), 10) or b"").decode()
        return said

    assert "Look at the animal" in looped(until_lost())


def test_d6_a_cuff_of_ten_minutes_ago_does_not_become_new_by_being_sent_again(ward: Ward) -> None:
    """D6, D8: from the first message on, whatever the clock of the device."""
    case = ward.patient()
    ward.pair(case)
    ward.clock.forward(timedelta(minutes=10))  # so that the cuff is this patient's
    for _ in range(8):
        ward.clock.forward(timedelta(seconds=1))
        now = ward.clock.now()
        device = now - timedelta(minutes=24)  # a usual error of a device's clock
        cuff = device - timedelta(minutes=9)
        ward.say(late=24 * 60, numbers=(
            number("spo2", "97", "%", device_at=device),
            *(number(n, v, "mmHg", device_at=cuff, method="oscillometric") for n, v in (("sap", "92"), ("map", "61"), ("dap", "45"))),
        ))  # fmt: skip
        pressure = ward.state(case)["pressure"]
        assert pressure["text"] == "92/45 (61)"
        assert pressure["at"] == (now - timedelta(minutes=9)).isoformat().replace("+00:00", "Z")
    assert "24 min behind" in ward.state(case)["skew_text"], "D8: which clock is used is said"


def test_d7_a_monitor_that_two_cases_have_is_neither_s(ward: Ward) -> None:
    """Two pages that pair it in one instant: the rule cannot see the other, the hub does."""
    one, two = ward.patient(), ward.patient("Bijou", "H-7")
    ward.pair(one)
    ward.say(numbers=(number("spo2", "97", "%"),))
    now, seq = ward.clock.now(), ward.store.case(two)[1]
    ward.store.append(two, [ev.MonitorPaired(id="00000000-0000-4000-8000-000000000001", case=two, happened_at=now, recorded_at=now,
                                            by="tec", monitor="m1", seen="alone in the room")], seq)  # fmt: skip
    wait_for(lambda: ward.hub._bound["m1"].held)
    assert ward.say(waves=(co2(0, 20),)).how == "held back"
    assert ward.kept(one) == ward.kept(two) == []
    assert len(ward.kept("")) == 20, "kept, as nobody's"
    ward.tell(two, ev.MonitorUnpaired, monitor="m1", reason="mistake")
    wait_for(lambda: ward.hub._bound["m1"].meta.case == one)
    assert ward.say().how == "held back", "until a person looks and pairs it again"
    ward.clock.forward(timedelta(seconds=1))
    ward.pair(one)
    assert ward.say(waves=(co2(20, 20),)).how == "kept"


def test_12_a_monitor_that_names_another_patient_is_held_back(ward: Ward) -> None:
    """D7: nothing more is shown or kept as this patient's; the staff is asked; a person pairs again."""
    case = ward.patient()
    ward.pair(case)
    ward.say(patient_ids=("H-6",), numbers=(number("spo2", "97", "%"),), waves=(co2(0, 20),))
    assert ward.shown(case) == {"spo2": "97"}
    taken = ward.say(
        patient_ids=("H-7",), patient_name="Bijou", numbers=(number("spo2", "82", "%"),), waves=(co2(20, 20),)
    )
    assert (taken.how, taken.ok) == ("held back", True)
    state = ward.state(case)
    assert state["link"] == "held back"
    assert "H-7 Bijou" in state["held_back"] and "Rex H-6" in state["held_back"]
    assert state["numbers"] == [] and state["waves"] == [] and state["pressure"] is None
    assert [name for name, _ in ward.heard(case)] == ["live"]
    assert len(ward.kept(case)) == 20 and len(ward.kept("")) == 20
    offered = [(c["monitor"], c["patient"], c["why_not"]) for c in state["candidates"]]
    assert offered == [("m1", "H-7 Bijou", "")], "it can be paired with this patient again, by what it says now"
    assert ward.say(patient_ids=("H-6",)).how == "held back", "naming the right one again does not undo it"
    ward.clock.forward(timedelta(seconds=1))
    ward.pair(case, patient="H-7 Bijou")
    assert ward.say(patient_ids=("H-7",), patient_name="Bijou", numbers=(number("spo2", "96", "%"),)).how == "kept"
    assert ward.shown(case) == {"spo2": "96"}


def test_test_data_are_refused_in_a_live_case(ward: Ward) -> None:
    """D18: refused, and taken, marked, where nothing is real (conformance 10)."""
    live, practice = ward.patient(), ward.patient("Doll", "P-1", practice=True)
    ward.pair(live)
    ward.pair(practice, "m2")
    taken = ward.say(test=True, waves=(co2(0, 20),), numbers=(number("spo2", "97", "%"),))
    assert (taken.how, taken.ok) == ("test data", False) and "practice" in taken.reason
    assert ward.archive.cases() == () and ward.shown(live) == {}
    assert "practice" in ward.state(live)["link_text"]
    assert ward.say("m2", test=True, numbers=(number("spo2", "97", "%"),)).how == "kept"
    assert ward.state(practice)["practice"] is True


def test_what_is_taken_off_takes_its_numbers_along(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    ward.pair(case, "m2", name="Oximeter")
    ward.say(numbers=(number("etco2", "41", "mmHg"),), waves=(co2(0, 20),))
    ward.say("m2", numbers=(number("spo2", "97", "%"),))
    assert ward.shown(case) == {"etco2": "41", "spo2": "97"}
    ward.clock.forward(timedelta(seconds=1))
    ward.tell(case, ev.MonitorUnpaired, monitor="m1", reason="moved")
    wait_for(lambda: not ward.bound("m1"))
    state = ward.state(case)
    assert [n["reading"] for n in state["numbers"]] == ["spo2"] and state["waves"] == []
    assert ward.say(waves=(co2(20, 20),)).how == "unpaired"
    assert len(ward.kept(case)) == 20


def test_the_silent_one_of_two_is_named(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)
    ward.pair(case, "m2", name="Oximeter")
    ward.say()
    ward.say("m2")
    ward.clock.forward(timedelta(seconds=31))
    ward.say()
    state = ward.state(case)
    assert state["link"] == "lost" and state["link_text"].startswith("Oximeter is silent")


def test_a_dial_is_no_measurement_and_the_unknown_is_shown_to_nobody_as_a_number(ward: Ward) -> None:
    """D16, D17: held, with what was sent (conformance 5, 6, 9)."""
    case = ward.patient()
    ward.pair(case)
    ward.say(numbers=(
        number("agent_et", "2.0", "%", setting=True, ref="MDC_CONC_AWAY_ISOFL_ET_SETTING"),
        number("", None, "", ref="MDC_PRESS_BLD_NONINV_MEAN", code=150021, raw="61", why="number and name disagree"),
    ))  # fmt: skip
    state = ward.state(case)
    assert state["numbers"] == [] and len(state["dials"]) == 1
    assert state["unknown"] == ["MDC_PRESS_BLD_NONINV_MEAN (150021), 61: number and name disagree"]


def test_two_pressure_channels_are_two_series(ward: Ward) -> None:
    """Conformance 8: neither takes the other's place."""
    case = ward.patient()
    ward.pair(case)
    ward.say(
        numbers=(
            number("temperature", "37.2", "Cel", site="oesophagus"),
            number("temperature", "35.1", "Cel", site="rectum"),
        )
    )
    assert sorted(n["text"] for n in ward.state(case)["numbers"]) == ["35.1", "37.2"]


# Handling of the flags as table 1.7 of the exchange notes has it (HL7 v2.6 OBX-8 and OBX-11 as IHE uses them).
@pytest.mark.parametrize(
    ("standing", "state", "quality"),
    [("measured", "good", "good"), ("validated", "good", "good"), ("corrected", "good", "good"),
     ("questionable", "questionable", "questionable"), ("early", "questionable", "questionable"),
     ("calibrating", "questionable", "questionable"), ("invalid", "gap", "invalid"), ("unavailable", "gap", ""),
     ("measuring", "gap", ""), ("no information", "gap", ""), ("switched off", "gap", ""), ("above scale", "gap", ""),
     ("below scale", "gap", ""), ("deleted", "gap", "")],
)  # fmt: skip
def test_10_flags(standing: Standing, state: str, quality: str) -> None:
    found = state_of(number("spo2", "97", "%", standing=standing))
    assert found[:2] == (state, quality)
    assert bool(found[2]) == (state != "good"), "a hollow value and a gap say why"


class Full:
    """An archive whose disk is full."""

    def append(self, *_: object) -> Future[bool]:
        failed: Future[bool] = Future()
        failed.set_exception(OSError("no space left on device"))
        return failed


def test_what_cannot_be_kept_is_not_acknowledged_and_is_said(ward: Ward) -> None:
    """D9: nothing acknowledged is lost. The screen goes on and says so."""
    case = ward.patient()
    ward.pair(case)
    whole, ward.hub._archive = ward.hub._archive, Full()
    with pytest.raises(OSError, match="no space"):
        ward.say(waves=(co2(0, 20),), message_id="T1")
    assert "no space left" in ward.state(case)["unknown"][0]
    ward.hub._archive = whole
    assert ward.say(waves=(co2(0, 20),), message_id="T1").how == "kept", "sent again, it is taken"
    assert len(ward.kept(case)) == 20 and ward.state(case)["unknown"] == []


def test_a_page_that_does_not_listen_is_let_go(ward: Ward) -> None:
    case = ward.patient()
    ward.pair(case)

    async def asleep() -> bytes | None:
        ear: asyncio.Queue[bytes | None] = asyncio.Queue(8)
        ward.hub.listen(case, ear)
        await ear.get()
        await asyncio.to_thread(ward.breathe, 0, 400)
        while (said := await ear.get()) is not None:
            pass
        return said

    assert looped(asleep()) is None
    assert len(ward.kept(case)) == 400, "and holds nothing up"


def test_the_breaths_since_the_tube_went_in_are_offered(ward: Ward) -> None:
    """A1: offered, and written by nobody."""
    case = ward.patient()
    ward.pair(case)
    flat = {"samples": (0,) * 20}
    for at in range(0, 400, 20):
        ward.clock.forward(timedelta(seconds=0.2))
        ward.say(waves=(co2(at, 20, **flat),))
    ward.tell(case, ev.AttemptBegan, attempt="a", tube_id_mm=7)
    ward.tell(case, ev.AttemptEnded, attempt="a", outcome="in")
    wait_for(lambda: ward.state(case)["airway"])
    assert ward.state(case)["airway"]["side"] == "counting"
    ward.breathe(400, 3200)
    offer = ward.state(case)["airway"]
    assert (offer["side"], offer["needed"]) == ("proof", 6)
    assert offer["breaths"] >= 6
    assert ward.store.case(case)[0].last(ev.ProofNoted) is None


def test_a_narrow_way_out_is_told(ward: Ward) -> None:
    """A5: gas that leaves slowly (a way out six times as slow) is told on the panel with kink, plug and bite, and ranks with what harms."""
    case = ward.patient()
    ward.pair(case)

    def slow(i: int) -> int:
        x = (i / 100) % 4.0
        top = 400 * (1 - math.exp(-2.4 / 0.9))
        return round(400 * (1 - math.exp(-x / 0.9))) if x < 2.4 else round(top * math.exp(-(x - 2.4) / 0.06))

    for at in range(0, 6000, 100):
        ward.clock.forward(timedelta(seconds=1))
        ward.say(waves=(co2(at, 100, samples=tuple(slow(i) for i in range(at, at + 100))),))
    found = {f["name"]: f for f in ward.state(case)["findings"]}
    assert "kinked" in found["obstruction"]["causes"][0] and found["obstruction"]["priority"] is not None
    assert found["obstruction"]["until"] is None and found["obstruction"]["checks"]
