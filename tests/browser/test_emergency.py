"""No time: two touches to every drug in mL, the arrest clock, and the scale that replaces the estimate."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect
from walking import ANSWER_MS, Hand, starting

from chromium import Server


def volumes(page: Page) -> dict[str, str]:
    """Each shown drug's key: name and strength, and its mL."""
    keys = page.get_by_role("region", name="Emergency", exact=True).locator("button.drug")
    return {
        keys.nth(i).locator(".of").inner_text().splitlines()[0]: keys.nth(i).locator(".ml").inner_text()
        for i in range(keys.count())
    }


def test_two_touches_give_every_volume_and_the_scale_replaces_the_estimate(page: Page, server: Server) -> None:
    hand = Hand(page, server.url)
    page.goto(f"{server.url}/#/")
    expect(page.get_by_text("No case in hand.")).to_be_visible()
    hand.press("Emergency, no time")
    hand.press("dog about 20 kg")
    sheet = page.get_by_role("region", name="Emergency", exact=True)
    expect(sheet.get_by_text("ESTIMATED")).to_be_visible(timeout=ANSWER_MS)
    expect(page.get_by_role("banner")).to_contain_text("ESTIMATED")
    hand.press(starting("Arrest:"), sheet)
    expect(sheet.get_by_role("timer")).to_be_visible()
    expect(sheet.get_by_role("heading", name="Cycle 1")).to_be_visible()
    estimated = volumes(page)
    assert estimated
    # RECOVER 2024 low dose: epinephrine 0.01 mg/kg of 1 mg/mL, 20 kg: 0.2 mL
    epinephrine = sheet.locator("button.drug", has_text=re.compile("epinephrine", re.I)).first
    expect(epinephrine.locator(".ml")).to_have_text(re.compile(r"^0\.2\s*\u2060?mL$"))
    hand.touch(epinephrine)
    expect(sheet.locator(".log")).to_contain_text(re.compile("epinephrine", re.I), timeout=ANSWER_MS)
    expect(epinephrine).to_contain_text(re.compile("due|not again"), timeout=ANSWER_MS)
    before = page.request.get(f"{server.url}/api/cases/{hand.case_id()}").json()["emergency"]
    given = page.request.get(f"{server.url}/api/cases/{hand.case_id()}/log").json()
    assert [one["event"]["drug"] for one in given if one["event"]["event"] == "DrugGiven"] == ["epinephrine"]

    # now the animal is on a scale
    hand.press("Back to the case", sheet)
    # the drug needed no name; a weight does, and is kept until it has one
    hand.weigh("24.6", "walk-on scale, 100 g step")
    banner = page.get_by_role("banner")
    expect(banner).to_contain_text("24.6")
    expect(banner).not_to_contain_text("ESTIMATED")
    hand.open_pad("Emergency")
    expect(sheet).to_contain_text("24.6 kg")
    expect(sheet).not_to_contain_text("ESTIMATED")
    weighed = volumes(page)
    assert weighed.keys() == estimated.keys()
    assert all(weighed[drug] != estimated[drug] for drug in weighed)
    after = page.request.get(f"{server.url}/api/cases/{hand.case_id()}").json()["emergency"]
    assert before["sheet_id"] != after["sheet_id"]
    assert before["estimated"]
    assert not after["estimated"]
    assert hand.faults == []
