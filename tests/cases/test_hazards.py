"""What must not be let in, one hazard after another: each entry goes through the same decision as on the tablet.

Bryony is an invented cat of four kilograms and her hospital is invented too. Whether an entry is let in or refused is the
expectation; the sums beside it are worked by hand.
"""

from __future__ import annotations

import dataclasses
import uuid
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from casebook import at
from spiracle.breathing import lists
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.events import Entry, Event
from spiracle.case.facts import Facts
from spiracle.case.fold import Case, fold
from spiracle.case.hospital import Hospital, Person
from spiracle.doors.log_store_schema import read_url
from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.serve import fresh_demo_url, need_loopback
from spiracle.doors.tables import load_facts
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    NotAllowed,
    OutOfRange,
    OverLimit,
    Refusal,
    StaleReading,
    Unknown,
)
from spiracle.sheets.plan import plan
from teasel import seen_at, teasel

TEN = datetime(2026, 6, 2, 10, 0, tzinfo=UTC)
PEOPLE = (
    Person(id="nel", initials="NB", name="Nel Brandt", role="technician"),
    Person(id="ova", initials="OV", name="Ova Lindqvist", role="veterinarian"),
    Person(id="sam", initials="SP", name="Sam Pell", role="assistant"),
)


@lru_cache
def facts() -> Facts:
    return dataclasses.replace(load_facts(), hospital=Hospital(name="Test house", people=PEOPLE))


class Log:
    """A case that grows only by what the decision lets in."""

    def __init__(self, kind: str = "elective", by: str = "nel") -> None:
        self.id, self.by, self.entries = str(uuid.uuid4()), by, list[Entry]()
        self.enter(0, ev.CaseOpened, species="cat", kind=kind, name="Bryony")

    @property
    def case(self) -> Case:
        return fold(self.entries)

    def made(self, minutes: float, what: type[Event], by: str = "", /, **fields: Any) -> Event:
        at = TEN + timedelta(minutes=minutes)
        return what(
            id=str(uuid.uuid4()), case=self.id, happened_at=at, recorded_at=at, by=by or self.by, device="t", **fields
        )

    def enter(self, minutes: float, what: type[Event], by: str = "", /, **fields: Any) -> Event:
        event = self.made(minutes, what, by, **fields)
        for one in decide(self.case, event, facts(), event.happened_at):
            self.entries.append(Entry(len(self.entries) + 1, one.recorded_at, one))
        return event

    def refused(self, minutes: float, what: type[Event], by: str = "", /, **fields: Any) -> Refusal:
        """The refusal of an entry; the test fails if it is let in."""
        event = self.made(minutes, what, by, **fields)
        with pytest.raises(Refusal) as caught:
            decide(self.case, event, facts(), event.happened_at)
        return caught.value


def d(text: str) -> Decimal:
    return Decimal(text)


METHADONE = {"order": "o-1", "drug": "methadone", "purpose": "premedication", "route": "IM", "low": d("0.2"),
             "high": d("0.2"), "unit": "mg/kg", "concentration": "10 mg/mL"}  # fmt: skip
# 0.2 mg/kg for 4 kg is 0.8 mg: 0.08 mL of 10 mg/mL.
PUSH = {"drug": "methadone", "amount": d("0.8"), "unit": "mg", "volume_ml": d("0.08"), "concentration": "10 mg/mL",
        "route": "IM", "order": "o-1", "purpose": "premedication"}  # fmt: skip
DRAWN = {"syringe": "s-1", "drug": "methadone", "order": "o-1", "vial_concentration": "10 mg/mL",
         "concentration": "10 mg/mL", "volume_ml": d("0.10"), "drug_volume_ml": d("0.10"), "barrel": "1 mL"}  # fmt: skip


def weighed() -> Log:
    log = Log()
    log.enter(1, ev.Weighed, weight_kg=d("4"), method="scale", scale="table scale")
    return log


def ordered() -> Log:
    log = weighed()
    log.enter(2, ev.DrugOrdered, "ova", **METHADONE)
    return log


def intubated() -> Log:
    log = ordered()
    log.enter(60, ev.AttemptBegan, attempt="a-1", tube_id_mm=d("4"))
    log.enter(61, ev.AttemptEnded, attempt="a-1", outcome="in")
    log.enter(61, ev.TubePlaced, id_mm=d("4"), cuffed=True, depth_cm=d("14"), attempt="a-1")
    log.enter(62, ev.ProofNoted, sign="co2", breaths=6)
    return log


# ---- numbers


def test_a_dose_rate_must_follow_from_what_the_pump_says() -> None:
    """U3: 2.4 mL/h of 1 mg/mL for 4 kg is 600 mcg/kg/h, which is 10 mcg/kg/min: neither ten times nor a sixtieth of it."""
    log = weighed()
    runs = {"infusion": "i-1", "drug": "dopamine", "rate_ml_h": d("2.4"), "concentration": "1 mg/mL"}
    for rate, unit in ((d("10"), "mcg/kg/h"), (d("600"), "mcg/kg/min"), (d("1"), "mcg/kg/min")):
        assert isinstance(
            log.refused(5, ev.InfusionStarted, "ova", dose_rate=rate, dose_unit=unit, **runs), Contradiction
        )
    log.enter(5, ev.InfusionStarted, "ova", dose_rate=d("10"), dose_unit="mcg/kg/min", confirmed=True, **runs)


@pytest.mark.parametrize("number", [Decimal("NaN"), Decimal("Infinity"), Decimal("-1"), Decimal("1E+12")])
def test_no_entry_carries_what_is_not_a_plain_number(number: Decimal) -> None:
    """U12: whatever a wire may carry, a log holds numbers that a scale, a syringe or a monitor can show."""
    assert Log().refused(1, ev.Weighed, weight_kg=number, method="scale").field == "weight"


def test_a_plan_is_signed_for_a_weight_of_today() -> None:
    """U6: a cat of 4 kg must have been weighed within 24 hours (common practice), and for the weight that stands."""
    log = ordered()
    sign = {"signed_by": "ova", "weight_kg": d("4"), "orders": ("o-1",)}
    assert isinstance(log.refused(25 * 60, ev.PlanApproved, "ova", **sign), StaleReading)
    assert isinstance(log.refused(9, ev.PlanApproved, "ova", **{**sign, "weight_kg": d("3")}), Contradiction)
    log.enter(10, ev.PlanApproved, "ova", **sign)


def test_a_weight_against_the_last_one_is_asked_about() -> None:
    """U5: 4 kg, then 8.8 (its pounds) and 40 (a lost point): the one is asked about, the other no cat has."""
    log = weighed()
    assert isinstance(log.refused(3, ev.Weighed, weight_kg=d("8.8"), method="scale"), AskAgain)
    assert isinstance(log.refused(3, ev.Weighed, weight_kg=d("40"), method="scale"), OutOfRange)


# ---- what goes in


def test_amount_and_volume_must_agree() -> None:
    """U1, U4: 0.08 mL of 10 mg/mL is 0.8 mg; ten times as much and a thousandth do not pass, whoever sends them."""
    log = ordered()
    for amount, unit in ((d("8"), "mg"), (d("0.8"), "mcg"), (d("0.08"), "mg")):
        assert isinstance(log.refused(10, ev.DrugGiven, **{**PUSH, "amount": amount, "unit": unit}), Contradiction)
    log.enter(10, ev.DrugGiven, **PUSH)


def test_the_same_push_twice_is_asked_about() -> None:
    """U19: two people enter one push, or one gives it twice: four minutes apart it is asked about."""
    log = weighed()
    log.enter(2, ev.DrugOrdered, "ova", **{**METHADONE, "low": d("0.2"), "high": d("0.4")})
    log.enter(10, ev.DrugGiven, **PUSH)
    assert isinstance(log.refused(14, ev.DrugGiven, "sam", **PUSH), AskAgain)
    log.enter(14, ev.DrugGiven, "sam", **PUSH, confirmed=True)


def test_more_than_ordered_needs_a_veterinarian_and_a_reason() -> None:
    """U29: 1.6 mg where 0.8 mg was ordered."""
    log = ordered()
    more = {**PUSH, "amount": d("1.6"), "volume_ml": d("0.16")}
    assert isinstance(log.refused(10, ev.DrugGiven, **more), OverLimit)
    assert isinstance(log.refused(10, ev.DrugGiven, **more, said_by="ova"), Missing)
    assert isinstance(log.refused(10, ev.DrugGiven, **more, said_by="sam", reason="more pain"), NotAllowed)
    log.enter(10, ev.DrugGiven, **more, said_by="ova", reason="more pain")


def test_a_syringe_gives_only_what_is_in_it() -> None:
    """U22: a push from a syringe of another drug, of another strength, or of more than is left in it."""
    log = ordered()
    log.enter(3, ev.SyringeDrawn, **DRAWN)
    other = {**PUSH, "drug": "alfaxalone", "order": "", "syringe": "s-1"}
    assert log.refused(10, ev.DrugGiven, "ova", **other).field == "syringe"
    stronger = {**PUSH, "concentration": "20 mg/mL", "amount": d("1.6"), "syringe": "s-1"}
    assert log.refused(10, ev.DrugGiven, **stronger).field == "concentration"
    log.enter(10, ev.DrugGiven, **PUSH, syringe="s-1")
    assert log.refused(30, ev.DrugGiven, **PUSH, syringe="s-1").field == "volume"


def test_another_route_than_ordered_is_refused() -> None:
    """U23: ordered into the muscle, entered into the vein."""
    found = ordered().refused(10, ev.DrugGiven, **{**PUSH, "route": "IV"})
    assert isinstance(found, Contradiction) and found.field == "route"


def test_local_anaesthetics_of_several_givers_share_one_ceiling() -> None:
    """U24: cat of 4 kg: 10 of 16 mg lidocaine and 5 of 8 mg bupivacaine are 125 %, each alone under its stop.

    4 and 2 mg/kg as published stops, toxic doses added (sources of the budget rows).
    """
    log = weighed()
    block = {"unit": "mg", "route": "perineural", "purpose": "local block"}
    bupivacaine = {"drug": "bupivacaine", "amount": d("5"), **block}
    decide(log.case, log.made(80, ev.DrugGiven, "ova", **bupivacaine), facts(), TEN + timedelta(minutes=80))
    log.enter(70, ev.DrugGiven, "ova", drug="lidocaine", amount=d("10"), **block)
    found = log.refused(80, ev.DrugGiven, "ova", **bupivacaine)
    assert isinstance(found, OverLimit) and "shared ceiling" in found.says


def test_an_expired_vial_is_not_drawn() -> None:
    """U27: a month printed on a vial ends with that month."""
    log = ordered()
    assert log.refused(3, ev.SyringeDrawn, **DRAWN, expires="2026-05").field == "expires"
    log.enter(3, ev.SyringeDrawn, **DRAWN, expires="2026-06")


def test_fluid_over_the_total_is_refused() -> None:
    """C7: 10 mL/kg in all for a cat (AAHA/AAFP 2013): 40 mL for four kilograms; 20, 12 and then 20 more is too much."""
    log = weighed()
    bolus = {"fluid": "isotonic_crystalloid"}
    log.enter(70, ev.FluidGiven, volume_ml=d("20"), **bolus)
    log.enter(80, ev.FluidGiven, volume_ml=d("12"), **bolus)
    assert isinstance(log.refused(90, ev.FluidGiven, volume_ml=d("20"), **bolus), OverLimit)


def test_a_dose_in_a_note_is_refused() -> None:
    """D34: a number with a unit of dose belongs into its field, where it is checked and added up."""
    log = weighed()
    assert isinstance(log.refused(5, ev.NoteWritten, text="gave ketamine 8 mg extra"), NotAllowed)
    log.enter(5, ev.NoteWritten, text="calm, purrs, PCV 34 %")


# ---- airway and lists


def test_the_airway_is_proven_only_when_all_was_looked_at() -> None:
    """A1, A2, A4: CO2 alone is not enough: both sides of the chest, the stylet in the hand, the depth in a small animal."""
    log = intubated()
    for sign in ("left chest", "right chest", "stylet out", "valve open"):
        found = log.refused(63, ev.AirwayProven, method="CO2")
        assert isinstance(found, Missing) and sign in found.says and "depth" in found.says
        log.enter(63, ev.ProofNoted, sign=sign)
    assert "depth" in log.refused(64, ev.AirwayProven, method="CO2").says
    log.enter(64, ev.ProofNoted, sign="depth", detail="14 cm")
    log.enter(65, ev.AirwayProven, method="CO2")


def test_two_breaths_of_co2_prove_nothing() -> None:
    """A1: an oesophageal tube may give a few fading humps (six breaths: from memory)."""
    log = intubated()
    for sign in ("left chest", "right chest", "stylet out", "valve open", "depth"):
        log.enter(63, ev.ProofNoted, sign=sign)
    log.enter(64, ev.ProofNoted, sign="co2", breaths=2)
    assert isinstance(log.refused(65, ev.AirwayProven, method="CO2"), Missing)


def test_a_cuff_is_measured_or_not_noted() -> None:
    """A6: there is no bare word "inflated"."""
    log = intubated()
    assert isinstance(log.refused(66, ev.CuffChecked), Missing)
    log.enter(66, ev.CuffChecked, pressure_cmh2o=d("20"))


def test_packs_left_inside_keep_the_tube_in() -> None:
    """A18: two went in, one came out."""
    log = intubated()
    log.enter(70, ev.TimeMarked, mark="packs in", detail="2")
    log.enter(90, ev.TimeMarked, mark="packs out", detail="1")
    assert isinstance(log.refused(95, ev.Extubated, signs=("first-reflex",)), NotAllowed)
    log.enter(96, ev.TimeMarked, mark="packs out", detail="1")
    log.enter(97, ev.Extubated, signs=("first-reflex",))


def test_a_tube_out_with_lines_open_says_why() -> None:
    """A17: the card may be left open, but not in silence."""
    log = intubated()
    assert isinstance(log.refused(95, ev.Extubated, open_lines=("not-cold",)), Missing)
    log.enter(95, ev.Extubated, open_lines=("not-cold",), reason="chewed on the tube")


def test_a_list_is_read_in_its_order_and_ends_at_the_open_valve() -> None:
    """A9, A19, D29: no line is passed over in silence, and the relief valve is never skipped."""
    log = weighed()
    machine = [row.id for row in lists(facts().breathing, "machine")]
    assert isinstance(log.refused(5, ev.CheckLineDone, list="machine", line=machine[3]), Contradiction)
    for minute, line in enumerate(machine[:-1], 6):
        assert isinstance(log.refused(minute, ev.CheckLineDone, list="machine", line=line, outcome="skipped"), Missing)
        log.enter(minute, ev.CheckLineDone, list="machine", line=line, outcome="skipped", detail="another machine")
    found = log.refused(40, ev.CheckLineDone, list="machine", line=machine[-1], outcome="skipped", detail="no time")
    assert isinstance(found, NotAllowed)
    log.enter(40, ev.CheckLineDone, list="machine", line=machine[-1])


def test_a_vaporiser_is_not_set_past_its_last_mark() -> None:
    """A11: an isoflurane dial ends at 5 % (common practice)."""
    log = weighed()
    assert log.refused(70, ev.VaporiserSet, agent="isoflurane", percent=d("6")).field == "vaporiser"
    assert isinstance(log.refused(70, ev.VaporiserSet, agent="halothane", percent=d("1")), Refusal)


# ---- readings and times


def test_a_reading_without_a_unit_is_not_charted() -> None:
    """D17, U17: no unit, no chart; and a unit of another kind is no reading of this name."""
    log = weighed()
    assert log.refused(70, ev.ReadingTaken, reading="etco2", value=d("40"), unit="").field == "unit"
    assert isinstance(log.refused(70, ev.ReadingTaken, reading="etco2", value=d("40"), unit="Cel"), Refusal)
    log.enter(70, ev.ReadingTaken, reading="etco2", value=d("40"), unit="mmHg")


def test_an_entry_from_a_clock_that_is_ahead_is_refused() -> None:
    """D8: ten minutes ahead of this server, or later than it was written."""
    log = weighed()
    event = log.made(20, ev.NoteWritten, text="calm")
    with pytest.raises(OutOfRange):
        decide(log.case, event, facts(), TEN + timedelta(minutes=10))


def test_an_entry_of_another_case_is_refused() -> None:
    """U21: an entry carries its case; it cannot land in the one that happens to be open."""
    log, other = weighed(), weighed()
    event = other.made(5, ev.AllergiesAsked)
    with pytest.raises(Contradiction):
        decide(log.case, event, facts(), event.happened_at)


# ---- whose word


def test_orders_are_a_veterinarians_word_and_are_read_back() -> None:
    """D20: not an assistant's; said aloud it needs someone else who read it back."""
    log = weighed()
    assert isinstance(log.refused(2, ev.DrugOrdered, "nel", **METHADONE), NotAllowed)
    aloud = {**METHADONE, "given_as": "oral", "ordered_by": "ova"}
    assert isinstance(log.refused(2, ev.DrugOrdered, **aloud), Missing)
    assert isinstance(log.refused(2, ev.DrugOrdered, **aloud, read_back_by="ova"), Contradiction)
    log.enter(2, ev.DrugOrdered, **aloud, read_back_by="nel")


def test_every_entry_has_a_hand_of_the_house() -> None:
    """D13: nobody and a stranger enter nothing in a planned case."""
    log = weighed()
    for hand, kind in (("unknown", Unknown), ("visitor", Unknown)):
        assert isinstance(log.refused(5, ev.AllergiesAsked, hand), kind)


def test_waste_of_a_controlled_drug_has_a_second_person() -> None:
    """D22: a witness, and not the same person again."""
    log = ordered()
    log.enter(3, ev.SyringeDrawn, **DRAWN)
    waste = {"drug": "methadone", "syringe": "s-1", "volume_ml": d("0.02"), "manner": "sharps"}
    assert isinstance(log.refused(90, ev.DrugWasted, **waste), Missing)
    assert isinstance(log.refused(90, ev.DrugWasted, **waste, witness="nel"), Contradiction)
    assert log.refused(90, ev.DrugWasted, **{**waste, "volume_ml": d("0.11")}, witness="ova").field == "volume"
    log.enter(90, ev.DrugWasted, **waste, witness="ova")


def test_in_an_emergency_nothing_is_needed_first() -> None:
    """D14, D36, C14: no weight, no order, no hand: the arrest and its drugs are let in all the same."""
    for log, by in ((Log("emergency", by="unknown"), "unknown"), (Log(), "unknown")):
        log.enter(1, ev.ArrestBegan, by)
        log.enter(2, ev.DrugGiven, by, drug="epinephrine", amount=d("0.04"), unit="mg", route="IV", emergency=True)
        log.enter(3, ev.ArrestStepDone, by, step="shock", joules=d("10"))
        log.enter(9, ev.ArrestEnded, by, outcome="pulse back")


def test_the_server_keeps_to_this_machine_unless_told_otherwise() -> None:
    """D32: there are no accounts yet, so another host than loopback needs the user's word."""
    for host in ("0.0.0.0", "192.168.1.9", "::", "clinic.example"):  # noqa: S104 - asked for, to be refused
        with pytest.raises(NotAllowed):
            need_loopback(host, trust_network=False)
        need_loopback(host, trust_network=True)
    need_loopback("127.0.0.1", trust_network=False)


# ---- what is shown, kept and practised


def test_nothing_predicted_stands_among_the_readings() -> None:
    """D5: the ribbon holds what a device measured or a hand typed; a mean of two typed pressures is not put in as a third."""
    for minutes in range(66, 134, 4):
        assert {v.value.mark for v in seen_at(minutes).maintain.ribbon if v.value is not None} <= {"measured", "typed"}
    book = teasel()
    book.tell(129, ev.PressureTaken, sap=d("95"), dap=d("50"), method="oscillometric")
    shown = seen_at(129.5, book).maintain.ribbon
    mean = next(v for v in shown if v.reading == "map").value
    assert mean is not None and (mean.text, mean.at) == ("71", at(125)), "the mean that was measured, with its own time"


def test_every_figure_of_a_plan_shows_its_working() -> None:
    """D24: no bare answer: each amount, volume and delivered dose of a plan carries the sum it came from, and its source."""
    text = (Path(__file__).parents[2] / "examples" / "02-toy-dog-1.8kg-dental.toml").read_text("utf-8")
    made = plan(read_plan_file(text).request, facts(), TEN)
    assert made.drugs
    for part in made.drugs:
        assert part.source and part.working, part.drug
        for shown in (part.amount, part.volume, part.delivered):
            assert shown is None or shown.working, part.drug


def test_what_is_on_board_speaks_in_later_orders() -> None:
    """C4, U14, U25: after an alpha-2 agonist no anticholinergic (Short 1991); butorphanol blocks methadone (from memory)."""
    text = 'patient = {species = "dog", weight = "12 kg", method = "scale"}\n' + "".join(
        f'[[order]]\ndrug = "{drug}"\npurpose = "premedication"\nroute = "IM"\ndose = "{dose}"\n'
        for drug, dose in (("dexmedetomidine", "5 mcg/kg"), ("glycopyrrolate", "0.01 mg/kg"), ("methadone", "0.2 mg/kg"),
                           ("butorphanol", "0.2 mg/kg"))
    )  # fmt: skip
    both = {part.drug: [c.text for c in part.cautions if c.kind == "patient"]
            for part in plan(read_plan_file(text).request, facts(), TEN).drugs}  # fmt: skip
    assert any("reverse the alpha-2 agonist first" in words for words in both["glycopyrrolate"])
    assert any("Blocks part of its analgesia" in words for words in both["butorphanol"])


def test_lists_name_the_side_the_gas_and_the_leak() -> None:
    """D38, D39: time-out says the side aloud; the machine list has scavenging and the leak test."""
    time_out, machine = (" ".join(r.says for r in lists(facts().breathing, n)) for n in ("time-out", "machine"))
    assert "side" in time_out
    assert "Scavenging connected" in machine and "Leak test" in machine


def test_the_demo_writes_into_a_log_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """D30: invented cases never stand beside real ones, and starting the demo again empties only its own file."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    real = Path(str(read_url(None).database))
    real.write_text("kept", "utf-8")
    demo = Path(str(read_url(fresh_demo_url()).database))
    demo.write_text("invented", "utf-8")
    assert fresh_demo_url().endswith(demo.name) and not demo.exists()
    assert demo != real and real.read_text("utf-8") == "kept"
