"""The leak test in the machine's own book: a flow or a fall, against limits that disagree."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec
import pytest

from machine_telling import FIRST, LEAK, VALVE, Book, patient, says_of
from small_house import d
from spiracle.case import events as ev
from spiracle.case.hospital import MachineAtHand
from spiracle.case.machines import (
    last_leak,
    leak_found,
    machine_book,
)
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed, OutOfRange


def test_the_leak_line_wants_a_test_of_today() -> None:
    """A19: a tick is no leak test: without one of today the line is not done, and over every limit it is a fault."""
    b = Book()
    before = b.order[: b.order.index(LEAK)]
    for line in before:
        b.read(line)
    b.refused(Missing, "leak test", ev.MachineLineDone, machine="M1", line=LEAK)
    b.leak("900")
    b.refused(NotAllowed, "leak test", ev.MachineLineDone, machine="M1", line=LEAK)
    b.read(LEAK, "fault", detail="leaks at the canister")
    b.at(1).leak("150")
    b.read(LEAK)
    assert b.sheet.leak is not None and b.sheet.leak.verdict == "passes"


def test_a_list_without_a_leak_test_is_not_whole() -> None:
    """A19: the leak line may be skipped with a reason; the machine is then not checked."""
    b = Book()
    for line in b.order:
        if line == LEAK:
            b.read(line, "skipped", detail="no plug for the Y-piece")
        else:
            b.read(line)
    skipped = f"1 line skipped ({says_of(b, LEAK)})"
    assert (b.check.done, b.check.answered, b.check.lacks) == (14, 15, (skipped, "no leak test today"))


def test_a_list_of_skipped_lines_is_no_check() -> None:
    """A19: fourteen lines skipped with a letter for a reason: the book names them, and the machine is asked about."""
    b = Book()
    b.leak()
    for line in b.order:
        b.read(line) if line == VALVE else b.read(line, "skipped", detail="x")
    assert not b.check.complete and (b.sheet.done, b.sheet.of) == (1, 15)
    (lack,) = b.check.lacks
    assert lack.startswith("14 lines skipped (") and all(says_of(b, line) in lack for line in b.order[:-1])
    assert b.sheet.says == lack and b.sheet.asks == (f"M1 is not checked: {lack}.",)
    patient(b).refused(AskAgain, "machine", ev.MachineAssigned, **FIRST)
    for line in b.order[:-1]:
        b.at(1).read(line)
    assert b.check.complete and not b.sheet.asks


def test_a_leak_of_which_only_the_least_is_known_is_no_pass() -> None:
    """A19: bag off and no figure for the hoses: the test is kept, the line is not done by it, and the day is not whole."""
    b = Book()
    b.tell(ev.MachineLeakTested, **b.fall(volume_l=d("1.5"), bag_on=False, to_cmh2o=d("5")))
    for line in b.order[: b.order.index(LEAK)]:
        b.read(line)
    said = b.refused(NotAllowed, "leak test", ev.MachineLineDone, machine="M1", line=LEAK)
    assert said.says == "today's is at least 156.1 mL/min at 30 cmH2O, and how much more is not known."
    assert b.check.lacks[-1] == "the leak is not known, at least 156.1 mL/min at 30 cmH2O"
    leak = b.sheet.leak
    assert leak is not None and {x.keeps for x in leak.limits} == {None}
    b.at(1).tell(ev.MachineLeakTested, **b.fall(volume_l=d("1.5"), bag_on=False, wall_ml_cmh2o=d("1.2")))
    b.read(LEAK)


def test_a_leak_test_belongs_to_the_day_it_is_written() -> None:
    """A19: no test is written up on another day."""
    b = Book()
    b.refused(NotAllowed, "leak test", ev.MachineLeakTested, machine="M1", at_cmh2o=d("30"), flow_ml_min=d("100"),
              happened_at=b.now - timedelta(days=1))  # fmt: skip


def test_nothing_is_mended_before_it_was_found() -> None:
    b = Book()
    b.tell(ev.MachineFaultFound, fault="f1", machine="M1", what="cap cracked")
    b.refused(
        Contradiction,
        "fault",
        ev.MachineFaultMended,
        fault="f1",
        how="new cap",
        happened_at=b.now - timedelta(minutes=1),
    )
    b.tell(ev.MachineFaultMended, fault="f1", how="new cap")


@pytest.mark.parametrize("turn", [1, -1])
def test_of_one_instant_the_later_in_the_log_counts(turn: int) -> None:
    """Not the id, which is chance: two tests at one instant, the second over every limit; a line done, then at fault."""
    b = Book()
    ids = [f"0000000{n}-0000-4000-8000-000000000000" for n in (1, 2, 3, 4)][::turn]
    for id_, flow in zip(ids, ("150", "900"), strict=False):
        b.tell(ev.MachineLeakTested, machine="M1", at_cmh2o=d("30"), flow_ml_min=d(flow), id=id_)
    assert b.check.leak is not None and b.check.leak.fails
    last = last_leak(machine_book(b.case), b.facts, "M1")
    assert last is not None and last.test.flow_ml_min == 900
    for id_, outcome in zip(ids[2:], ("done", "fault"), strict=True):
        b.read(b.order[0], outcome, detail="hose frayed", id=id_)
    assert b.check.lines[0].state == "fault"


def test_the_last_tests_day_is_the_hospitals_own() -> None:
    """Half past midnight in Auckland is still yesterday in Greenwich."""
    b = Book()
    b.facts = replace(b.facts, zone=ZoneInfo("Pacific/Auckland"))
    b.on(datetime(2026, 5, 4, 12, 30, tzinfo=UTC)).leak()
    assert b.sheet.leak is not None and (b.sheet.leak.today, b.sheet.leak.when) == (True, "00:30")
    b.on(datetime(2026, 5, 5, 12, 30, tzinfo=UTC))
    assert b.sheet.leak is not None and b.sheet.leak.when == "5 May 2026 00:30"


def test_a_struck_leak_test_counts_no_more() -> None:
    b = Book()
    first = b.leak("150")
    slip = b.at(1).leak("15")
    b.tell(ev.EntryStruck, target=slip, reason="wrong key")
    assert b.sheet.leak is not None and (b.sheet.leak.event_id, b.sheet.leak.leak_ml_min) == (first, 150)


def test_the_limits_stand_side_by_side() -> None:
    """Illinois: at most 250 mL/min at 20 cmH2O; Coleman 2016: 300 at 30; taught: 200 (from memory)."""
    b = Book()
    b.leak("220", "20")
    leak = b.sheet.leak
    assert leak is not None and leak.verdict == "sources differ"
    assert {(x.most, x.keeps, x.memory) for x in leak.limits} == {
        (250, True, False),
        (300, None, False),
        (200, False, True),
    }
    assert all(x.cited for x in leak.limits)


def test_a_leak_on_which_the_limits_differ_is_taken_and_said() -> None:
    """A19: 220 mL/min at 20 cmH2O keeps the read limit of 250 and breaks the remembered one of 200."""
    b = Book()
    b.leak("220", "20")
    for line in b.order:
        b.read(line)
    assert b.check.complete
    assert b.sheet.says == "checked today, last line 09:00, leak 220 mL/min at 20 cmH₂O where the limits differ"


def test_a_fall_is_a_leak_only_with_what_gives_way() -> None:
    """A19: 1.5 L, 30 to 25 cmH2O in 30 s is 15.9 mL/min at least and 344 with a bag of 30 mL/cmH2O on (Boyle's law, by hand)."""
    b = Book()
    for field, lacks in (("leak test, volume", {}), ("leak test, bag", {"volume_l": d("1.5")}),
                         ("leak test, hoses and bag", {"volume_l": d("1.5"), "bag_on": True})):  # fmt: skip
        b.refused(Missing, field, ev.MachineLeakTested, **b.fall(**lacks))
    b.refused(Missing, "leak test, time", ev.MachineLeakTested, **b.fall(volume_l=d("1.5"), bag_on=False, seconds=None))
    b.refused(Contradiction, "leak test, pressure after", ev.MachineLeakTested,
              **b.fall(volume_l=d("1.5"), bag_on=False, to_cmh2o=d("31")))  # fmt: skip
    b.refused(Missing, "leak test", ev.MachineLeakTested, machine="M1", at_cmh2o=d("30"))
    b.refused(Missing, "leak test", ev.MachineLeakTested, **b.fall(flow_ml_min=d("100")))
    b.refused(
        OutOfRange, "leak test, pressure", ev.MachineLeakTested, machine="M1", at_cmh2o=d("10"), flow_ml_min=d("100")
    )
    b.tell(ev.MachineLeakTested, **b.fall(volume_l=d("1.5"), bag_on=False))
    stiff = b.sheet.leak
    b.at(1).tell(ev.MachineLeakTested, **b.fall(volume_l=d("1.5"), bag_on=True, wall_ml_cmh2o=d("30")))
    soft = b.sheet.leak
    assert stiff is not None and soft is not None and stiff.leak_ml_min is not None and soft.leak_ml_min is not None
    assert (round(stiff.leak_ml_min, 1), round(soft.leak_ml_min)) == (15.9, 344)
    assert (stiff.verdict, soft.verdict) == ("not known", "fault")
    assert stiff.cautions and stiff.leak is not None and stiff.leak.estimated, "stiff hoses are an assumption, and said"
    assert soft.leak is not None and soft.leak.working is not None and "ln(30 / 25)" in soft.leak.working.says


def test_the_machines_own_figure_is_one_without_a_bag() -> None:
    """A19: taken with a bag on it would make the leak look many times smaller."""
    b = Book()
    own = MachineAtHand(name="M1", volume="1.5 L", wall_ml_cmh2o=d("1.2"))
    b.facts = replace(b.facts, hospital=msgspec.structs.replace(b.facts.hospital, machine_figures=(own,)))
    assert (b.sheet.volume_l, b.sheet.wall_ml_cmh2o) == (1.5, 1.2)
    wrong = b.fall(volume_l=d("1.5"), bag_on=True, wall_ml_cmh2o=d("1.2"))
    b.refused(Contradiction, "leak test, hoses and bag", ev.MachineLeakTested, **wrong)
    b.tell(ev.MachineLeakTested, **{**wrong, "bag_on": False})


def test_a_test_that_todays_tables_would_not_take_stays_and_says_so() -> None:
    b = Book()
    odd = b.made(ev.MachineLeakTested, machine="M1", at_cmh2o=d("10"), flow_ml_min=d("100"))
    b.entries.append(ev.Entry(1, b.now, odd))
    leak = b.sheet.leak
    assert leak is not None and leak.refusal is not None and (leak.verdict, leak.leak) == ("", None)
    assert "the leak test did not pass" in b.check.lacks
    with pytest.raises(OutOfRange):
        leak_found(odd, b.facts)
