"""Oxygen read, gas set, the count going down, and a ventilator that asks about a breath too large: touched at tablet size.

Carries A10, A16. Litres: 680 x 68.5 / 137 = 340; the reserve of 500 psi is 171 L, so 168.9 L at 2 L/min last 84 min.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from walking import ANSWER_MS, Hand, starting

from chromium import Server

SCALE = "table scale, 5 g step"


@pytest.fixture
def own(tmp_path: Path) -> Iterator[str]:
    """A demo hospital of its own: what is written here is seen by no other test."""
    found = Server("--demo", "--database", f"sqlite:///{tmp_path / 'demo.sqlite'}")
    yield found.url
    found.kill()


@pytest.fixture
def cat(tablet: Page, own: str) -> Hand:
    hand = Hand(tablet, own)
    tablet.goto(f"{own}/#/")
    hand.choose_hand("Niamh Kowalczyk")
    hand.open_case(species="cat", name="Teasel", kg="4", scale=SCALE, procedure="dental")
    return hand


def read_oxygen(hand: Hand, gauge: str) -> None:
    """A listed cylinder fills in nothing: its printed pair is an answer of its own, and the gauge needs its unit."""
    hand.phase("Prepare")
    hand.press("Oxygen")
    side = hand.sheet("Oxygen as read")
    hand.press("cylinder", side)
    hand.press("size E on Machine A", side)
    hand.press("Write", side)
    expect(side).to_contain_text("still open", timeout=ANSWER_MS)
    hand.press("680 L at 137 bar", side)
    hand.write("Gauge now, with its unit (85 bar)", "68.5", side)
    hand.rested()
    hand.press("Write", side)
    expect(side).to_contain_text("has no unit. Write bar, psi, MPa or kPa", timeout=ANSWER_MS)
    hand.write("Gauge now, with its unit (85 bar)", gauge, side)
    hand.rested()
    hand.press("Write", side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)


def test_oxygen_is_read_gas_is_set_and_the_count_goes_down(cat: Hand) -> None:
    """A10: hatched and marked by ≈, beside the gauge as it was read."""
    page = cat.page
    read_oxygen(cat, "68.5 bar")
    cat.phase("Maintain")
    cat.press(starting("Oxygen"), page.get_by_role("main"))
    pad = page.locator(".ratepad")
    cat.type("2", pad)
    cat.press(starting("Flow 2"), pad)
    key = cat.key(starting("Oxygen"), page.get_by_role("main")).first
    expect(key).to_contain_text("≈ 84 min", timeout=ANSWER_MS)
    cat.touch(key)
    cat.press("Gauge", pad)
    left = page.get_by_role("region", name="oxygen that is left")
    expect(left).to_contain_text(re.compile(r"≈ 84\W*min est\.\s+to the reserve|≈ 84\W*minest\.\s+to the reserve"))
    expect(left.get_by_role("img")).to_have_attribute("aria-label", re.compile("read at 50 %.*changed at 25 %"))
    assert cat.faults == []


def test_a_gauge_that_does_not_fit_the_count_is_asked_about(cat: Hand) -> None:
    """A10: 340 L by count, 99 L read."""
    read_oxygen(cat, "68.5 bar")
    cat.press("Oxygen")
    side = cat.sheet("Oxygen as read")
    expect(side).to_contain_text("nothing flows by what is charted")
    for one in ("cylinder", "size E on Machine A", "680 L at 137 bar"):
        cat.press(one, side)
    cat.write("Gauge now, with its unit (85 bar)", "20 bar", side)
    cat.press("Write", side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    cat.press("Oxygen")
    expect(side).to_contain_text("Is there a leak", timeout=ANSWER_MS)


def test_a_breath_too_large_is_asked_about_and_a_far_larger_one_needs_a_reason(cat: Hand) -> None:
    """A16: 68 mL in 4 kg is 17 mL/kg; 100 mL is 25, over the hard stop. Nothing is chosen or filled in beforehand."""
    page = cat.page
    cat.phase("Maintain")
    cat.press(starting("Ventilator"), page.get_by_role("main"))
    pad = page.get_by_role("region", name="Ventilator", exact=True)
    expect(pad).to_contain_text("First settings")
    expect(pad.locator("[aria-pressed=true]")).to_have_count(0)
    cat.press("Ventilator", pad)
    cat.press("Volume held", pad)
    for field, figure in (("rate", "14"), ("breath", "68")):
        cat.press(re.compile(rf"^{field} "), pad)
        cat.type(figure, pad)
    cat.press(starting("Write: ventilator, rate 14, breath 68"), pad)
    expect(pad).to_contain_text("17 mL/kg", timeout=ANSWER_MS)
    cat.rested()
    cat.press("It is so: write it", pad)
    expect(pad).to_have_count(0, timeout=ANSWER_MS)
    cat.press(starting("Ventilator"), page.get_by_role("main"))
    expect(pad).to_contain_text("ventilator, volume, 68 mL, 14 /min", timeout=ANSWER_MS)
    cat.press("Ventilator", pad)
    for field, figure in (("rate", "14"), ("breath", "100")):
        cat.press(re.compile(rf"^{field} "), pad)
        cat.type(figure, pad)
    cat.press(starting("Write: ventilator"), pad)
    expect(pad).to_contain_text("over the hard stop", timeout=ANSWER_MS)
    cat.write("why it is meant", "one large breath by order of the veterinarian", pad)
    cat.press(re.compile(r"^peak "), pad)
    cat.type("60", pad)
    expect(pad.get_by_label("why it is meant")).to_have_count(0)  # a reason is for what was refused
    cat.press(starting("Write: ventilator"), pad)
    expect(pad).to_contain_text("Also peak pressure: 60", timeout=ANSWER_MS)
    expect(pad.get_by_label("why it is meant")).to_have_value("")
    cat.write("why it is meant", "one large breath by order of the veterinarian", pad)
    cat.rested()
    cat.press(starting("Write: ventilator"), pad)
    expect(pad).to_have_count(0, timeout=ANSWER_MS)
    cat.phase("Record")
    expect(page.get_by_role("main")).to_contain_text("one large breath by order", timeout=ANSWER_MS)
    assert cat.faults == []


def test_a_spare_stands_by_and_a_doubtful_unit_is_asked_about(cat: Hand) -> None:
    """A10: neither key is chosen beforehand; 6 bar is 87 psi (14.504 to the bar), all but empty under 1900."""
    read_oxygen(cat, "68.5 bar")
    cat.press("Oxygen")
    side = cat.sheet("Oxygen as read")
    for one in ("cylinder", "size E, spare", "660 L at 1900 psi"):
        cat.press(one, side)
    cat.write("Gauge now, with its unit (85 bar)", "6 bar", side)
    cat.press("Write", side)
    expect(side).to_contain_text("cylinder size E on Machine A was in use. This one", timeout=ANSWER_MS)
    expect(side).to_contain_text("still open")
    cat.press("standing by", side)
    cat.rested()
    cat.press("Write", side)
    expect(side).to_contain_text("6 bar is 87 psi, and full is 1,900 psi", timeout=ANSWER_MS)
    cat.rested()
    cat.press("It is so: write it", side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    cat.press("Oxygen")
    expect(side).to_contain_text("cylinder size E on Machine A")
    expect(side).to_contain_text("Standing by: cylinder size E, spare, gauge 6 bar, 30 L", timeout=ANSWER_MS)
