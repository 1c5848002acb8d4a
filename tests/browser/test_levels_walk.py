"""What a model of a population expects, as a hand meets it: under the push key, in full beside it, and in Maintain.

Carries D4, D5. A prediction looks like none of the readings, orders nothing, and says what it does not hold yet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Locator, Page, expect
from test_access import findings
from walking import ANSWER_MS, Hand, starting

from chromium import PHONE, TABLET, Server

TECHNICIAN, VETERINARIAN, SECOND = "Niamh Kowalczyk", "Saoirse Varga", "Tobias Brandl"
AGE = "Age, as told (4 y, 9 months)"
SCALE = "walk-on scale, 100 g step"
SLOW_MS = 20_000
"""A sheet with a whole population behind it may take its time on a machine that runs many tests."""


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Server]:
    """A demo hospital of its own: what is written here is seen by no other test."""
    found = Server("--demo", "--database", f"sqlite:///{tmp_path / 'demo.sqlite'}")
    yield found
    found.kill()


def grown_dog(hand: Hand) -> None:
    """The sets were made in grown animals, so the age is told when the case is opened."""
    hand.press_all("Open a case", "dog")
    for label, words in (("Name", "Vesper"), ("Breed", "crossbreed"), (AGE, "5 y")):
        hand.write(label, words)
    hand.press_all("Next: weight", SCALE)
    hand.type("18.6")
    hand.press(starting("Next, with 18.6"))
    hand.press(starting("Open Vesper, dog, 18.6 kg"))
    expect(hand.page.get_by_role("main", name="assess", exact=True)).to_be_visible(timeout=ANSWER_MS)


def drawn(page: Page, address: str, *, drug: str, row: str, dose: tuple[str, str], asa: str = "II") -> Hand:
    """A healthy dog with one induction agent ordered, approved and drawn."""
    hand = Hand(page, address)
    page.goto(f"{address}/#/")
    hand.choose_hand(TECHNICIAN)
    grown_dog(hand)
    hand.phase("Assess")
    main = page.get_by_role("main")
    hand.press(asa, main)
    hand.press(starting(f"SV says {asa}"), main)
    hand.phase("Plan")
    side = hand.order(drug, re.compile(row), dose, VETERINARIAN, back=TECHNICIAN)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    hand.approve_by_mouth(VETERINARIAN, TECHNICIAN)
    hand.phase("Prepare")
    hand.draw(drug, lot="P7731", seen_by=SECOND)
    hand.phase("Induce")
    return hand


def card(hand: Hand) -> Locator:
    return hand.page.locator(".card.effect")


def push(hand: Hand, times: int = 1) -> None:
    for _ in range(times):
        summed = card(hand).locator(".amt").inner_text()
        hand.press(starting("Push "), card(hand))
        again = hand.key("Another push: write it", card(hand))
        changed = card(hand).locator(".amt").filter(has_not_text=summed)
        expect(changed.or_(again).first).to_be_visible(timeout=SLOW_MS)
        if again.count():
            hand.touch(again)
        hand.rested()


@pytest.fixture
def propofol(tablet: Page, own: Server) -> Hand:
    return drawn(tablet, own.url, drug="Propofol", row=r"^\s*induction · IV", dose=("2", "4"))


def curve(hand: Hand) -> Locator:
    return card(hand).get_by_role("img", name=starting("Expected, not measured: Propofol"))


def apart(one: Locator, other: Locator) -> bool:
    """Neither covers any of the other."""
    a, b = one.bounding_box(), other.bounding_box()
    assert a is not None
    assert b is not None
    beside = a["x"] + a["width"] <= b["x"] or b["x"] + b["width"] <= a["x"]
    return beside or a["y"] + a["height"] <= b["y"] or b["y"] + b["height"] <= a["y"]


def test_two_pushes_bring_the_curve_with_its_words_and_its_countdown(propofol: Hand) -> None:
    page = propofol.page
    expect(page.locator(".level")).to_have_count(0)
    push(propofol, 2)
    expect(curve(propofol)).to_have_attribute("aria-label", re.compile("2 pushes"), timeout=SLOW_MS)
    level = card(propofol).locator(".level")
    for words in ("≈ est., not measured", "level", "dog", "approximate"):
        expect(level).to_contain_text(words)
    expect(card(propofol)).to_contain_text(re.compile(r"≈ last push peaks (in \d:\d\d|now)"))
    peaks = card(propofol).locator(".peaks")
    assert apart(card(propofol).locator(".sum .fig"), peaks)
    assert apart(card(propofol).locator(".beside"), peaks)
    assert apart(level.locator(".head"), level.locator(".plot"))
    assert apart(level.locator(".plot"), card(propofol).locator(".rule"))
    expect(card(propofol)).to_contain_text("Stop when jaw is loose")
    expect(page.get_by_role("group", name="readings now")).not_to_contain_text("≈")
    assert card(propofol).evaluate("one => one.getBoundingClientRect().bottom") <= TABLET["height"] - 84
    propofol.touch(level.get_by_role("button", name="Propofol: all of the expected level"))
    full = page.get_by_role("region", name="Expected level", exact=True)
    for words in ("not a measurement", "orders nothing", "In so far", "Next push", "Last push", "Pace"):
        expect(full).to_contain_text(words)
    expect(card(propofol).get_by_role("button", name=starting("Push "))).to_be_visible()
    assert findings(page, Axe()) == []
    propofol.press("More below", full)
    page.reload()
    expect(curve(propofol)).to_be_visible(timeout=SLOW_MS)
    assert propofol.faults == []


def test_no_word_under_the_curve_is_larger_than_the_text_beside_it(propofol: Hand) -> None:
    """A figure that is larger than its surroundings would be read as a reading."""
    push(propofol)
    expect(curve(propofol)).to_be_visible(timeout=SLOW_MS)
    sizes = (
        card(propofol)
        .locator(".level")
        .evaluate(
            "one => [...one.querySelectorAll('*')].filter(x => x.textContent.trim() && x.children.length === 0)"
            ".map(x => parseFloat(getComputedStyle(x).fontSize))"
        )
    )
    assert sizes
    assert max(sizes) <= 18
    assert min(sizes) >= 15


def test_a_push_without_a_link_is_said_not_to_be_in_the_curve(
    propofol: Hand, own: Server, context: BrowserContext
) -> None:
    push(propofol)
    expect(curve(propofol)).to_be_visible(timeout=SLOW_MS)
    context.set_offline(True)
    own.kill()
    propofol.press(starting("Push "), card(propofol))
    expect(card(propofol).locator(".level")).to_contain_text(
        re.compile(r"push of \d\d:\d\d not yet in it"), timeout=ANSWER_MS
    )
    expect(card(propofol)).to_contain_text("not yet in the sum")
    expect(card(propofol)).not_to_contain_text("last push peaks")


def test_an_animal_for_which_no_set_was_made_is_told_so_and_its_sums_stand(tablet: Page, own: Server) -> None:
    """The sets were made in healthy animals: an ASA III patient gets no curve, only what went in."""
    hand = drawn(tablet, own.url, drug="Propofol", row=r"^\s*induction · IV", dose=("2", "4"), asa="III")
    push(hand)
    level = card(hand).locator(".level")
    expect(level).to_contain_text("No estimate", timeout=SLOW_MS)
    expect(level).to_contain_text(re.compile(r"In so far: [\d.]+ mg"))
    expect(level.locator("svg")).to_have_count(0)
    expect(card(hand)).not_to_contain_text("≈")
    hand.touch(level.get_by_role("button", name="Propofol: why there is no estimate"))
    expect(tablet.get_by_role("region", name="Expected level", exact=True)).to_contain_text("No estimate")
    assert findings(tablet, Axe()) == []
    assert hand.faults == []


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_maintain_tells_gas_mac_and_drugs(page: Page, demo: Server, size: dict[str, int]) -> None:
    """The demo's cat under isoflurane: MAC is a range, a multiple is a number, a drug without a set says why."""
    page.set_viewport_size(size)  # type: ignore[arg-type]
    board = page.request.get(f"{demo.url}/api/board").json()
    case = next(one["case"] for one in board["now"] if one["name"] == "Sorrel")
    hand = Hand(page, demo.url)
    page.goto(f"{demo.url}/#/case/{case}/maintain")
    main = page.get_by_role("main", name="maintain", exact=True)
    expect(main).to_be_visible(timeout=SLOW_MS)
    hand.press(starting("Levels"), main)
    pad = page.get_by_role("region", name="Expected levels", exact=True)
    expect(
        pad.get_by_role("img", name=starting("Isoflurane: dial as set; inspired and end-tidal expected"))
    ).to_be_visible()
    for words in ("≈ est.", "not a measurement", "MAC"):
        expect(pad).to_contain_text(words)
    assert findings(page, Axe()) == []
    hand.press("MAC", pad)
    expect(pad).to_contain_text(re.compile(r"[\d.]+ to [\d.]+ % end-tidal"))
    expect(pad.get_by_role("img", name=starting("Multiples of MAC"))).to_be_visible()
    assert findings(page, Axe()) == []
    hand.press(starting("By vein"), pad)
    expect(pad).to_contain_text("Alfaxalone")
    expect(pad).to_contain_text("No estimate")
    expect(pad).to_contain_text("In so far")
    assert findings(page, Axe()) == []
    expect(page.get_by_role("group", name="readings now")).not_to_contain_text("≈")
    hand.press("Close", pad)
    expect(pad).to_have_count(0)
    assert hand.faults == []
