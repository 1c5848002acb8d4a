"""The live panel in the browser: a wave that moves, numbers that age, a picture held and measured, a row charted by one touch, a monitor
taken off and put on, and the proof of a tube taken over from what it breathed. Carries D5, D6, D7.

The monitors are the demo's own and a recording played over the real HL7 door. Its trace is drawn here from its rate and height, so
that what the panel should read off it is known: 30 breaths a minute are 2 s apart, and the plateau is 40 mmHg.
"""

from __future__ import annotations

import math
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Locator, Page, expect
from walking import ANSWER_MS, Hand, starting

from chromium import SPIRACLE, Server
from postgres import free_port
from served import wait_for

STALE_MS = 60_000  # dashes come at 30 s; a slow machine may say them late
BREATH_S, PLATEAU = 2.0, 40.0


class Ward(Server):
    """A demo hospital of its own, whose monitors may also come in by HL7."""

    def __init__(self, room: Path) -> None:
        self.door = f"127.0.0.1:{free_port()}"
        super().__init__("--demo", "--database", f"sqlite:///{room / 'demo.sqlite'}", "--mllp", self.door)

    def start(self) -> None:
        self.process = subprocess.Popen(self.words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        said = []
        for line in self.process.stdout or ():
            said.append(line)
            if line.startswith("Spiracle is at"):
                break
        else:
            raise RuntimeError("".join(said))
        wait_for(self.answers, 60)

    def answers(self) -> bool:
        try:
            return httpx.get(f"{self.url}/api/hospital").status_code == 200
        except httpx.TransportError:
            return False


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    """Here the wave is swept, as on a tablet that asks for no calm."""
    return {**browser_context_args, "reduced_motion": "no-preference"}


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    found = Ward(tmp_path)
    yield found
    found.kill()


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Two minutes at 50 a second: square breaths with a short rise and fall, a pulse of 100, numbers once a second."""
    file = tmp_path / "recording.csv"
    lines = ["time_s,co2_mmhg,pleth,pulse_per_min,spo2_percent,etco2_mmhg,respiratory_rate_per_min"]
    for n in range(120 * 50):
        t = n / 50
        phase = t % BREATH_S
        co2 = PLATEAU * min(1.0, phase / 0.1) if phase < 1.0 else PLATEAU * max(0.0, 1.0 - (phase - 1.0) / 0.1)
        pleth = 500 + 400 * math.sin(2 * math.pi * t * 100 / 60)
        numbers = "100,97,40,30" if n % 50 == 0 else ",,,"
        lines.append(f"{t:.2f},{co2:.1f},{pleth:.0f},{numbers}")
    file.write_text("\n".join(lines) + "\n")
    return file


@pytest.fixture
def player(ward: Ward, recording: Path) -> Iterator[subprocess.Popen[str]]:
    words = [str(SPIRACLE), "play", str(recording), "--to", ward.door, "--as", "Bench", "--place", "Prep", "--loop"]
    playing = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True)
    yield playing
    playing.kill()
    playing.wait()


def case_of(page: Page, ward: Ward, name: str) -> str:
    board = page.request.get(f"{ward.url}/api/board").json()
    return next(line["case"] for part in ("now", "to_come", "ended") for line in board[part] if line["name"] == name)


def opened(page: Page, ward: Ward, name: str, phase: str) -> Hand:
    hand = Hand(page, ward.url)
    page.goto(f"{ward.url}/#/")
    hand.choose_hand("Niamh Kowalczyk")
    page.goto(f"{ward.url}/#/case/{case_of(page, ward, name)}/{phase}")
    expect(page.get_by_role("main", name=phase, exact=True)).to_be_visible(timeout=ANSWER_MS)
    return hand


def live_page(hand: Hand) -> Locator:
    hand.press(starting("Live:"))
    found = hand.page.get_by_role("region", name="Live", exact=True)
    expect(found).to_be_visible(timeout=ANSWER_MS)
    return found


def logged(hand: Hand, event: str) -> list[dict[str, Any]]:
    log = hand.page.request.get(f"{hand.address}/api/cases/{hand.case_id()}/log").json()
    return [one["event"] for one in log if one["event"]["event"] == event]


PICTURE = "one => one.toDataURL()"
INK = "one => new Uint32Array(one.getContext('2d').getImageData(0, 0, one.width, one.height).data.buffer).some(p => p)"
FULL = """one => {
  const on = one.getContext('2d'), slices = 16, wide = Math.floor(one.width / slices);
  const inked = i => new Uint32Array(on.getImageData(i * wide, 0, wide, one.height).data.buffer).some(p => p);
  return Array.from({length: slices}, (_, i) => inked(i)).filter(Boolean).length >= slices - 1;
}"""
CHANGED = "([one, was]) => one.toDataURL() !== was"


def moves(canvas: Locator) -> None:
    handle = canvas.element_handle()
    assert handle
    page = canvas.page
    page.wait_for_function(INK, arg=handle, timeout=STALE_MS)
    for _ in range(3):
        page.wait_for_function(CHANGED, arg=[handle, handle.evaluate(PICTURE)], timeout=ANSWER_MS)


def test_the_wave_moves_is_held_and_is_measured(tablet: Page, ward: Ward) -> None:
    """The demo's monitor breathes 12 a minute: from one start to the next it is 5 s."""
    hand = opened(tablet, ward, "Larch", "maintain")
    moves(tablet.locator("main canvas").first)
    page = live_page(hand)
    moves(page.locator("canvas").first)
    tablet.wait_for_function(FULL, arg=page.locator("canvas").first.element_handle(), timeout=STALE_MS)
    expect(page.get_by_text(re.compile("Read on the wave: 12/min"))).to_be_visible(timeout=STALE_MS)
    hand.press("Freeze", page)
    expect(page).to_contain_text("held at", timeout=ANSWER_MS)
    held = page.locator("canvas").first.evaluate(PICTURE)
    expect(page).to_contain_text(re.compile(r"held at [\d:]+, [2-9] s ago"), timeout=ANSWER_MS)
    assert page.locator("canvas").first.evaluate(PICTURE) == held
    hand.press("Measure", page)
    over = page.get_by_role("button", name="set a point")
    box = over.bounding_box()
    assert box
    across = box["width"] / 4  # 5 s of 20
    said = page.get_by_role("status").filter(has_text=re.compile(r"\d s"))
    found = None
    for begin in (0.3, 0.05, 0.6, 0.7):  # where the pen stands, and what is not drawn yet, there is nothing to measure
        for x in (box["width"] * begin, box["width"] * begin + across):
            over.tap(position={"x": x, "y": 30})
        expect(said).to_contain_text(re.compile(r"[\d.]+ s"), timeout=ANSWER_MS)
        found = re.search(r"([\d.]+) s · [^·]*mmHg · ([\d.]+) /min", said.inner_text().replace("\n", " "))
        if found:
            break
    assert found, said.inner_text()
    seconds, rate = float(found[1]), float(found[2])
    # the same place of two breaths; with the pen between them it is the other way round the sheet
    assert (
        min(abs(seconds - 5), abs(seconds - 15)) < 0.6
    )  # a touch snaps to a mark of its breath, up to half a second away
    assert rate == pytest.approx(60 / seconds, rel=0.02)
    hand.press(starting("Let go"), page)
    expect(page).not_to_contain_text("held at")
    moves(page.locator("canvas").first)
    assert hand.faults == []


def test_one_touch_charts_the_row_and_one_strikes_it(tablet: Page, ward: Ward) -> None:
    hand = opened(tablet, ward, "Larch", "maintain")
    page = live_page(hand)
    expect(page.get_by_role("list", name="numbers of the monitor")).to_contain_text("now", timeout=STALE_MS)
    before = {one["id"] for one in logged(hand, "ReadingTaken")}
    hand.press(starting("Chart this row"), page)
    hand.press(starting("Write "), page)
    undo = tablet.get_by_role("button", name=re.compile("Undo$"))
    expect(undo).to_contain_text("from the monitor", timeout=ANSWER_MS)
    hand.touch(undo)

    def written() -> list[dict[str, Any]]:
        return [one for one in logged(hand, "ReadingTaken") if one["id"] not in before]

    expect(tablet.get_by_role("banner")).not_to_contain_text("waiting", timeout=ANSWER_MS)
    wait_for(lambda: len(written()) >= 5)
    found = {one["reading"]: one for one in written()}
    assert {"heart_rate", "spo2", "etco2", "respiratory_rate"} <= found.keys()
    for one in found.values():
        assert (one["source"], one["monitor"], one["quality"]) == ("device", "demo-theatre-2", "good")
        assert one["raw"] and one["row_at"]
    struck = {one["target"] for one in logged(hand, "EntryStruck")}
    wait_for(lambda: {one["id"] for one in written()} <= {one["target"] for one in logged(hand, "EntryStruck")})
    assert hand.faults == [], struck


def test_a_monitor_is_taken_off_and_put_on_by_a_person(tablet: Page, ward: Ward) -> None:
    hand = opened(tablet, ward, "Larch", "maintain")
    page = live_page(hand)
    hand.press(starting("Monitor"), page)
    hand.press("Take it off this patient", page)
    hand.press("moved", page)
    expect(page).to_contain_text("No monitor is paired", timeout=ANSWER_MS)
    hand.rested()
    hand.press(starting("Monitor, theatre 2"), page.get_by_role("list", name="monitors that are heard"))
    hand.press(starting("pulse felt with it"), page)
    expect(page.get_by_role("list", name="numbers of the monitor")).to_contain_text("now", timeout=STALE_MS)
    (off,) = logged(hand, "MonitorUnpaired")
    assert (off["monitor"], off["reason"]) == ("demo-theatre-2", "moved")
    assert logged(hand, "MonitorPaired")[-1]["seen"] == "pulse felt with it"
    assert hand.faults == []


def test_what_a_monitor_breathes_is_offered_as_proof_and_ages_when_it_stops(
    tablet: Page, ward: Ward, player: subprocess.Popen[str]
) -> None:
    hand = opened(tablet, ward, "Bosun", "induce")
    hand.press(starting("Pair one"), tablet.locator(".card.prove"))
    page = tablet.get_by_role("region", name="Live", exact=True)
    hand.press(starting("Bench"), page.get_by_role("list", name="monitors that are heard"))
    hand.press(starting("alone in the room"), page)
    expect(page.get_by_role("list", name="numbers of the monitor")).to_contain_text("97", timeout=STALE_MS)
    hand.press("Close", page)
    airway, proofs = tablet.locator(".card.airway"), tablet.locator(".card.prove")
    hand.press(starting("Attempt 1 begins"), airway)
    hand.press("Tube in", airway)
    over = proofs.get_by_role("button", name=starting("Take over"))
    expect(over).to_contain_text("6 breaths", timeout=STALE_MS)
    assert logged(hand, "ProofNoted") == []  # never by itself
    hand.touch(over)
    expect(proofs).to_contain_text("of 6", timeout=ANSWER_MS)
    wait_for(lambda: logged(hand, "ProofNoted"))
    (proof,) = logged(hand, "ProofNoted")
    assert (proof["sign"], proof["by"] != "") == ("co2", True)
    assert proof["breaths"] >= 6
    ribbon = tablet.get_by_role("group", name="readings now")
    expect(ribbon).to_contain_text("now", timeout=ANSWER_MS)
    player.kill()
    expect(ribbon).to_contain_text(re.compile(r"1\d s ago"), timeout=STALE_MS)
    expect(proofs).to_contain_text(re.compile(r"no word from Bench since \d+ s"), timeout=STALE_MS)
    expect(over).to_have_count(0)  # nothing is taken over from a silent monitor
    breaths, keys = (
        proofs.locator(".six > *").last.bounding_box(),
        proofs.get_by_role("button", name=starting("Breaths")).bounding_box(),
    )
    assert breaths and keys
    assert breaths["x"] + breaths["width"] <= keys["x"]
    expect(ribbon).to_contain_text(re.compile(r"last 97, \d+ s ago"), timeout=STALE_MS)
    assert hand.faults == []


def test_without_a_link_the_picture_stands_and_says_so(tablet: Page, ward: Ward) -> None:
    hand = opened(tablet, ward, "Larch", "maintain")
    canvas = tablet.locator("main canvas").first
    moves(canvas)
    ward.kill()
    strip = hand.key(starting("Live:"))
    expect(strip).to_contain_text("no link since", timeout=ANSWER_MS)
    now = tablet.get_by_role("group", name="readings now")
    expect(now).to_contain_text(re.compile(r"1\d s ago"), timeout=STALE_MS)  # what had come is drawn to its end by then
    stands = canvas.evaluate(PICTURE)
    expect(now).to_contain_text(re.compile(r"1[4-9] s ago|2\d s ago|– –"), timeout=STALE_MS)
    assert canvas.evaluate(PICTURE) == stands
