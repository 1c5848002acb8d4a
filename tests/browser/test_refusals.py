"""Slips of a finger in the browser: named beside the field, and nothing that was typed is lost."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect
from walking import ANSWER_MS, Hand, starting

from chromium import Server

TECHNICIAN, VETERINARIAN = "Niamh Kowalczyk", "Saoirse Varga"


def dog(hand: Hand, kg: str = "8.4") -> None:
    hand.page.goto(f"{hand.address}/#/")
    hand.choose_hand(TECHNICIAN)
    hand.open_case(species="dog", name="Pepperpot", kg=kg, scale="table scale, 5 g step")


def test_a_lost_point_in_a_weight_is_named_and_asked_for_again(page: Page, server: Server) -> None:
    """84 where 8.4 stood a moment ago: ten times, the commonest slip of a number pad. Nothing is taken over silently."""
    hand = Hand(page, server.url)
    dog(hand)
    banner = page.get_by_role("banner")
    expect(banner).to_contain_text("8.4")
    hand.press(starting("Weight"), page.get_by_role("main").locator("li"))
    side = hand.sheet("Weight")
    hand.press("table scale, 5 g step", side)
    hand.type("84", side)
    hand.press(starting("Write 84"), side)
    refusal = side.get_by_role("status")
    expect(refusal.first).to_contain_text("8.4", timeout=ANSWER_MS)
    expect(side).to_contain_text("84 kg was typed once")
    expect(banner).to_contain_text("8.4")
    # the right figure, now typed, is written at once and the sheet closes
    hand.type("8.4", side)
    hand.rested()
    hand.press(starting("Write 8.4"), side)
    try:
        expect(side).to_have_count(0, timeout=2500)
    except AssertionError:  # the key rests after a refusal: a hand touches again
        hand.press(starting("Write 8.4"), side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    log = page.request.get(f"{server.url}/api/cases/{hand.case_id()}/log").json()
    assert [one["event"]["weight_kg"] for one in log if one["event"]["event"] == "Weighed"] == [8.4, 8.4]


def test_a_tenfold_dose_is_refused_beside_its_field_and_stays_typed(page: Page, server: Server) -> None:
    """3 mg/kg of methadone where 0.3 was meant: over the row's hard stop of 1 mg/kg."""
    hand = Hand(page, server.url)
    dog(hand)
    hand.phase("Plan")
    side = hand.order("Methadone", re.compile(r"bolus \(IM\)"), "3", VETERINARIAN, back=TECHNICIAN)
    field = side.get_by_role("button", name=re.compile("^dose "))
    expect(side.locator(".refuse")).to_be_visible(timeout=ANSWER_MS)
    expect(side.locator(".refuse")).to_contain_text(re.compile("ten times|0.3|hard stop"))
    expect(field).to_have_text(re.compile("^3"))
    expect(field).to_have_class(re.compile(r"\bbad\b"))
    assert page.request.get(f"{server.url}/api/cases/{hand.case_id()}").json()["plan"]["lines"] == []
    hand.press("take one away", side)
    hand.type("0.3", side)
    hand.press(starting("Order methadone 0.3 mg"), side)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    expect(page.get_by_role("table", name="Orders")).to_contain_text("0.3 mg", timeout=ANSWER_MS)


def test_a_figure_typed_over_the_planned_volume_replaces_it(page: Page, server: Server) -> None:
    """The Give pad opens with the planned volume; the first number key begins a new figure, the point key too."""
    hand = Hand(page, server.url)
    dog(hand, "25")
    hand.phase("Plan")
    side = hand.order("Methadone", re.compile(r"bolus \(IM\)"), "0.2", VETERINARIAN, back=TECHNICIAN)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    hand.approve_by_mouth(VETERINARIAN, TECHNICIAN)
    hand.phase("Prepare")
    assert hand.draw("Methadone", lot="M1", seen_by="Tobias Brandl") == "0.5"  # 25 kg x 0.2 mg/kg / 10 mg/mL
    hand.open_pad("Give")
    pad = page.get_by_role("region", name="Give", exact=True)
    hand.type("0.6", pad)
    field = pad.locator(".vol .field")
    expect(field).to_have_text(re.compile(r"^0\.6\s*mL"))
    hand.press_all("take one away", "4", where=pad)
    expect(field).to_have_text(re.compile(r"^0\.4\s*mL"))


def test_a_volume_ten_times_the_order_is_not_written(page: Page, server: Server) -> None:
    hand = Hand(page, server.url)
    dog(hand, "25")
    hand.phase("Plan")
    side = hand.order("Methadone", re.compile(r"bolus \(IM\)"), "0.2", VETERINARIAN, back=TECHNICIAN)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    hand.approve_by_mouth(VETERINARIAN, TECHNICIAN)
    hand.phase("Prepare")
    hand.draw("Methadone", lot="M1", seen_by="Tobias Brandl")
    hand.open_pad("Give")
    pad = page.get_by_role("region", name="Give", exact=True)
    hand.type("5", pad)
    hand.press(starting("Given 5 mL: refused"), pad)
    expect(pad).to_contain_text("ten times the order")
    expect(pad.locator(".vol .field")).to_have_text(re.compile(r"^5\s*mL"))
    log = page.request.get(f"{server.url}/api/cases/{hand.case_id()}/log").json()
    assert all(one["event"]["event"] != "DrugGiven" for one in log)
