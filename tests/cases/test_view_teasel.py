"""One whole case read back at its turning points. Every expectation was worked out by hand from the log of teasel.py."""

from __future__ import annotations

from datetime import timedelta

import pytest

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import CaseView, Vital
from teasel import push, teasel, until


def seen_at(minutes: float, book: Book | None = None, *, seconds: float = 0) -> CaseView:
    told = book or teasel()
    entries = until(told, minutes)
    return case_view(told.fold(entries), len(entries), load_facts(), at(minutes) + timedelta(seconds=seconds))


def cell(view: CaseView, reading: str) -> Vital:
    return next(v for v in view.maintain.ribbon if v.reading == reading)


def state(view: CaseView) -> dict[str, str]:
    return {p.phase: p.state for p in view.phases}


# ---- how far the case has come


@pytest.mark.parametrize(
    ("minutes", "phase"),
    [
        (1, "assess"),
        (19, "plan"),
        (31, "prepare"),
        (65.2, "induce"),
        (69.5, "maintain"),
        (131, "recover"),
        (201, "record"),
    ],
)
def test_the_open_phase_follows_the_work(minutes: float, phase: str) -> None:
    states = state(seen_at(minutes))
    assert [p for p, s in states.items() if s == "open"] == [phase]
    order = list(states)
    assert [states[p] for p in order[: order.index(phase)]] == ["done"] * order.index(phase)
    assert {states[p] for p in order[order.index(phase) + 1 :]} <= {"ahead"}


def test_a_phase_counts_what_it_lacks_and_only_once_begun() -> None:
    first = {p.phase: p for p in seen_at(3.5).phases}
    assert first["assess"].gaps == len(first["assess"].gap_words)
    assert "ASA" in first["assess"].gap_words and "weight" not in first["assess"].gap_words
    assert first["plan"].gaps == 0


def test_the_signed_record_closes_every_phase() -> None:
    assert set(state(seen_at(210)).values()) == {"done"}


# ---- the collar


def test_the_collar_says_who_how_heavy_and_since_when() -> None:
    collar = seen_at(99).collar
    assert (collar.name, collar.species, collar.breed, collar.sex, collar.age) == (
        "Teasel", "cat", "domestic shorthair", "female neutered", "9 y")  # fmt: skip
    assert collar.weight is not None and (collar.weight.text, collar.weight.unit) == ("4", "kg")
    assert (collar.weight_basis, collar.weight_at, collar.estimated) == ("scale 1", at(3), False)
    assert (collar.asa, collar.allergies.state, collar.allergies.asked_at) == ("II", "none known", at(8))
    assert (collar.induced_at, collar.ended_at, collar.draft) == (at(65), None, False)
    assert seen_at(210).collar.ended_at == at(135)


def test_allergies_not_asked_are_not_none_known() -> None:
    assert seen_at(7.5).collar.allergies.state == "not asked"


def test_another_weight_makes_the_plan_a_draft_and_the_syringes_void() -> None:
    """U6, U28: a plan and a syringe hold for the weight they were made for."""
    book = teasel()
    book.tell(40, ev.Weighed, weight_kg=d("4.5"), method="scale", scale="scale 1")
    view = seen_at(45, book)
    assert view.collar.draft
    assert "weight is 4.5 kg, the plan was signed for 4 kg" in view.collar.draft_reasons
    assert {s.void for s in view.prepare.drawn} == {"drawn for 4 kg, now 4.5 kg"}
    assert {s.void for s in seen_at(45).prepare.drawn} == {""}


def test_an_estimated_weight_marks_every_figure_and_asks_for_the_scale_first() -> None:
    """U7: ESTIMATED is inherited by what is made from it."""
    book = Book("c-found", by="rowan")
    book.tell(0, ev.CaseOpened, species="dog", kind="emergency")
    book.tell(0.1, ev.Weighed, weight_kg=d("12"), method="estimated")
    view = seen_at(1, book)
    assert view.collar.estimated and view.collar.weight is not None and view.collar.weight.estimated
    assert view.emergency is not None and view.emergency.estimated
    assert view.due[0].id in {"weigh", "fasting"} and "Weigh now" in {x.title for x in view.due}
    assert {"Food time", "Temperature", "Allergies and medicines", "ASA with E", "Who ordered"} <= {
        x.title for x in view.due
    }


# ---- preparation


def test_lists_show_what_was_answered_and_which_line_is_next() -> None:
    machine = next(x for x in seen_at(60).prepare.lists if x.list == "machine")
    assert [line.state for line in machine.lines[:4]] == ["done", "fault", "now", "ahead"]
    assert (machine.lines[1].note, machine.lines[0].at, machine.done) == ("hose frayed", at(52), 1)
    said = next(x.text for x in seen_at(60).record.log if x.kind == "CheckLineDone" and x.at == at(53))
    assert said == f"Machine list: {machine.lines[1].says}, FAULT, hose frayed"
    assert machine.of == len(machine.lines) and machine.lines[-1].says == "Relief valve OPEN"


def test_drawn_syringes_show_what_is_left() -> None:
    drawn = {s.syringe: s for s in seen_at(60).prepare.drawn}
    assert (drawn["s-1"].drawn.text, drawn["s-1"].left.text, drawn["s-1"].left_ml) == ("0.1", "0.02", 0.02)
    assert (drawn["s-2"].left.text, drawn["s-2"].lot, drawn["s-2"].mark_ml) == ("0.8", "A-77", 0.01)
    assert drawn["s-1"].syringe_class == "opioid" and drawn["s-2"].syringe_class == "induction"
    assert drawn["s-1"].last_given == "0.8 mg, 08:35, rowan"


def test_the_ladder_has_every_mark_of_the_syringe() -> None:
    """1 mL in marks of 0.01 mL: a hundred rungs; 0.2 mL of 10 mg/mL is 2 mg, which is 0.5 mg/kg in four kilograms."""
    ladder = next(s for s in seen_at(60).prepare.drawn if s.syringe == "s-2").ladder
    assert ladder is not None and len(ladder.rungs) == 100
    rung = next(r for r in ladder.rungs if r.text == "0.2")
    assert (rung.amount_text, rung.per_kg_text, rung.over_order) == ("2 mg", "0.5 mg/kg", False)
    assert next(r for r in ladder.rungs if r.text == "0.81").over_order


def test_what_is_drawn_or_given_is_not_to_be_drawn_again() -> None:
    assert [x.order for x in seen_at(29).prepare.to_draw] == ["o-1", "o-2"]
    assert seen_at(60).prepare.to_draw == ()


def test_premedication_and_oxygen_before_induction() -> None:
    prepare = seen_at(62).prepare
    assert [(g.name, g.amount_text, g.per_kg_text, g.route) for g in prepare.premedication] == [
        ("Methadone", "0.8 mg", "0.2 mg/kg", "IM")]  # fmt: skip
    assert (prepare.premedicated_at, prepare.preoxygenation_from, prepare.preoxygenation_ended) == (
        at(35),
        at(60),
        False,
    )
    assert seen_at(64.5).prepare.preoxygenation_ended


# ---- induction


def test_running_sum_to_effect_after_three_pushes() -> None:
    """3 pushes of 2 mg are 6 mg in 0.6 mL: 1.5 mg/kg of the 2 mg/kg ordered; a quarter of 0.8 mL is 0.2 mL."""
    (agent,) = seen_at(67.2).induce.agents
    assert (agent.total.text, agent.total.unit) == ("1.5", "mg/kg")
    assert (agent.total_amount.text, agent.total_volume.text, agent.left.text) == ("6", "0.6", "0.2")
    assert (agent.pushes, agent.last_at, agent.blocks) == (3, at(67), (0.5, 0.5, 0.5))
    assert agent.push is not None and agent.half is not None
    assert (agent.push.volume_ml, agent.push.amount_text, agent.push.per_kg_text) == (0.2, "2 mg", "0.5 mg/kg")
    assert agent.push.then_text == "then 2 of 2 mg/kg"
    assert (agent.half.volume_ml, agent.half.amount_text) == (0.1, "1 mg")
    assert (agent.state, agent.bar.at, agent.bar.order_high) == ("ready", 1.5, 2.0)


def test_at_the_ordered_ceiling_there_is_no_key_but_a_call() -> None:
    book = teasel()
    push(book, 67.3)
    view = seen_at(67.4, book)
    (agent,) = view.induce.agents
    assert (agent.total.text, agent.state, agent.push, agent.half) == ("2", "order reached", None, None)
    assert agent.state_text == "order reached: 2 mg/kg"
    assert [(a.priority, a.title) for a in view.advice] == [("medium", "Alfaxalone: order reached: 2 mg/kg.")]
    assert "Call ilse." in view.advice[0].body


def test_the_last_push_never_goes_over_the_order() -> None:
    """With 0.7 mL given of 0.8, the next key holds 0.1 mL, not a quarter."""
    book = teasel()
    book.tell(67.3, ev.DrugGiven, drug="alfaxalone", amount=d("1"), unit="mg", volume_ml=d("0.1"), concentration="10 mg/mL",
              route="IV", purpose="induction", order="o-2", syringe="s-2")  # fmt: skip
    (agent,) = seen_at(67.4, book).induce.agents
    assert agent.push is not None and (agent.push.volume_ml, agent.push.then_text) == (0.1, "then 2 of 2 mg/kg")


def test_a_struck_push_leaves_the_sum() -> None:
    book = teasel()
    third = next(e.event for e in book.entries if isinstance(e.event, ev.DrugGiven) and e.event.happened_at == at(67))
    book.tell(67.1, ev.EntryStruck, target=third.id, reason="not given")
    (agent,) = seen_at(67.2, book).induce.agents
    assert (agent.total.text, agent.pushes, agent.left.text) == ("1", 2, "0.4")


def test_attempts_are_counted_with_their_outcome() -> None:
    attempts = seen_at(70).induce.attempts
    assert [(a.number, a.outcome, a.tube, a.operator, a.view) for a in attempts] == [
        (1, "out", "ID 4.5 mm", "rowan", "poor"), (2, "in", "ID 4.0 mm", "ilse", "good")]  # fmt: skip
    assert attempts[0].ended_at == at(66.5)


def test_no_co2_ten_seconds_after_the_tube_went_in_is_act_now() -> None:
    """A1: a tube in the oesophagus is named within ten seconds, and not before there was time for a breath."""
    assert [a.id for a in seen_at(68, seconds=9).advice] == []
    (front, *_) = seen_at(68, seconds=10).advice
    assert (front.priority, front.id, front.since) == ("high", "no co2", at(68))
    assert [(a.label, a.fields["whom"]) for a in front.acts] == [("Call ilse", "ilse")]


def test_co2_on_the_monitor_quietens_it() -> None:
    book = teasel()
    book.tell(68.1, ev.ReadingTaken, reading="etco2", value=d("38"), unit="mmHg", source="device", monitor="capnograph")
    assert "no co2" not in {a.id for a in seen_at(68.4, book).advice}


def test_an_artefact_of_co2_proves_nothing() -> None:
    """C2: a value judged an artefact is acted on by nothing, and quietens nothing."""
    book = teasel()
    value = book.tell(68.1, ev.ReadingTaken, reading="etco2", value=d("38"), unit="mmHg", source="device")
    book.tell(68.15, ev.ArtefactMarked, target=value)
    assert seen_at(68.4, book).advice[0].id == "no co2"


def test_the_airway_lacks_something_until_it_is_proven() -> None:
    before = seen_at(68.3)
    assert before.induce.breaths == 0 and before.induce.lacking
    after = seen_at(69.5)
    assert (after.induce.breaths, after.induce.lacking, after.induce.proven_at) == (6, (), at(69))
    assert seen_at(210).induce.proven_at == at(69)
    assert after.induce.placed_text == "tracheal tube ID 4.0 mm, cuffed, 14 cm at the teeth"


def test_the_proofs_of_an_earlier_tube_do_not_count_for_the_next() -> None:
    book = teasel()
    book.tell(91, ev.AttemptBegan, attempt="a-3", tube_id_mm=d("4"))
    book.tell(91.5, ev.AttemptEnded, attempt="a-3", outcome="in")
    trying, tried = seen_at(91.2, book), seen_at(92, book)
    assert trying.induce.proven_at is None and trying.induce.lacking == ("no tube in place",)
    assert tried.induce.proven_at is None and tried.induce.breaths == 0
    assert tried.advice[0].id == "no co2"


def test_a_tube_put_back_in_recovery_is_a_tube_again() -> None:
    book = teasel()
    book.tell(141, ev.TubePlaced, id_mm=d("4"), cuffed=True)
    view = seen_at(142, book)
    assert view.recover.extubated_at is None and view.collar.ended_at is None
    assert view.induce.proven_at is None and view.advice[0].id == "no co2"


def test_cuff_and_its_recheck() -> None:
    induce = seen_at(71).induce
    assert induce.cuff is not None and (induce.cuff.text, induce.cuff.unit) == ("20", "cmH₂O")
    assert induce.cuff_volume is not None and induce.cuff_volume.text == "1.5"
    assert induce.cuff_recheck == at(80)
    assert seen_at(103).induce.cuff_recheck == at(80)
    assert seen_at(127).induce.cuff_recheck is None


def test_a_turn_asks_for_the_cuff_again() -> None:
    """A7: the cuff is checked ten minutes after the first time and after each turn."""
    book = teasel()
    book.tell(127, ev.Positioned, position="left side", disconnected_first=True)
    assert seen_at(127.5, book).induce.cuff_recheck == at(127)


# ---- maintenance


def test_a_pressure_under_the_ordered_limit_asks_for_the_ordered_act() -> None:
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
    assert [a.label for a in acts] == (["Given Glycopyrrolate 0.2 mL"] if offered else [])
    if offered:
        fields = acts[0].fields
        assert (fields["amount"], fields["unit"], fields["volume_ml"], fields["syringe"]) == (0.04, "mg", 0.2, "s-3")


def test_the_limit_says_for_how_long() -> None:
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


def test_a_row_in_hand_shows_what_was_written() -> None:
    book = teasel()
    book.entries = [e for e in book.entries if e.event.happened_at <= at(94)]
    sign = book.tell(94.5, ev.SignSeen, sign="jaw", finding="some", row_at=at(95))
    view = seen_at(95.2, book)
    assert view.maintain.row_at == at(100)
    early = seen_at(94.8, book)
    assert early.maintain.row_at == at(90) or early.maintain.row_filled == (("jaw", "some", sign),)


def test_the_chart_keeps_struck_artefact_and_late_entries() -> None:
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
    """12 mL/h for 28 min is 5.6 mL; pushes 0.08 + 0.6 + 0.8 = 1.48 mL; the struck 12 mL counts nothing."""
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


# ---- recovery and record


@pytest.mark.parametrize(("minutes", "priority"), [(144, None), (146, "medium"), (148, "high")])
def test_a_look_overdue_by_two_minutes_is_act_now(minutes: float, priority: str | None) -> None:
    """C10: tube out 135, look 140, every 5 min: the next is due at 145."""
    view = seen_at(minutes)
    assert view.recover.next_look == at(145)
    assert [a.priority for a in view.advice if a.id == "look"] == ([priority] if priority else [])
    assert view.recover.overdue is (minutes > 145)


def test_recovery_keeps_its_looks_and_milestones() -> None:
    recover = seen_at(155).recover
    assert [x.text for x in recover.looks] == [
        "HR 164, breaths 24, SpO₂ 97 %, gums pink, T 36.6 °C, rousing", "HR 170, breaths 26, T 37.0 °C, sternal"]  # fmt: skip
    assert dict(recover.milestones)["sternal"] == at(150) and dict(recover.milestones)["tube out"] == at(135)
    assert (recover.watcher, recover.place, recover.next_analgesia) == ("rowan", "Recovery 1", at(275))


def test_the_card_before_the_tube_comes_out_knows_what_the_log_knows() -> None:
    card = {c.id: c for c in seen_at(134).recover.extubation}
    assert (card["agent-off"].met, card["packs-out"].met, card["packs-out"].detail) == (
        True,
        True,
        "none put in",
    )
    book = teasel()
    book.tell(73, ev.TimeMarked, mark="packs in", detail="2")
    book.tell(127, ev.TimeMarked, mark="packs out", detail="1")
    packs = next(c for c in seen_at(134, book).recover.extubation if c.id == "packs-out")
    assert (packs.met, packs.hard) == (False, True) and packs.detail == "in 2, out 1"


def test_pain_relief_and_the_call_two_days_later_fall_due() -> None:
    found = {x.id: x.at for x in seen_at(210).due}
    assert found == {"analgesia": at(275), "outcome": at(200) + timedelta(hours=48)}


def test_drawn_is_given_wasted_and_returned() -> None:
    """D22, D23: to the hundredth of a millilitre, exactly."""
    before = {b.syringe: b for b in seen_at(159).record.balances}
    assert (before["s-1"].drawn, before["s-1"].given, before["s-1"].left, before["s-1"].closed) == (
        "0.1",
        "0.08",
        "0.02",
        False,
    )
    assert "I3 s-1" in {g.element for g in seen_at(159).record.gaps}
    after = {b.syringe: b for b in seen_at(210).record.balances}
    assert (after["s-1"].wasted, after["s-1"].left, after["s-1"].closed) == ("0.02", "0", True)


def test_the_gaps_before_the_signature() -> None:
    """Breaths, rhythm, end-tidal CO₂ and pulse by finger were never written; the pressure's gap is explained."""
    gaps = {g.element: g for g in seen_at(210).record.gaps}
    assert set(gaps) == {"F2", "F5", "F6", "F11", "F4 09:15"}
    assert gaps["F4 09:15"].explained == "cuff slipped" and gaps["F4 09:15"].title == "no pressure 09:15 to 09:37"
    assert {p.phase: p.gaps for p in seen_at(210).phases}["maintain"] == 4


def test_a_struck_entry_stays_in_the_record_with_its_reason() -> None:
    """D11: nothing is edited or removed."""
    log = seen_at(210).record.log
    (struck,) = [x for x in log if x.struck]
    assert (struck.text, struck.struck_reason, struck.struck_by) == (
        "Bupivacaine 60 mg, 12 mL block, jaw",
        "wrong key",
        "rowan",
    )
    assert next(x.text for x in log if x.kind == "EntryStruck") == (
        "Struck: Bupivacaine 60 mg, 12 mL block, jaw (09:26); wrong key")  # fmt: skip
    assert len(log) == len(teasel().entries)


def test_sums_of_drugs_count_what_was_given() -> None:
    totals = {name: (amount, per) for name, amount, per in seen_at(210).record.drug_totals}
    assert totals == {
        "Methadone": ("0.8 mg", "0.2 mg/kg"),
        "Alfaxalone": ("6 mg", "1.5 mg/kg"),
        "Bupivacaine": ("4 mg", "1 mg/kg"),
    }


def test_signatures() -> None:
    record = seen_at(210).record
    assert [(s.role, s.by) for s in record.signatures] == [("technician", "rowan"), ("veterinarian", "ilse")]
    assert not record.can_sign and seen_at(205.5).record.can_sign


def test_the_handover_tells_unknowns_first() -> None:
    """D19: what is not known is what gets lost."""
    early = dict(seen_at(31).recover.handover)
    assert next(iter(early)) == "Not known" and "airway" in early["Not known"]
    late = dict(seen_at(155).recover.handover)
    assert late["Allergies"] == "none known" and late["Resuscitation"] == "full"
    assert late["Airway"] == "tracheal tube ID 4.0 mm, cuffed, 14 cm at the teeth, 2 tries, proven, out 10:15"
