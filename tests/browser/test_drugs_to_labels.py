"""From a protocol to labelled syringes: how many touches, and what a scanned label then opens.

Carries U21, U22. The number of touches is our own aim; the labels are read back from the print.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader
from walking import ANSWER_MS, Hand, starting

from chromium import Server


@pytest.fixture
def own(tmp_path: Path) -> Iterator[str]:
    """A demo hospital of its own: what is written here is seen by no other test."""
    found = Server("--demo", "--database", f"sqlite:///{tmp_path / 'demo.sqlite'}")
    yield found.url
    found.kill()


TECHNICIAN, VETERINARIAN = "Niamh Kowalczyk", "Saoirse Varga"
AIM = 12


class Counting(Hand):
    """A hand that counts its touches."""

    touches = 0

    def touch(self, control: Locator) -> None:
        self.touches += 1
        super().touch(control)


def labels(hand: Hand) -> str:
    """The words of the labels that the print key asks for."""
    key = hand.page.get_by_role("link", name=starting("Print")).first
    found = hand.page.request.get(f"{hand.address}{key.get_attribute('href')}")
    assert found.ok, found.text()
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(found.body())).pages)


def open_juniper(hand: Hand, who: str) -> None:
    hand.page.goto(f"{hand.address}/#/")
    hand.choose_hand(who)
    hand.press(re.compile("Juniper"))
    hand.phase("Plan")


def test_a_technician_from_a_protocol_to_a_labelled_premedication(tablet: Page, own: str) -> None:
    """Written orders, the plan approved aloud and read back, methadone drawn, its label asked for: in at most twelve touches."""
    hand = Counting(tablet, own)
    open_juniper(hand, TECHNICIAN)
    hand.touches = 0
    hand.press("Start from a protocol")
    side = hand.page.get_by_role("complementary")
    hand.press(starting("Cat dental"), side)
    hand.press(f"ordered by {VETERINARIAN}", side)
    hand.press(starting("written"), side)
    hand.press(starting("Start with"), side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    expect(hand.page.get_by_role("table", name="Orders")).to_contain_text("Methadone", timeout=ANSWER_MS)
    hand.approve_by_mouth(VETERINARIAN, TECHNICIAN)
    expect(hand.page.get_by_role("main")).to_contain_text("signed SV", timeout=ANSWER_MS)
    hand.phase("Prepare")
    main = hand.page.get_by_role("main")
    hand.touch(main.get_by_role("button", name=re.compile("Methadone.*Not drawn yet", re.S)).first)
    hand.press(starting("Drawn "), hand.page.get_by_role("complementary"))
    print_key = hand.page.get_by_role("link", name=re.compile("Print 1 label"))
    expect(print_key).to_be_visible(timeout=ANSWER_MS)
    assert hand.touches + 1 <= AIM, f"{hand.touches} touches and one on the print key"
    words = labels(hand)
    assert "ethadone" in words and "Juniper" in words and "10 mg/mL" in words

    # The same hand, one more touch for each drug that needs no second look.
    hand.touch(hand.page.get_by_role("button", name=re.compile("Bupivacaine: drawn as planned")))
    expect(hand.page.get_by_role("link", name=re.compile("Print 2 labels"))).to_be_visible(timeout=ANSWER_MS)
    assert not hand.faults, hand.faults


def view_of(page: Page, demo: Server, case: str) -> dict:  # type: ignore[type-arg]
    found: dict = page.request.get(f"{demo.url}/api/cases/{case}").json()  # type: ignore[type-arg]
    return found


def test_a_label_opens_its_syringe_and_nobody_elses(tablet: Page, demo: Server) -> None:
    """U21, U22: the code typed by a hand scanner opens the Give pad at that syringe; in another case it is refused in words."""
    hand = Hand(tablet, demo.url)
    board = tablet.request.get(f"{demo.url}/api/board").json()
    cases = {line["name"]: line["case"] for part in ("now", "to_come", "ended") for line in board[part]}
    sorrel = cases["Sorrel"]
    syringe = next(s for s in view_of(tablet, demo, sorrel)["prepare"]["drawn"] if s["name"].lower() == "alfaxalone")
    code = f"{demo.url}/#/case/{sorrel}/syringe/{syringe['syringe']}"

    tablet.goto(f"{demo.url}/#/case/{sorrel}/maintain")
    expect(tablet.get_by_role("banner")).to_contain_text("Sorrel", timeout=ANSWER_MS)
    tablet.keyboard.type(code)
    tablet.keyboard.press("Enter")
    pad = tablet.get_by_role("region", name="Give", exact=True)
    expect(pad.get_by_role("button", pressed=True)).to_contain_text("Alfaxalone", timeout=ANSWER_MS)
    expect(pad).to_contain_text("ago")  # what went in before, and by whom

    tablet.goto(f"{demo.url}/#/case/{cases['Juniper']}/plan")
    expect(tablet.get_by_role("banner")).to_contain_text("Juniper", timeout=ANSWER_MS)
    tablet.keyboard.type(code)
    tablet.keyboard.press("Enter")
    expect(tablet.get_by_role("alert")).to_contain_text("Another patient", timeout=ANSWER_MS)
    expect(tablet.get_by_role("banner")).to_contain_text("Juniper")
    assert not hand.faults, hand.faults
