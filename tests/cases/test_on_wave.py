"""What stands on the live CO2 wave, among the advice of the case."""

from __future__ import annotations

from datetime import timedelta
from typing import Literal

from casebook import at
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.live_shapes import AirwayOffer, LiveCheck, LiveFinding
from spiracle.sheets.on_wave import OnWave
from spiracle.sheets.shapes import Advice, Priority
from teasel import teasel, until


def advice(wave: OnWave | None, minutes: float = 68, seconds: float = 20) -> tuple[Advice, ...]:
    entries = until(teasel(), minutes)
    view = case_view(
        teasel().fold(entries), len(entries), load_facts(), at(minutes) + timedelta(seconds=seconds), wave=wave
    )
    return view.advice


def offer(side: Literal["proof", "doubt", "counting"], breaths: int) -> AirwayOffer:
    return AirwayOffer(side=side, breaths=breaths, needed=6, text="said", since=at(68))


def finding(name: str, priority: Priority | None, until_min: float | None = None) -> LiveFinding:
    return LiveFinding(
        name=name, title="CO2 is breathed in", why="CO2 does not come back to zero.", degree="severe", priority=priority, since=at(90),
        until=None if until_min is None else at(until_min), measured=(), checks=(LiveCheck(text="Raise the fresh gas.", source="x"),),
        causes=(),
    )  # fmt: skip


def test_breaths_on_the_wave_answer_for_the_tube() -> None:
    """A1: no word of an oesophagus while breaths are read; without them, or against their fading, it stands."""
    assert advice(None)[0].id == "no co2"
    assert "no co2" not in {a.id for a in advice(OnWave(airway=offer("counting", 2)))}
    assert "no co2" not in {a.id for a in advice(OnWave(airway=offer("proof", 9)))}
    for wave in (OnWave(), OnWave(airway=offer("counting", 0)), OnWave(airway=offer("doubt", 3))):
        assert advice(wave)[0].id == "no co2"


def test_the_wave_proves_nothing_by_itself() -> None:
    """A1: breaths read quieten the alarm; that the airway is proven is still for a person to say."""
    later = advice(OnWave(airway=offer("proof", 30)), seconds=80)
    assert "airway not proven" in {a.id for a in later}


def test_a_finding_that_asks_stands_among_the_advice() -> None:
    """A12: rebreathing on the wave is said where everything is said, with its first look and since when."""
    (line,) = [a for a in advice(OnWave(findings=(finding("rebreathing", "medium"),)), 92) if a.id.startswith("wave")]
    assert (line.id, line.priority, line.since) == ("wave rebreathing", "medium", at(90))
    assert "Raise the fresh gas." in line.body and line.acts
    quiet = OnWave(findings=(finding("rebreathing", None), finding("high-co2", "low", 91)))
    assert not [a for a in advice(quiet, 92) if a.id.startswith("wave")]


def test_a_line_about_the_tube_says_it_once() -> None:
    wave = OnWave(findings=(finding("no-breaths", "high"),))
    assert [a.id for a in advice(wave) if a.priority == "high"] == ["no co2"]
