"""A machine's day in the browser: its list read aloud, a fault that is mended, a leak timed by its fall, and a patient put on it."""

from __future__ import annotations

import re
from typing import Any

from playwright.sync_api import Locator, Page, expect
from walking import ANSWER_MS, Hand, starting

from chromium import Server

TECHNICIAN = "Niamh Kowalczyk"


def book(page: Page, server: Server, machine: str = "Machine A") -> dict[str, Any]:
    sheet = page.request.get(f"{server.url}/api/machines").json()
    found: dict[str, Any] = next(x for x in sheet["machines"] if x["machine"] == machine)
    return found


def number(hand: Hand, side: Locator, field: str, figure: str) -> None:
    hand.press(starting(field), side)
    hand.type(figure, side)


def by_fall(hand: Hand) -> None:
    """28 to 24 cmH2O in 30 s with the bag off: the volume comes from the hospital's file, and the field says so first."""
    side = hand.sheet("Leak test, Machine A")
    hand.press(starting("By fall"), side)
    number(hand, side, "Pressure at first", "28")
    number(hand, side, "Pressure after", "24")
    number(hand, side, "In how many seconds", "30")
    hand.press("Write the test", side)
    expect(side.get_by_role("status")).to_contain_text("fall of pressure alone is no leak rate", timeout=ANSWER_MS)
    hand.press("off", side)
    hand.press(starting("Use this machine’s own"), side)
    hand.rested()
    hand.press("Write the test", side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)


def read_on(hand: Hand, list_: Locator, done: int) -> None:
    """The line that is up: the leak's wants its test first."""
    test = hand.key("Test the leak", list_)
    if test.count():
        hand.touch(test)
        by_fall(hand)
    hand.rested()
    hand.press("Said and so", list_)
    expect(list_.locator(".hd .note")).to_have_text(re.compile(rf"^{done} of 15"), timeout=ANSWER_MS)


def test_a_machine_is_read_tested_mended_and_taken(page: Page, server: Server) -> None:
    """A9, A19: the valve is the last line; what is at fault or not read is asked about at the patient."""
    hand = Hand(page, server.url)
    page.goto(f"{server.url}/#/")
    hand.choose_hand(TECHNICIAN)
    hand.press(starting("Machine A"), page.get_by_role("region", name="Machines"))
    list_ = page.get_by_role("region", name="List of today")
    hand.press("Not so: fault", list_)
    hand.write("What is not so", "will not light", list_)
    hand.press("Write the fault", list_)
    faults = page.get_by_role("region", name="Faults")
    expect(faults).to_contain_text("will not light", timeout=ANSWER_MS)
    first = list_.locator("button.line").first
    expect(first).to_contain_text("Fault:")
    hand.press("Mended", faults)
    hand.write("How it was mended", "fuse changed", hand.sheet("Mended"))
    hand.press("Write it as mended", hand.sheet("Mended"))
    expect(faults).to_contain_text("fuse changed", timeout=ANSWER_MS)
    hand.touch(first)
    for done in range(1, 15):
        read_on(hand, list_, done)
    expect(list_.locator("li.now")).to_contain_text("Relief valve OPEN")
    expect(hand.key(starting("Skip"), list_)).to_have_count(0)
    read_on(hand, list_, 15)
    now = book(page, server)
    assert (now["complete"], now["leak"]["verdict"], now["leak"]["way"]) == (True, "passes", "fall")
    # by hand: (1.8 L x 1000 / 1033.2 + 1.2 mL/cmH2O) x 28 cmH2O x ln(28 / 24) x 2 per minute = 25.4 mL/min
    assert abs(now["leak"]["leak_ml_min"] - 25.4) <= 0.05
    leak = page.get_by_role("region", name="Leak")
    expect(leak).to_contain_text("Passes every limit")
    expect(leak.locator(".limits li")).to_have_count(3)
    taken(hand, server)
    assert not hand.faults


def taken(hand: Hand, server: Server) -> None:
    """A cat gets Machine B, which nobody read today: asked, with a reason; then Machine A, which is taken at once."""
    page = hand.page
    hand.press("Back")
    case = hand.open_case(species="cat", name="Sorrel", kg="3.8", scale="table scale, 5 g step")
    hand.phase("Prepare")
    hand.press("Machine", page.locator("section", has=page.get_by_role("heading", name="Ready")))
    side = hand.sheet("Machine")
    hand.press("Machine B", side)
    expect(side).to_contain_text("Machine B is not checked", timeout=ANSWER_MS)
    hand.write("Why it is taken as it is", "A is in theatre", side)
    hand.press("Write", side)
    expect(hand.key(starting("It is so"), side)).to_be_visible(timeout=ANSWER_MS)
    hand.rested()
    hand.press(starting("It is so"), side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    hand.press("Machine", page.locator("section", has=page.get_by_role("heading", name="Ready")))
    hand.press("Machine A", side)
    expect(side).to_contain_text("checked today", timeout=ANSWER_MS)
    hand.press("Write", side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    log = page.request.get(f"{server.url}/api/cases/{case}/log").json()
    assert [(x["event"]["machine"], x["event"].get("reason", "")) for x in log if x["event"]["event"] == "MachineAssigned"] == [
        ("Machine B", "A is in theatre"), ("Machine A", "")]  # fmt: skip
