"""Which monitor is on which patient (D7): a person says so, one patient at a time; room and name say nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from small_house import Telling, d
from spiracle.case import events as ev
from spiracle.case.pairing import OtherCase, other_case, pairings
from spiracle.monitors.heard import Heard
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed, OutOfRange, Unknown
from spiracle.sheets.live_sheet import contradiction
from spiracle.sheets.told import told

SEEN = "pulse felt with it"
BIJOU = OtherCase("c2", "Bijou H-7 in Theatre 2", "H-7", frozenset({"m2"}))


def paired(t: Telling, monitor: str = "m1", **more: object) -> str:
    return t.tell(ev.MonitorPaired, monitor=monitor, seen=SEEN, **more)


def on(t: Telling) -> list[str]:
    return [p.monitor for p in pairings(t.case)]


def beside(t: Telling, *others: OtherCase) -> Telling:
    t.facts = replace(t.facts, other_cases=others)
    return t


def test_a_monitor_is_on_from_pairing_to_unpairing() -> None:
    t = Telling()
    assert on(t) == []
    paired(t)
    t.at(1)
    paired(t, "m3")
    assert on(t) == ["m1", "m3"], "a case may have a capnograph and an oximeter"
    t.at(2).tell(ev.MonitorUnpaired, monitor="m1", reason="moved")
    assert on(t) == ["m3"]
    t.refused(Unknown, "monitor", ev.MonitorUnpaired, monitor="m1", reason="moved")


def test_one_monitor_is_on_one_patient() -> None:
    """D7: swapped or shared, it is refused by name until the other case lets it go."""
    t = beside(Telling(), BIJOU)
    found = t.refused(
        Contradiction, "monitor", ev.MonitorPaired, monitor="m2", name="Monitor 2", seen=SEEN, confirmed=True
    )
    assert "Bijou" in found.says and "Monitor 2" in found.says
    beside(t, replace(BIJOU, monitors=frozenset()))
    paired(t, "m2")


def test_a_monitor_on_another_patient_lends_this_one_no_value() -> None:
    """D7: also where nobody has paired one with this patient; what a person reads off its own screen goes on being taken."""
    t = beside(Telling(), BIJOU)
    t.refused(
        Contradiction,
        "monitor",
        ev.ReadingTaken,
        reading="spo2",
        value=d("97"),
        unit="%",
        source="device",
        monitor="m2",
    )
    t.tell(ev.ReadingTaken, reading="spo2", value=d("97"), unit="%", source="device", monitor="m9")


def test_a_monitor_that_names_another_patient_is_asked_about() -> None:
    """D7: one still admitted under the last patient's number."""
    t = beside(Telling(), BIJOU)
    found = t.refused(AskAgain, "monitor", ev.MonitorPaired, monitor="m1", patient="H-7 BIJOU", seen=SEEN)
    assert "Bijou" in found.says
    paired(t, patient="H-7 BIJOU", confirmed=True)


def test_unpairing_is_not_struck_away() -> None:
    """Its numbers may have been another patient's meanwhile: only a person pairs it again."""
    t = Telling()
    paired(t)
    off = t.at(1).tell(ev.MonitorUnpaired, monitor="m1", reason="mistake")
    t.at(2).tell(ev.EntryStruck, target=off, reason="slip")
    assert on(t) == []
    t.at(3)
    paired(t)
    assert on(t) == ["m1"]


def test_a_struck_pairing_is_none() -> None:
    t = Telling()
    wrong = paired(t)
    strike = t.at(1).tell(ev.EntryStruck, target=wrong, reason="wrong animal")
    assert on(t) == []
    beside(t, replace(BIJOU, monitors=frozenset({"m1"})))
    t.at(2).refused(Contradiction, "target", ev.EntryStruck, target=strike, reason="was right after all")


def test_a_case_that_is_over_has_no_monitor() -> None:
    """D7, D12: the next animal on the table must not fill the record of the last one."""
    t = Telling()
    paired(t)
    t.at(90).tell(ev.TimeMarked, mark="recovery end")
    assert on(t) == []
    t.refused(NotAllowed, "monitor", ev.MonitorPaired, monitor="m1", seen=SEEN)


def test_what_another_case_is_called() -> None:
    t = Telling()
    paired(t, "m9")
    other = other_case("0123456789ab", t.case)
    assert (other.monitors, other.words) == (frozenset({"m9"}), "case 01234567")


def test_a_pairing_needs_a_monitor() -> None:
    Telling().refused(Missing, "monitor", ev.MonitorPaired, monitor=" ", seen=SEEN)


@pytest.mark.parametrize(
    ("said", "at_pairing", "against"),
    [
        ({}, "", ""),  # most monitors send an empty PID
        ({"patient_ids": ("H-6",)}, "", ""),  # the case's own number
        ({"patient_ids": ("X1",), "patient_name": "A"}, "X1 A", ""),  # as a person read it when they paired
        ({"patient_ids": ("X1",), "patient_name": "B"}, "X1 A", ""),  # never by name where there is an id
        ({"patient_ids": ("H-7",), "patient_name": "Rex"}, "", "H-7 Rex"),  # our animal's name, another's number
        ({"patient_ids": ("X2",)}, "X1", "X2"),
        ({"patient_name": "rex"}, "", ""),
        ({"patient_name": "Bijou"}, "", "Bijou"),
    ],
)
def test_what_contradicts_a_pairing(said: dict[str, object], at_pairing: str, against: str) -> None:
    """Conformance 12 of the exchange notes: the patient of another case. Place plays no part."""
    heard = Heard(monitor="m", place="any room", **said)  # type: ignore[arg-type]
    assert contradiction(heard, at_pairing, "H-6", "Rex") == against


# ---- what is charted from it


def charted(t: Telling, **more: object) -> str:
    return t.tell(ev.ReadingTaken, **{"reading": "spo2", "value": d("97"), "unit": "%", "source": "device", "monitor": "m1",
                                      "raw": "97 %", "quality": "good", "row_at": t.now, **more})  # fmt: skip


def test_a_value_of_a_device_keeps_device_raw_and_quality() -> None:
    """F15: and the chart draws a doubtful one hollow, and nothing acts on it (D4, D17)."""
    t = Telling()
    charted(t)
    t.at(5)
    charted(t, value=d("71"), raw="71 %", quality="questionable")
    seen = told(t.case, t.facts, t.now).seen["spo2"]
    assert [(s.monitor, s.device, s.good, s.current) for s in seen] == [
        ("m1", True, True, True),
        ("m1", True, False, False),
    ]
    current = told(t.case, t.facts, t.now).current("spo2")
    assert current is not None and current.value == 97


def test_an_impossible_value_of_a_device_is_refused_and_an_invalid_one_kept_as_such() -> None:
    t = Telling()
    for quality in ("good", "invalid"):
        with pytest.raises(OutOfRange, match="127"):
            charted(t, value=d("127"), raw="127 %", quality=quality)
    charted(t, value=d("61"), raw="61 %", quality="invalid")
    assert told(t.case, t.facts, t.now).current("spo2") is None


def test_the_way_it_was_seen_is_one_of_four() -> None:
    import msgspec

    with pytest.raises(msgspec.ValidationError):
        ev.decode(b'{"event":"MonitorPaired","id":"x","case":"y","happened_at":"2026-01-01T00:00:00Z",'
                  b'"recorded_at":"2026-01-01T00:00:00Z","by":"tec","monitor":"m","seen":"same room"}')  # fmt: skip
