"""Pictures of every page of the demo, to look at: `PYTHONPATH=tests python tests/browser/screens.py FOLDER`. A script, not a test."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, TimeoutError, expect, sync_playwright
from walking import starting

from chromium import FLAGS, Server

SIZES = {"tablet": (1180, 820), "upright": (820, 1180), "phone": (390, 844)}
PHASES = ("assess", "plan", "prepare", "induce", "maintain", "recover", "record")


def settled(page: Page) -> None:
    page.evaluate("document.fonts.ready")
    page.wait_for_load_state("load")


def pages(page: Page, address: str, cases: dict[str, str], folder: Path, tail: str) -> None:
    def picture(name: str) -> None:
        settled(page)
        page.screenshot(path=folder / f"{name}-{tail}.png")

    page.goto(f"{address}/#/")
    expect(page.get_by_text("In hand")).to_be_visible()
    picture("day-sheet")
    for place in ("open", "no-time", "settings", "machines"):
        page.goto(f"{address}/#/{place}")
        expect(page.get_by_role("button", name="Back", exact=True)).to_be_visible()
        picture(place)
    for animal, case in cases.items():
        for phase in PHASES:
            page.goto(f"{address}/#/case/{case}/{phase}")
            expect(page.get_by_role("main", name=phase, exact=True)).to_be_visible()
            picture(f"{animal}-{phase}")
        page.get_by_role("button", name="Emergency", exact=True).click()
        expect(page.get_by_role("region", name="Emergency", exact=True)).to_be_visible()
        picture(f"{animal}-emergency")
    asleep = next(iter(cases))
    pads(page, f"{address}/#/case/{cases[asleep]}", picture)


def pads(page: Page, case: str, picture: object) -> None:
    def at(phase: str) -> None:
        page.goto(f"{case}/{phase}")
        expect(page.get_by_role("main", name=phase, exact=True)).to_be_visible()

    assert callable(picture)
    for pad in ("Give", "Note"):
        at("maintain")
        key = page.get_by_role("navigation", name="Phases and pads").get_by_role("button", name=pad, exact=True)
        key.click()
        expect(page.get_by_role("region", name=pad, exact=True)).to_be_visible()
        picture(f"pad-{pad.lower()}")
        page.reload()
    at("maintain")
    page.get_by_role("button", name="Five-minute row").click()
    picture("pad-row-signs")
    numbers = page.get_by_role("region", name="five-minute row").get_by_role("button", name=starting("Numbers"))
    if numbers.count():
        numbers.click()
        picture("pad-row-numbers")
    at("plan")
    page.get_by_role("button", name="Order a drug").click()
    side = page.get_by_role("complementary", name="An order", exact=True)
    picture("order-drugs")
    side.get_by_role("button", name=starting("methadone")).click()
    picture("order-rows")
    side.get_by_role("listitem").first.get_by_role("button").click()
    picture("order-entry")


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as room, sync_playwright() as play:
        demo = Server("--demo", "--database", f"sqlite:///{room}/demo.sqlite")
        chromium = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        try:
            board = chromium.new_context().request.get(f"{demo.url}/api/board").json()
            cases = {line["name"].lower(): line["case"] for part in ("now", "to_come", "ended") for line in board[part]}
            for size, (width, height) in SIZES.items():
                for light in ("light", "dark"):
                    context = chromium.new_context(
                        viewport={"width": width, "height": height}, color_scheme=light, reduced_motion="reduce"
                    )
                    try:
                        pages(context.new_page(), demo.url, cases, folder, f"{size}-{light}")
                    except (AssertionError, TimeoutError) as fault:
                        sys.stderr.write(f"{size} {light}: {fault}\n")
                    context.close()
        finally:
            demo.kill()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
