"""How fast an induction agent went in, beside what was published on slow injection. Pushes are invented, 10 mg in 10 kg is 1 mg/kg."""

from __future__ import annotations

from datetime import timedelta

import pytest

from casebook import at
from level_case import animal, induced_with, pushed, seen
from spiracle.case import events as ev


def test_the_pace_is_told_beside_the_published_one() -> None:
    """Alfaxalone in the dog: 3 mg/kg/min unpremedicated (row slow-alfaxalone-dog-none). 1 mg/kg in a quarter minute is 4 mg/kg/min;
    the last 1 mg/kg takes a third of a minute at 3."""
    b = induced_with(animal(), "alfaxalone", high="3")
    pushed(b, 60, "10", "alfaxalone")
    (once,) = seen(b, 60.1).induce.agents
    assert once.pace is not None and (once.pace.text, once.pace.faster) == ("", False)
    pushed(b, 60.25, "10", "alfaxalone")
    (twice,) = seen(b, 60.3).induce.agents
    assert twice.pace is not None
    assert (twice.pace.text, twice.pace.faster) == ("4 mg/kg/min from the first push to the last", True)
    assert twice.pace.next_at == at(60.25) + timedelta(seconds=20) and twice.pace.cited
    assert twice.push is not None, "time blocks no push"


@pytest.mark.parametrize(("apart", "faster"), [(0.25, True), (20 / 60, False), (1.0, False)])
def test_a_pace_at_the_published_one_is_not_faster(apart: float, faster: bool) -> None:
    b = induced_with(animal(), "alfaxalone", high="3")
    pushed(b, 60, "10", "alfaxalone")
    pushed(b, 60 + apart, "10", "alfaxalone")
    (agent,) = seen(b, 62).induce.agents
    assert agent.pace is not None and agent.pace.faster is faster


def test_an_agent_without_a_published_rate_has_no_next_moment() -> None:
    """Propofol without an alpha-2 agonist: words and no rate. 3 mg/kg before the last push, over 2 min."""
    b = induced_with(animal())
    for minutes, mg in ((60.0, "15"), (60.5, "15"), (62.0, "10")):
        pushed(b, minutes, mg)
    (agent,) = seen(b, 62.5).induce.agents
    assert agent.pace is not None and agent.pace.next_at is None and not agent.pace.faster
    assert agent.pace.text == "1.5 mg/kg/min from the first push to the last", (
        "3 mg/kg before the last push, over 2 min"
    )


def test_a_published_rate_for_a_premedication_is_used_after_it_alone() -> None:
    """Propofol at 1 mg/kg/min after an alpha-2 agonist with an opioid (row slow-propofol-dog-alpha-2-opioid): 1.5 mg/kg in half a
    minute is faster, and the next keeps to it 90 s after the last."""
    b = induced_with(animal())
    for drug, mg in (("dexmedetomidine", "0.05"), ("methadone", "2")):
        pushed(b, 40, mg, drug, order="", syringe="", purpose="premedication")
    pushed(b, 60, "15")
    pushed(b, 60.5, "15")
    (agent,) = seen(b, 61).induce.agents
    assert agent.pace is not None
    assert (agent.pace.text, agent.pace.faster) == ("3 mg/kg/min from the first push to the last", True)
    assert agent.pace.next_at == at(60.5) + timedelta(seconds=90)


def test_a_struck_push_leaves_the_pace() -> None:
    b = induced_with(animal(), "alfaxalone", high="3")
    pushed(b, 60, "10", "alfaxalone")
    b.tell(60.3, ev.EntryStruck, target=pushed(b, 60.25, "10", "alfaxalone"), reason="not given")
    (agent,) = seen(b, 61).induce.agents
    assert agent.pace is not None and (agent.pace.text, agent.pace.next_at) == ("", at(60) + timedelta(seconds=20))
