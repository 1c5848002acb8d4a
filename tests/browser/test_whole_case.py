"""One planned case by touches alone, from the empty day sheet to the signed print."""

from __future__ import annotations

import io
import re
import subprocess
from decimal import Decimal
from pathlib import Path

from playwright.sync_api import Page, expect
from pypdf import PdfReader
from walking import ANSWER_MS, Hand, starting

from chromium import SPIRACLE, Server

KG = Decimal("18.6")
TECHNICIAN, VETERINARIAN, SECOND = "Niamh Kowalczyk", "Saoirse Varga", "Tobias Brandl"


def admit(hand: Hand) -> str:
    hand.page.goto(f"{hand.address}/#/")
    hand.choose_hand(TECHNICIAN)
    case = hand.open_case(
        species="dog",
        name="Vesper",
        kg="18.6",
        scale="walk-on scale, 100 g step",
        breed="crossbreed",
        procedure="dental extraction",
    )
    expect(hand.page.get_by_role("banner")).to_contain_text("18.6")
    return case


def assess(hand: Hand) -> None:
    hand.phase("Assess")
    hand.fact("Owner", words={"Name": "I. Fairclough", "Telephone, reachable all day": "01 555 0177"})
    hand.fact("Consent", "written", "full", words={"To what": "dental extraction"})
    hand.fact("Allergies", "None known")
    hand.fact("Temperament", "calm")
    hand.examined(Temperature="38.4", Heart_rate="96", Breaths="20")
    main = hand.page.get_by_role("main")
    expect(main).to_contain_text("38.4")
    hand.press("II", main)
    hand.press(starting("SV says II"), main)
    expect(main).to_contain_text("by SV", timeout=ANSWER_MS)
    expect(hand.page.get_by_role("banner")).to_contain_text("None known")


def order(hand: Hand) -> None:
    hand.phase("Plan")
    side = hand.order("Methadone", re.compile(r"bolus \(IM\)"), ("0.2", "0.3"), VETERINARIAN, back=TECHNICIAN)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    side = hand.order("Propofol", re.compile(r"^\s*induction · IV"), ("2", "4"), VETERINARIAN, back=TECHNICIAN)
    expect(side).to_have_count(0, timeout=ANSWER_MS)
    orders = hand.page.get_by_role("table", name="Orders")
    expect(orders).to_contain_text("Methadone")
    expect(orders).to_contain_text("Propofol")
    expect(orders).to_contain_text("oral")
    hand.approve_by_mouth(VETERINARIAN, TECHNICIAN)
    expect(hand.page.get_by_role("main")).to_contain_text("signed SV", timeout=ANSWER_MS)


def prepare(hand: Hand) -> dict[str, Decimal]:
    hand.phase("Prepare")
    drawn = {
        "methadone": Decimal(hand.draw("Methadone", lot="M2209", seen_by=SECOND)),
        "propofol": Decimal(hand.draw("Propofol", lot="P7731", seen_by=SECOND)),
    }
    assert hand.read_list("Machine") > 5
    assert hand.read_list("Patient") > 3
    return drawn


def premedicate(hand: Hand) -> None:
    assert hand.give("Methadone", less=5) == "0.5"
    hand.vein("left fore", "20 G")
    expect(hand.page.get_by_role("main")).to_contain_text("left fore")


def induce(hand: Hand) -> Decimal:
    """Two pushes; the volume that went in, in mL. 10 mg in each mL: the running sum is worked out here by hand."""
    hand.phase("Induce")
    card = hand.page.locator(".card.effect")
    given = Decimal(0)
    for _ in range(2):
        push = hand.key(starting("Push "), card)
        found = re.search(r"Push ([\d.]+) mL", push.inner_text())
        assert found
        given += Decimal(found[1])
        hand.touch(push)
        again = hand.key("Another push: write it", card)
        total = card.get_by_text(f"{given * 10:f} mg".replace(".0 mg", " mg"))
        expect(total.or_(again).first).to_be_visible(timeout=ANSWER_MS)
        if again.count():
            hand.touch(again)
        expect(total.first).to_be_visible(timeout=ANSWER_MS)
        per_kg = given * 10 / KG
        expect(card.locator(".sum")).to_contain_text(re.compile(rf"^\s*({per_kg:.2f}|{per_kg:.3g}|{per_kg:.3f})\D"))
        hand.rested()
    return given


def intubate(hand: Hand) -> None:
    airway, proofs = hand.page.locator(".card.airway"), hand.page.locator(".card.prove")
    hand.press(starting("Attempt 1 begins"), airway)
    hand.press("Tube in", airway)
    expect(airway).to_contain_text("tube in after", timeout=ANSWER_MS)
    hand.press(starting("Breaths"), proofs)
    hand.press("6", proofs)
    expect(proofs).to_contain_text("6 of 6", timeout=ANSWER_MS)
    signs = proofs.locator(".sign")
    expect(signs.last).to_be_visible(timeout=ANSWER_MS)  # the number keys have gone from over them
    for at in range(signs.count()):
        hand.touch(signs.nth(at))
        if proofs.get_by_role("group", name="number keys").count():
            hand.type("24", proofs)
            hand.press(starting("Write 24"), proofs)
        expect(signs.nth(at)).to_have_attribute("aria-pressed", "true", timeout=ANSWER_MS)
    proven = hand.key(re.compile("^\\s*Airway proven\\s*$"), proofs)
    hand.touch(proven)
    expect(proofs).to_contain_text("proven ", timeout=ANSWER_MS)
    hand.press("cuff pressure", airway)
    hand.type("22", airway)
    hand.press(starting("Write 22"), airway)
    expect(airway.get_by_role("button", name="cuff pressure")).to_contain_text("22", timeout=ANSWER_MS)


def maintain(hand: Hand) -> None:
    hand.phase("Maintain")
    main = hand.page.get_by_role("main")
    hand.press(starting("Dial"), main)
    hand.press(re.compile("^\\s*isoflurane\\s*$", re.I), main)
    hand.type("1.5", main)
    hand.press(starting("Dial set to 1.5"), main)
    expect(hand.key(starting("isoflurane"), main)).to_contain_text("1.5", timeout=ANSWER_MS)
    hand.open_pad("Give")
    give = hand.page.get_by_role("region", name="Give", exact=True)
    hand.press_all("Fluid bolus", "Isotonic crystalloid", "To run, mL/h", where=give)
    hand.type("90", give)
    hand.press(starting("Running at 90"), give)
    expect(give).to_have_count(0, timeout=ANSWER_MS)
    hand.row(
        ("down", "loose", "strong", "pink"),
        {"HR": "104", "SpO₂": "98", "CO₂": "43", "Resp": "12", "T": "37.6", "Agent": "1.4"},
        ("112", "78", "61"),
    )
    chart = hand.page.get_by_role("group", name=re.compile("^Chart, .*: 1 rates, 1 pressures"))
    expect(chart).to_be_visible(timeout=ANSWER_MS)
    expect(chart.locator("text.figure", has_text="37.6")).to_be_visible()


def trouble(hand: Hand) -> None:
    main = hand.page.get_by_role("main")
    hand.press(starting("Trouble"), main)
    hand.press(re.compile("hypotension|Low pressure", re.I), main)
    hand.press("Treated", main)
    hand.press("lighter", main)
    expect(main).to_contain_text("lighter", timeout=ANSWER_MS)
    hand.press("Over, better", main)
    expect(main).to_contain_text("none open", timeout=ANSWER_MS)
    hand.press("Close", main)


def strike(hand: Hand) -> None:
    """A wrong entry: struck, not gone."""
    hand.phase("Record")
    main = hand.page.get_by_role("main")
    line = main.locator(".log .line", has_text="Eye: down").first
    expect(line).to_be_visible(timeout=ANSWER_MS)
    line.tap()
    hand.press("Strike", main)
    hand.press("wrong key", main)
    struck = main.locator(".log .line", has_text="wrong key")
    expect(struck.first).to_be_visible(timeout=ANSWER_MS)
    expect(struck.locator(".text .struck")).to_have_text("Eye: down")


def wake(hand: Hand) -> None:
    hand.phase("Maintain")
    hand.press(starting("isoflurane"), hand.page.get_by_role("main"))
    hand.press("Off", hand.page.get_by_role("main"))
    hand.note("Agent off")
    expect(hand.page.get_by_role("region", name="Note", exact=True)).to_have_count(0, timeout=ANSWER_MS)
    hand.phase("Recover")
    main = hand.page.get_by_role("main")
    signs = main.locator("button.line[aria-pressed]")
    for at in range(signs.count()):
        hand.touch(signs.nth(at))
        expect(signs.nth(at)).to_have_attribute("aria-pressed", "true")
    expect(hand.key(starting("Tube out"), main)).to_contain_text("every line is met")
    hand.press(starting("Tube out"), main)
    expect(main).to_contain_text("Tube is out", timeout=ANSWER_MS)
    hand.press(re.compile(SECOND), main)
    hand.press_all("5 min", "Recovery", starting("TB watches"), where=main)
    hand.press(re.compile("^Look"), main)
    hand.type("92", main)
    hand.press(starting("Breaths"), main)
    hand.type("18", main)
    hand.press_all("pink", "sternal", "Write the look", where=main)
    expect(main.locator(".look", has_text="92")).to_be_visible(timeout=ANSWER_MS)
    hand.press("Hand over", main)
    hand.press(re.compile(SECOND), main)
    hand.press("TB read it back", main)
    expect(main).to_contain_text("to TB", timeout=ANSWER_MS)
    hand.press("Leaves", main)
    hand.press("home", main)
    expect(main).to_contain_text("home", timeout=ANSWER_MS)
    hand.press("Called", main)
    hand.press("well", main)
    expect(main).to_contain_text("well", timeout=ANSWER_MS)


def close(hand: Hand) -> None:
    """What is left of the controlled drug goes before a witness; then two hands sign."""
    hand.phase("Record")
    main = hand.page.get_by_role("main")
    balance = main.locator(".one", has_text="Methadone")
    hand.press(starting("Wasted"), balance)
    hand.press(re.compile(SECOND), balance)
    expect(balance).to_have_count(0, timeout=ANSWER_MS)
    hand.press(starting("Sign as NK"), main)
    expect(hand.key(starting("Technician: NK"), main)).to_be_visible(timeout=ANSWER_MS)
    hand.choose_hand(VETERINARIAN)
    hand.press(starting("Sign as SV"), main)
    expect(hand.key(starting("Veterinarian: SV"), main)).to_be_visible(timeout=ANSWER_MS)


def printed(hand: Hand) -> str:
    link = hand.page.get_by_role("link", name=starting("Print A4")).get_attribute("href")
    assert link
    answer = hand.page.request.get(hand.address + link)
    assert answer.ok
    assert answer.headers["content-type"] == "application/pdf"
    text = "\n".join(p.extract_text() for p in PdfReader(io.BytesIO(answer.body())).pages)
    return re.sub(r"\s+", " ", text.replace("\u2060", "").replace("\u00a0", " "))


def test_a_planned_case_from_the_first_touch_to_the_signed_print(page: Page, server: Server, tmp_path: Path) -> None:
    hand = Hand(page, server.url)
    admit(hand)
    assess(hand)
    order(hand)
    drawn = prepare(hand)
    # 0.2 to 0.3 mg/kg of 10 mg/mL for 18.6 kg is 0.372 to 0.558 mL; 2 to 4 mg/kg is 3.72 to 7.44 mL.
    assert Decimal("0.37") <= drawn["methadone"] <= Decimal("0.56")
    assert Decimal("3.7") <= drawn["propofol"] <= Decimal("7.5")
    premedicate(hand)
    pushed = induce(hand)
    intubate(hand)
    maintain(hand)
    trouble(hand)
    strike(hand)
    wake(hand)
    close(hand)
    text = printed(hand)
    printed_words = ["Vesper", "18.6 kg", "crossbreed", "I. Fairclough", "Methadone", "5 mg", "0.5 mL", "Propofol"]
    printed_words += [f"{pushed / 2} mL", f"{pushed * 10:.0f} mg", "wrong key", "ID", "CO₂", "soflurane", "NK", "SV"]
    printed_words += [
        "signed by the technician",
        "signed by the veterinarian",
        "decision support and a record",
        "predicted",
    ]
    for words in printed_words:
        assert words in text, f"{words!r} is not printed"
    assert hand.faults == []
    said = subprocess.run(
        [SPIRACLE, "verify", "--database", f"sqlite:///{tmp_path / 'log.sqlite'}"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert said.returncode == 0, said.stdout + said.stderr
    assert "whole" in said.stdout
