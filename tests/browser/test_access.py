"""Every page of the demo by the rules of an accessibility checker and by our own sizes, in both lights, both sizes."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from walking import ANSWER_MS

from chromium import PHONE, TABLET, Server

PHASES = ("assess", "plan", "prepare", "induce", "maintain", "recover", "record")
SIZES = {"tablet": TABLET, "phone": PHONE}
AXE_OPTIONS = {"resultTypes": ["violations"]}
# Only what is shown counts: a control under a closed pad or outside the document has no box.
SMALL = """() => {
  const shown = (one) => one.checkVisibility({checkOpacity: true, checkVisibilityCSS: true});
  const said = (one) => (one.getAttribute('aria-label') || one.textContent || '').trim().slice(0, 40);
  const found = [];
  for (const one of document.querySelectorAll('button, a[href], input, textarea, select')) {
    // a figure in a line may reach out beyond its own box: the finger lands beside it
    const reach = getComputedStyle(one, '::after');
    const beyond = reach.position === 'absolute' && reach.content !== 'none'
      ? Math.max(0, -parseFloat(reach.top) - parseFloat(reach.bottom)) : 0;
    const high = one.getBoundingClientRect().height;
    if (shown(one) && high > 0 && high + (beyond || 0) < 42) found.push(`${high.toFixed(1)} px high: ${said(one)}`);
  }
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const one = texts.currentNode.parentElement;
    if (!texts.currentNode.data.trim() || !one || ['SCRIPT', 'STYLE'].includes(one.tagName) || !shown(one)) continue;
    if (one.closest('.unseen')) continue;
    const size = parseFloat(getComputedStyle(one).fontSize);
    if (size < 15) found.push(`${size} px text: ${texts.currentNode.data.trim().slice(0, 40)}`);
  }
  return [...new Set(found)];
}"""


def watched(page: Page) -> list[str]:
    faults: list[str] = []
    page.on("pageerror", lambda fault: faults.append(f"error: {fault}"))
    page.on("console", lambda said: faults.append(f"console: {said.text}") if said.type == "error" else None)
    page.on(
        "response", lambda answer: faults.append(f"{answer.status}: {answer.url}") if answer.status >= 400 else None
    )
    page.on("requestfailed", lambda asked: faults.append(f"failed: {asked.url}") if not left(asked.failure) else None)
    return faults


def left(failure: str | None) -> bool:
    """A live line that is closed because its page was left is no failure."""
    return failure == "net::ERR_ABORTED"


def findings(page: Page, axe: Axe) -> list[str]:
    violations: list[dict[str, Any]] = axe.run(page, options=AXE_OPTIONS).response["violations"]
    heavy = [
        f"{one['id']} ({one['impact']}): {node['html'][:120]}"
        for one in violations
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"][:3]
    ]
    return heavy + list(page.evaluate(SMALL))


def shown_case(page: Page, address: str, case: str, phase: str) -> None:
    page.goto(f"{address}/#/case/{case}/{phase}")
    expect(page.get_by_role("main", name=phase, exact=True)).to_be_visible(timeout=ANSWER_MS)


def walk(page: Page, address: str, cases: list[str], axe: Axe) -> dict[str, list[str]]:
    """Day sheet, opening pages, then each case by its phases and its emergency sheet."""
    seen: dict[str, list[str]] = {}
    page.goto(f"{address}/#/")
    expect(page.get_by_text("In hand")).to_be_visible(timeout=ANSWER_MS)
    seen["day sheet"] = findings(page, axe)
    for place in ("open", "no-time", "settings"):
        page.goto(f"{address}/#/{place}")
        expect(page.get_by_role("button", name="Back", exact=True)).to_be_visible(timeout=ANSWER_MS)
        seen[place] = findings(page, axe)
    for case in cases:
        for phase in PHASES:
            shown_case(page, address, case, phase)
            seen[f"{case[:4]} {phase}"] = findings(page, axe)
        page.get_by_role("button", name="Emergency", exact=True).click()
        expect(page.get_by_role("region", name="Emergency", exact=True)).to_be_visible(timeout=ANSWER_MS)
        seen[f"{case[:4]} emergency"] = findings(page, axe)
    return seen


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("light", ["light", "dark"])
def test_every_page_passes_the_checker_and_our_sizes(
    browser: Browser, browser_context_args: dict[str, Any], demo: Server, size: str, light: str
) -> None:
    context = browser.new_context(
        **{**browser_context_args, "viewport": SIZES[size], "color_scheme": light, "reduced_motion": "reduce"}
    )
    page = context.new_page()
    faults = watched(page)
    board = page.request.get(f"{demo.url}/api/board").json()
    cases = [line["case"] for part in ("now", "to_come", "ended") for line in board[part]]
    assert len(cases) >= 4
    seen = {place: found for place, found in walk(page, demo.url, cases, Axe()).items() if found}
    assert seen == {}, "\n".join(f"{place}: {line}" for place, found in seen.items() for line in found)
    assert faults == []
    context.close()
