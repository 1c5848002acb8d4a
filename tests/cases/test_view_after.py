"""Recovery, record and handover. Every expectation was worked out by hand from the log of teasel.py."""

from __future__ import annotations

from datetime import timedelta

import pytest

from casebook import at
from spiracle.case import events as ev
from teasel import seen_at, teasel

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
    """A11, A17: agent off with oxygen on, packs, breathing, temperature."""
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
    """U20, C12: at the time that was planned."""
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
