"""A first size that fails, a second that leaks, the next one up, proven and secured: touched at tablet size, in few touches.

Carries A1, A3, A6, A8. The order of the steps is common practice; four touches an attempt are our own aim.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect
from walking import ANSWER_MS, Hand, starting

from chromium import Server

SCALE = "table scale, 5 g step"


@pytest.fixture
def own(tmp_path: Path) -> Iterator[str]:
    """A demo hospital of its own: what is written here is seen by no other test."""
    found = Server("--demo", "--database", f"sqlite:///{tmp_path / 'demo.sqlite'}")
    yield found.url
    found.kill()


class Counting(Hand):
    """A hand that counts its touches."""

    touches = 0

    def touch(self, control: Locator) -> None:
        self.touches += 1
        super().touch(control)


@dataclass(frozen=True)
class Induction:
    """A cat in the induce phase, and the places that are touched there."""

    hand: Counting
    airway: Locator
    proofs: Locator

    @property
    def rings(self) -> Locator:
        return self.airway.get_by_role("button", name=starting("ID "))

    @property
    def story(self) -> Locator:
        return self.airway.get_by_role("list", name="attempts so far")

    def tube_in(self) -> None:
        expect(self.airway.get_by_role("button", name="Tube in")).to_be_visible(timeout=ANSWER_MS)
        self.hand.rested()
        self.hand.press("Tube in", self.airway)
        expect(self.airway).to_contain_text("tube in after", timeout=ANSWER_MS)

    def figure(self, field: str, figure: str, unit: str) -> None:
        """One figure of the cuff's fields, written with its unit."""
        self.hand.press(field, self.airway)
        self.hand.type(figure, self.airway)
        self.hand.press(starting(f"Write {figure} {unit}"), self.airway)
        expect(self.airway.get_by_role("button", name=field)).to_contain_text(figure, timeout=ANSWER_MS)


def induction(page: Page, address: str, name: str) -> Induction:
    hand = Counting(page, address)
    page.goto(f"{address}/#/")
    hand.choose_hand("Niamh Kowalczyk")
    hand.open_case(species="cat", name=name, kg="4.2", scale=SCALE, procedure="dental")
    hand.phase("Induce")
    return Induction(hand, page.locator(".card.airway"), page.locator(".card.prove"))


def test_a_size_that_fails_one_that_leaks_and_the_next_one_proven_and_secured(tablet: Page, own: str) -> None:
    cat = induction(tablet, own, "Thistle")
    expect(cat.rings).to_have_count(3)
    labels = [str(cat.rings.nth(i).get_attribute("aria-label")) for i in range(3)]
    sizes = [float(label.split()[1]) for label in labels]
    assert sizes == sorted(sizes) and len(set(sizes)) == 3
    fails_in_four_touches(cat)
    goes_in_and_leaks(cat)
    next_size_up(cat)
    proven_then_secure(cat)
    turned_and_asked(cat)
    assert cat.hand.faults == []


def fails_in_four_touches(cat: Induction) -> None:
    before = cat.hand.touches
    cat.hand.touch(cat.rings.nth(1))
    cat.hand.press(starting("Attempt 1 begins"), cat.airway)
    cat.hand.press("part", cat.airway)
    cat.hand.press(re.compile(r"^\s*Out\s*$"), cat.airway)
    assert cat.hand.touches - before == 4
    expect(cat.story).to_contain_text("view part", timeout=ANSWER_MS)


def goes_in_and_leaks(cat: Induction) -> None:
    """Nothing is chosen beforehand for the next try, and the same again is asked about; then smaller, in, and it leaks."""
    expect(cat.airway.get_by_role("button", name=starting("Attempt 2 begins"))).to_contain_text("which tube?")
    cat.hand.touch(cat.rings.nth(1))
    cat.hand.rested()
    cat.hand.press(starting("Attempt 2 begins"), cat.airway)
    expect(cat.airway).to_contain_text("nothing is changed since the last try", timeout=ANSWER_MS)
    cat.hand.touch(cat.rings.nth(0))
    cat.hand.press(starting("Attempt 2 begins"), cat.airway)
    cat.tube_in()
    expect(cat.proofs).to_contain_text("placed is not proven")
    cat.figure("leak pressure, cmH₂O", "6", "cmH₂O")
    cat.hand.press(starting("Tube out"), cat.airway)
    cat.hand.press("leak", cat.airway)
    expect(cat.story).to_contain_text("leak at 6 cmH₂O", timeout=ANSWER_MS)


def next_size_up(cat: Induction) -> None:
    cat.hand.touch(cat.rings.nth(1))
    cat.hand.rested()
    cat.hand.press(starting("Attempt 3 begins"), cat.airway)
    cat.hand.press("full", cat.airway)
    cat.tube_in()
    expect(cat.story).to_contain_text("new: size")


def proven_then_secure(cat: Induction) -> None:
    """Two states, each by what was seen."""
    cat.hand.press(starting("Breaths"), cat.proofs)
    cat.hand.press("6", cat.proofs)
    expect(cat.proofs).to_contain_text("6 of 6", timeout=ANSWER_MS)
    signs = cat.proofs.locator(".sign")
    expect(signs.last).to_be_visible(timeout=ANSWER_MS)
    for at in range(signs.count()):
        cat.hand.touch(signs.nth(at))
        if cat.proofs.get_by_role("group", name="number keys").count():
            cat.hand.type("13", cat.proofs)
            cat.hand.press(starting("Write 13"), cat.proofs)
        expect(signs.nth(at)).to_have_attribute("aria-pressed", "true", timeout=ANSWER_MS)
    cat.hand.touch(cat.hand.key(re.compile("^\\s*Airway proven\\s*$"), cat.proofs))
    expect(cat.proofs).to_contain_text("secure lacks cuff pressure, leak pressure", timeout=ANSWER_MS)
    cat.figure("cuff pressure", "20", "cmH₂O")
    cat.figure("leak pressure, cmH₂O", "16", "cmH₂O")
    expect(cat.proofs).to_contain_text("proven and secure", timeout=ANSWER_MS)


def turned_and_asked(cat: Induction) -> None:
    """A8: a turn asks whether the circuit was off; an honest no is kept."""
    page = cat.hand.page
    cat.hand.note(starting("Turned"), "left side")
    pad = page.get_by_role("region", name="Note", exact=True)
    expect(pad).to_contain_text("Was the circuit off the tube")
    cat.hand.press(starting("No it stayed"), pad)
    expect(pad).to_have_count(0, timeout=ANSWER_MS)
    cat.hand.phase("Record")
    expect(page.get_by_role("main")).to_contain_text("NOT disconnected first", timeout=ANSWER_MS)


def test_the_cuff_gauge_has_its_own_unit_on_the_key(tablet: Page, own: str) -> None:
    """A6: 20 of one is not 20 of the other; neither is the usual one."""
    cat = induction(tablet, own, "Bramble")
    cat.hand.press(starting("Attempt 1 begins"), cat.airway)
    cat.tube_in()
    cat.hand.press("cuff pressure", cat.airway)
    cat.hand.type("20", cat.airway)
    cat.hand.press(starting("Write 20 mmHg"), cat.airway)
    expect(cat.airway).to_contain_text("Does the gauge read cmH2O?", timeout=ANSWER_MS)
    cat.hand.press(starting("Write 20 cmH₂O"), cat.airway)
    expect(cat.airway.get_by_role("button", name="cuff pressure")).to_contain_text("20", timeout=ANSWER_MS)


def test_a_size_that_no_plan_laid_out_is_taken_up_and_kept_as_it_was(tablet: Page, own: str) -> None:
    """A3: the attempt's own size is placed, and after an extubation the next try begins without more ado."""
    cat = induction(tablet, own, "Juno")
    cat.hand.press("other size", cat.airway)
    cat.hand.press(starting("3.0"), cat.airway.locator(".sizes"))
    cat.hand.press(starting("Attempt 1 begins"), cat.airway)
    cat.tube_in()
    tablet.reload()
    expect(cat.airway).to_contain_text("Attempt 1: tube in after", timeout=ANSWER_MS)
    expect(cat.story).to_contain_text("3.0")
    case = cat.hand.case_id()
    sheet = tablet.request.get(f"{own}/api/cases/{case}").json()["induce"]
    assert (sheet["placed"]["label"], sheet["tube_in_place"]) == ("ID 3.0 mm", True)
