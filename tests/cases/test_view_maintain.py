"""Asleep: advice, row, chart, fluids, what is due. Expected by hand from the log of teasel.py."""

from __future__ import annotations

import pytest

from casebook import Book, at, d
from spiracle.case import events as ev
from teasel import cell, seen_at, teasel

# ---- maintenance


def test_a_pressure_under_the_ordered_limit_asks_for_the_ordered_act() -> None:
    """C1: the finding, the order, the act as a key."""
    view = seen_at(99)
    (front,) = view.advice
    assert (front.id, front.priority, front.since) == ("limit map", "medium", at(97))
    assert front.title == "Mean pressure 62, under 65 mmHg."
    assert front.body == "Order by ilse, 08:22: dial to 1 %, then 20 mL over 10 min."
    assert [(a.label, a.event) for a in front.acts] == [
        ("Dial set to 1 %", "VaporiserSet"), ("20 mL started", "FluidGiven"), ("Call ilse", "HelpCalled")]  # fmt: skip
    assert front.acts[0].fields == {"agent": "isoflurane", "percent": 1.0}
    mean = cell(view, "map")
    assert mean.value is not None and (mean.value.text, mean.extra, mean.priority) == ("62", "92/47", "medium")
    assert (mean.value.mark, mean.foot) == ("measured", "oscillometric · cuff 2.5 cm")


@pytest.mark.parametrize(
    ("action", "label", "volume", "minutes"),
    [
        ("then 5 mL/kg crystalloid over 15 min; call", "20 mL started", 20.0, 15),  # 5 mL/kg for 4 kg
        ("2 mL/kg in 10 min", "8 mL started", 8.0, 10),
        ("1.2 mL/kg", "4.8 mL started", 4.8, None),
        ("give 40 mL over 10 min", "40 mL started", 40.0, 10),
        ("5 mL/kg/h", None, None, None),  # a rate is no bolus
        ("5 mL/kg or 20 mL", None, None, None),  # two volumes: nobody chooses for the hand
        ("vaporiser down a quarter", None, None, None),
    ],
)
def test_an_ordered_volume_becomes_a_key_and_per_kg_is_never_taken_for_the_whole(
    action: str, label: str | None, volume: float | None, minutes: int | None
) -> None:
    """U2: "5 mL/kg" is worked on the weight; it is never five millilitres."""
    book = teasel()
    book.tell(23, ev.LimitOrdered, reading="map", below=d("65"), action=action, ordered_by="ilse")
    acts = [a for a in seen_at(99, book).advice[0].acts if a.event == "FluidGiven"]
    assert [a.label for a in acts] == ([label] if label else [])
    if acts:
        assert (acts[0].fields["volume_ml"], acts[0].fields.get("minutes")) == (volume, minutes)


@pytest.mark.parametrize(("strength", "offered"), [("0.2 mg/mL", True), ("0.54 mg/mL", False)])
def test_an_ordered_drug_becomes_a_key_only_from_the_strength_it_was_planned_for(strength: str, offered: bool) -> None:
    """U9: glycopyrrolate 0.01 mg/kg for 4 kg is 0.04 mg: 0.2 mL of 0.2 mg/mL. Another vial in the syringe offers no key."""
    book = teasel()
    book.tell(23, ev.DrugOrdered, order="o-3", drug="glycopyrrolate", purpose="bradycardia", route="IV", low=d("0.01"),
              high=d("0.01"), unit="mg/kg", concentration="0.2 mg/mL", ordered_by="ilse")  # fmt: skip
    book.tell(
        24,
        ev.LimitOrdered,
        reading="heart_rate",
        below=d("160"),
        action="glycopyrrolate",
        order="o-3",
        ordered_by="ilse",
    )
    book.tell(33, ev.SyringeDrawn, syringe="s-3", order="o-3", drug="glycopyrrolate", vial_concentration=strength,
              concentration=strength, volume_ml=d("0.2"), drug_volume_ml=d("0.2"), barrel="1 mL")  # fmt: skip
    rate_line = next(a for a in seen_at(96, book).advice if a.id == "limit heart_rate")
    acts = [a for a in rate_line.acts if a.event == "DrugGiven"]
    assert [a.label for a in acts] == (["Given Glycopyrronium bromide 0.2 mL"] if offered else [])
    if offered:
        fields = acts[0].fields
        assert (fields["amount"], fields["unit"], fields["volume_ml"], fields["syringe"]) == (0.04, "mg", 0.2, "s-3")


def test_the_limit_says_for_how_long() -> None:
    """C1: since the last value that was not beyond it."""
    book = teasel()
    book.tell(98, ev.PressureTaken, sap=d("90"), map=d("60"), dap=d("45"), method="oscillometric", source="device")
    book.tell(102, ev.PressureTaken, sap=d("90"), map=d("61"), dap=d("45"), method="oscillometric", source="device")
    front = seen_at(103, book).advice[0]
    assert (front.title, front.since) == ("Mean pressure 61, under 65 mmHg for 5 min.", at(97))


def test_a_value_over_ten_minutes_old_is_not_advised_on() -> None:
    """D6: what is old is not now."""
    book = teasel()
    book.entries = [e for e in book.entries if e.event.happened_at <= at(99)]
    assert [a.id for a in seen_at(106, book).advice] == ["limit map"]
    assert [a.id for a in seen_at(108, book).advice] == []


@pytest.mark.parametrize("doubt", ["struck", "artefact", "questionable", "invalid"])
def test_nothing_is_advised_from_a_doubtful_value(doubt: str) -> None:
    """C2: struck, artefact, questionable and invalid values never stand for now and never bring advice."""
    book = teasel()
    low = next(e for e in book.entries if isinstance(e.event, ev.PressureTaken) and e.event.happened_at == at(97))
    if doubt == "struck":
        book.tell(98, ev.EntryStruck, target=low.event.id, reason="wrong patient")
    elif doubt == "artefact":
        book.tell(98, ev.ArtefactMarked, target=low.event.id)
    else:
        book.entries.remove(low)
        book.tell(97, ev.PressureTaken, sap=d("92"), map=d("62"), dap=d("47"), method="oscillometric", source="device",
                  quality=doubt)  # fmt: skip
    view = seen_at(99, book)
    assert view.advice == ()
    mean = cell(view, "map").value
    assert mean is not None and (mean.text, mean.at) == ("66", at(75))


def test_the_row_that_is_open_and_what_stands_in_it() -> None:
    view = seen_at(97.5)
    assert view.maintain.row_at == at(100)
    half = seen_at(95.5)
    assert half.maintain.row_at == at(100) and view.maintain.row_filled == ()
    before = seen_at(94)
    assert before.maintain.row_at == at(90)
    lines = {x.id: x for x in view.maintain.row_lines}
    assert lines["eye"].choices == ("down", "middle", "up") and lines["eye"].last == "down"
    assert "spo2" not in lines and "pressure" not in lines
    assert lines["heart_rate"].last == "150" and lines["heart_rate"].places == 0


def test_a_row_that_a_monitor_alone_filled_still_wants_a_person() -> None:
    book = teasel()
    book.entries = [e for e in book.entries if e.event.happened_at <= at(94)]
    book.tell(
        95.5, ev.ReadingTaken, reading="spo2", value=d("97"), unit="%", source="device", monitor="M1", row_at=at(95)
    )
    assert seen_at(96, book).maintain.row_at == at(95)
    book.tell(96, ev.SignSeen, sign="eye", finding="down", row_at=at(95))
    assert seen_at(96.5, book).maintain.row_at == at(100)


def test_a_row_in_hand_shows_what_was_written() -> None:
    book = teasel()
    book.entries = [e for e in book.entries if e.event.happened_at <= at(94)]
    sign = book.tell(94.5, ev.SignSeen, sign="jaw", finding="some", row_at=at(95))
    view = seen_at(95.2, book)
    assert view.maintain.row_at == at(100)
    early = seen_at(94.8, book)
    assert early.maintain.row_at == at(90) or early.maintain.row_filled == (("jaw", "some", sign),)


def test_the_chart_keeps_struck_artefact_and_late_entries() -> None:
    """D11, D12: nothing is smoothed away."""
    chart = seen_at(103).maintain.chart
    assert [(p.text, p.artefact) for p in chart.rate] == [
        ("168", False), ("160", False), ("158", False), ("156", False), ("244", True), ("155", False), ("150", False)]  # fmt: skip
    assert [p.text for p in chart.pressures] == ["104/55 (71)", "98/50 (66)", "92/47 (62)"]
    assert [(m.text, m.struck) for m in chart.given] == [
        ("Methadone 0.8 mg", False), ("Alfaxalone 2 mg", False), ("2 mg", False), ("2 mg", False),
        ("Bupivacaine 60 mg", True), ("Bupivacaine 4 mg", False)]  # fmt: skip
    assert (chart.low, chart.high, chart.every_min) == (40.0, 200.0, 5)
    turned = next(x for x in seen_at(103).record.log if x.kind == "Positioned")
    assert turned.late_min == 14


def test_the_chart_runs_from_induction_to_ten_minutes_ahead_and_ends_with_the_last_value() -> None:
    asleep, awake = seen_at(99).maintain.chart, seen_at(210).maintain.chart
    assert (asleep.from_at, asleep.to_at) == (at(65), at(110))
    assert (awake.from_at, awake.to_at) == (at(65), at(155))


def test_a_gap_stays_a_gap_and_says_why() -> None:
    """D12: 22 minutes without a pressure is a gap; ten minutes without a rate is not."""
    (gap,) = seen_at(99).maintain.chart.gaps
    assert (gap.from_at, gap.to_at, gap.text) == (at(75), at(97), "no pressure")
    (explained,) = seen_at(210).maintain.chart.gaps
    assert explained.text == "no pressure: cuff slipped"


def test_the_dial_and_the_fluid_as_bands() -> None:
    bands = {b.title: b for b in seen_at(131).maintain.chart.bands}
    dial = bands["Iso dial"]
    assert [(p.text, p.from_at, p.to_at) for p in dial.parts] == [("2 %", at(70), at(100)), ("1 %", at(100), at(130))]
    assert not dial.running
    fluid = next(b for b in bands.values() if b.kind == "fluid")
    assert [(p.text, p.from_at, p.to_at) for p in fluid.parts] == [("12 mL/h", at(71), at(130))]
    assert (fluid.total_text, fluid.running) == ("11.8 mL in", False)


def test_what_ran_in_counts_every_push() -> None:
    """C7: 12 mL/h for 28 min is 5.6 mL; pushes 0.08 + 0.6 + 0.8 = 1.48 mL; the struck 12 mL counts nothing."""
    maintain = seen_at(99).maintain
    (running,) = maintain.running
    assert running.total is not None and (running.total.text, running.rate.text) == ("5.6", "12")
    assert running.ends_at == at(1321)
    assert maintain.fluids_in is not None and maintain.fluids_in.text == "7.1"


def test_glucose_is_followed_in_the_very_young_and_small() -> None:
    """C13: half an hour after induction, and half an hour after each glucose."""
    book = Book("c-mote", by="rowan")
    book.tell(0, ev.CaseOpened, species="cat", name="Mote")
    book.tell(1, ev.PatientDescribed, age="9 wk")
    book.tell(2, ev.Weighed, weight_kg=d("0.9"), method="scale")
    book.tell(60, ev.TimeMarked, mark="induction")
    assert {x.id: x.at for x in seen_at(65, book).due}["glucose"] == at(90)
    book.tell(85, ev.ReadingTaken, reading="glucose", value=d("5.4"), unit="mmol/L")
    assert {x.id: x.at for x in seen_at(86, book).due}["glucose"] == at(115)
    assert "glucose" not in {x.id for x in seen_at(99).due}


def test_a_temperature_is_asked_for_ten_minutes_after_induction() -> None:
    """C5: until one is taken asleep."""
    assert {x.id: x.at for x in seen_at(73).due}["temperature probe"] == at(75)
    assert "temperature probe" not in {x.id for x in seen_at(76).due}


def test_what_falls_due_in_mid_case() -> None:
    found = [(x.id, x.at) for x in seen_at(99).due]
    assert found[:2] == [("cuff", at(80)), ("row", at(100))]
    assert ("bag i-1", at(1321)) in found
