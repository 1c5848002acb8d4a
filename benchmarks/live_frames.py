"""How often the live page is drawn, and the longest wait between two frames: `PYTHONPATH=tests python benchmarks/live_frames.py`.

The demo's monitor in Chromium without a graphics card (every pixel by the processor), CO2 at 100 samples a second and the pulse wave at
its side, five seconds on each page. Goal on a tablet: 60 frames a second.
"""

from __future__ import annotations

import re
import shutil
import tempfile

from playwright.sync_api import Page, sync_playwright

from chromium import FLAGS, TABLET, Server

COUNT = """() => new Promise(done => {
  const began = performance.now(); let last = began, frames = 0; const waits = [];
  const frame = now => {
    waits.push(now - last); last = now; frames += 1;
    if (now - began < 5000) return requestAnimationFrame(frame);
    waits.sort((a, b) => a - b);
    done([frames * 1000 / (now - began), waits[Math.floor(waits.length * 0.99)]]);
  };
  requestAnimationFrame(frame);
})"""


def told(page: Page, what: str) -> None:
    per_second, longest = page.evaluate(COUNT)
    print(f"{what:<28} {per_second:5.1f} frames/s, 99 of 100 waits under {longest:.0f} ms")


def main() -> None:
    with tempfile.TemporaryDirectory() as room, sync_playwright() as play:
        demo = Server("--demo", "--database", f"sqlite:///{room}/demo.sqlite")
        chromium = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        try:
            page = chromium.new_context(viewport=TABLET).new_page()  # type: ignore[arg-type]
            board = page.request.get(f"{demo.url}/api/board").json()
            case = next(line["case"] for line in board["now"] if line["name"] == "Larch")
            page.goto(f"{demo.url}/#/case/{case}/record")
            page.get_by_role("main").wait_for()
            told(page, "a page without a wave")
            page.goto(f"{demo.url}/#/case/{case}/maintain")
            page.locator("main canvas").first.wait_for(timeout=60_000)
            told(page, "Maintain, CO2 in the strip")
            page.get_by_role("button", name=re.compile("^Live:")).click()
            page.get_by_role("region", name="Live", exact=True).locator("canvas").nth(1).wait_for()
            told(page, "Live, CO2 and pulse wave")
        finally:
            demo.kill()


if __name__ == "__main__":
    main()
