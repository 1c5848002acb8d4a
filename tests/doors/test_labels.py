"""Labels and infusion cards on paper: sizes, codes, class words, and what must be legible without colour."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.resources import files
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
import segno
import zxingcpp
from msgspec.structs import replace
from PIL import Image
from pypdf import PdfReader

from spiracle.case.facts import Facts
from spiracle.doors import pdf
from spiracle.doors.clock import SetClock
from spiracle.doors.demo import fill, hospital_path
from spiracle.doors.log_store import open_store
from spiracle.doors.tables import load_facts
from spiracle.doors.web_paper import asked
from spiracle.doors.web_wire import Turned
from spiracle.refusals import NotOneOf, OutOfRange, Refusal, Unknown
from spiracle.sheets.case_view import case_view
from spiracle.sheets.printed_labels import CLASS_WORDS, HATCHES, address, class_word, labels_data
from spiracle.sheets.shapes import BagPartShape, BagRecipe, CaseView, DropRate, InfusionCard, Num, Running

NOW = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)
BASE = "https://house.example:8443/"
MM = 72 / 25.4
CLASSES = (
    ("Propofol", "induction", False), ("Methadone", "opioid", False), ("Dexmedetomidine", "hypnotic", False),
    ("Rocuronium bromide", "relaxant", False), ("Norepinephrine", "vasopressor", False),
    ("Glycopyrronium bromide", "anticholinergic", False), ("Bupivacaine, liposome injectable suspension", "local", False),
    ("Maropitant", "other", False), ("Naloxone", "opioid", True), ("Atipamezole", "hypnotic", True), ("Sugammadex", "relaxant", True),
)  # fmt: skip


@pytest.fixture(scope="module")
def facts() -> Facts:
    return load_facts(hospital_path())


@pytest.fixture(scope="module")
def drawn(facts: Facts, tmp_path_factory: pytest.TempPathFactory) -> Iterator[CaseView]:
    """A case of the demo that has syringes."""
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('labels') / 'log.sqlite'}", SetClock(NOW))
    fill(store, facts, SetClock(NOW))
    for row in store.case_rows():
        case, seq = store.case(row.case)
        try:
            view = case_view(case, seq, facts, NOW)
        except Refusal:  # the hospital's own ledger is no patient
            continue
        if view.prepare.drawn:
            yield view
            break
    store.close()


def num(text: str, unit: str = "mL") -> Num:
    return Num(text=text, unit=unit)


@pytest.fixture(scope="module")
def full(drawn: CaseView) -> CaseView:
    """The same case with a syringe of every class, a bag of three drugs and an infusion that runs."""
    first = drawn.prepare.drawn[0]
    syringes = tuple(
        replace(first, syringe=f"s{i}", name=name, syringe_class=class_, reversal=back, concentration="0.1 mg/mL",
                drawn=num("2.4"), diluted="1 mL of 1 mg/mL with 9 mL of saline 0.9 %", seen_by="NK", void="",
                controlled="II" if i == 1 else "", estimated=i == 2)
        for i, (name, class_, back) in enumerate(CLASSES)
    )  # fmt: skip
    void = replace(first, syringe="old", void="drawn for another weight.")
    card = InfusionCard(
        order="o1", infusion="run1", drug="fentanyl", name="fentanyl", syringe_class="opioid", strength="10 mcg/mL",
        diluted="10 mL of 50 mcg/mL with 40 mL of saline 0.9 %", ordered="5 mcg/kg/h IV", rate=num("2.1", "mL/h"),
        per_min=num("0.083", "mcg/kg/min"), per_hour=num("5", "mcg/kg/h"), loading="2 mcg/kg IV over 2 min",
        drops=(DropRate(drops_per_ml=60, per_min=num("2", "/min"), seconds_between=num("30", "s")),),
        loading_volume=num("0.84"), holds=num("50"), minutes=num("1428", "min"), controlled="II",
    )  # fmt: skip
    run = Running(
        infusion="run1", drug="fentanyl", name="fentanyl", fluid=False, rate=num("2.1", "mL/h"), since=NOW, card=card
    )
    parts = tuple(
        BagPartShape(order=d, drug=d, name=d, vial="10 mg/mL", add=num(add), amount=num(mg, "mg"), strength=s, gives=num("0.1", "mg/kg/h"))
        for d, add, mg, s in (("morphine", "6", "60", "0.12 mg/mL"), ("lidocaine", "15", "300", "0.6 mg/mL"))
    )  # fmt: skip
    bag = BagRecipe(bag="bag1", fluid="lrs", fluid_name="lactated Ringer's", holds=num("500"), total=num("500"),
                    rate=num("21", "mL/h"), lasts=num("23.8", "h"), parts=parts, mixed=True)  # fmt: skip
    return replace(drawn, prepare=replace(drawn.prepare, drawn=(*syringes, void)), plan=replace(drawn.plan, bags=(bag,)),
                   maintain=replace(drawn.maintain, running=(run,)))  # fmt: skip


def pictures(raw: bytes) -> list[Image.Image]:
    """The pages as a printer of 300 dots to the inch without colour sets them."""
    document = pypdfium2.PdfDocument(raw)
    try:
        return [page.render(scale=300 / 72).to_pil().convert("L") for page in document]
    finally:
        document.close()


@pytest.mark.parametrize("paper", ["a4", "letter", "62x29"])
def test_a_camera_reads_every_code_in_black_and_white(full: CaseView, facts: Facts, paper: str) -> None:
    """U21, U22: decoded by zxing-cpp, which knows nothing of how the code was made (ISO/IEC 18004), from a grey picture."""
    read = [
        code.text
        for page in pictures(pdf.labels_pdf(full, facts, paper, NOW, base=BASE))
        for code in zxingcpp.read_barcodes(page)
    ]
    kinds = [("syringe", s.syringe) for s in full.prepare.drawn if not s.void]
    wanted = {address(BASE, full.case, kind, id_) for kind, id_ in (*kinds, ("bag", "bag1"), ("infusion", "run1"))}
    assert wanted <= set(read), wanted - set(read)
    assert all(text.startswith(BASE) and full.case in text for text in read)


def pages_of(raw: bytes) -> list[str]:
    return [" ".join(p.extract_text().split()) for p in PdfReader(io.BytesIO(raw)).pages]


@pytest.mark.parametrize(
    ("paper", "wide", "high", "pages"), [("a4", 210, 297, 1), ("letter", 215.9, 279.4, 1), ("62x29", 62, 29, 13)]
)
def test_pages_have_the_exact_size(
    full: CaseView, facts: Facts, paper: str, wide: float, high: float, pages: int
) -> None:
    """U22: ISO 216 A4, US Letter 8.5 x 11 in, and one page of 62 x 29 mm for each label."""
    found = PdfReader(io.BytesIO(pdf.labels_pdf(full, facts, paper, NOW, base=BASE))).pages
    assert len(found) == pages
    for page in found:
        assert abs(float(page.mediabox.width) - wide * MM) < 0.1
        assert abs(float(page.mediabox.height) - high * MM) < 0.1


def test_every_label_says_drug_strength_contents_patient_and_hands(full: CaseView, facts: Facts) -> None:
    """U22, U23: nothing is cut, whatever the name's length; the class stands in words beside the colour."""
    found = pages_of(pdf.labels_pdf(full, facts, "62x29", NOW, base=BASE))
    for page, (name, class_, back) in zip(found, CLASSES, strict=False):
        for words in (name, "0.1 mg/mL", "2.4 mL = 0.24 mg", "1 mL of 1 mg/mL with 9 mL", full.collar.name, "drew", "NK saw",
                      full.collar.case[:8], class_word(class_, back)):  # fmt: skip
            assert words in page, (name, words)
    assert "CONTROLLED" in found[1]
    assert "ESTIMATED WEIGHT" in found[2]
    assert all("PRACTICE" in page for page in found)  # the demo is a practice house
    assert not any("drawn for another weight" in page for page in found)


def test_the_code_opens_the_case_at_that_syringe(full: CaseView) -> None:
    """U22: the modules printed are those of the address (ISO/IEC 18004), with an empty edge of four modules."""
    seen: list[str] = []

    def code(text: str) -> str:
        seen.append(text)
        return pdf._code(text)

    data = labels_data(full, "house", "a4", NOW, ZoneInfo("UTC"), code, base=BASE)
    assert seen[0] == f"https://house.example:8443/#/case/{full.collar.case}/syringe/s0"
    assert address("spiracle:", "c", "bag", "b") == "spiracle:#/case/c/bag/b"
    matrix = segno.make(seen[0], error="l", micro=False)
    assert modules(data["labels"][0]["code"]) == [[bool(m) for m in row] for row in matrix.matrix]


def modules(svg: str) -> list[list[bool]]:
    """The dark modules that an SVG of horizontal strokes draws, without its edge of four."""
    side = int(re.search(r'(?:width|viewBox)="(?:0 0 )?(\d+)', svg)[1])  # type: ignore[index]
    grid = [[False] * side for _ in range(side)]
    path = re.search(r' d="([^"]+)"', svg)[1]  # type: ignore[index]
    x = y = 0.0
    for kind, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        values = [float(v) for v in re.findall(r"-?\d*\.?\d+", numbers)]
        if kind == "M":
            x, y = values
        elif kind == "m":
            x, y = x + values[0], y + values[1]
        else:
            for at in range(int(x), int(x + values[0])):
                grid[int(y)][at] = True
            x += values[0]
    assert not any(any(row) for row in grid[:4] + grid[-4:])
    return [row[4:-4] for row in grid[4:-4]]


def test_some_labels_by_name_and_an_unknown_one_is_refused(full: CaseView, facts: Facts) -> None:
    """U22: the ids that would do are said; a void syringe says why it gets none."""
    two = pages_of(pdf.labels_pdf(full, facts, "62x29", NOW, only=("s3", "bag1")))
    assert len(two) == 2
    assert "Rocuronium bromide" in two[0]
    for words in (
        "DRUG ADDED",
        "Morphine 60 mg = 0.12 mg/mL",
        "Lidocaine 300 mg = 0.6 mg/mL",
        "made for 21 mL/h",
        "holds 500 mL",
    ):
        assert words in two[1].replace("\u00a0", " "), words
    with pytest.raises(Unknown, match="'nine' has no label"):
        pdf.labels_pdf(full, facts, "a4", NOW, only=("nine",))
    with pytest.raises(Unknown, match="another weight"):
        pdf.labels_pdf(full, facts, "a4", NOW, only=("old",))


def test_lines_and_pump_strips_have_labels_of_their_own(full: CaseView, facts: Facts) -> None:
    """U23: epidural and arterial lines in words and a hatch no drug has; the pump's rate beside both time bases."""
    epidural, artery, strip = pages_of(
        pdf.labels_pdf(full, facts, "62x29", NOW, only=("line:epidural", "line:arterial", "run1"))
    )
    assert "EPIDURAL ONLY" in epidural
    assert "ARTERY: NO DRUGS" in artery
    for words in ("Fentanyl", "2.1 mL/h", "0.083 mcg/kg/min", "5 mcg/kg/h", "void if weight or strength changes"):
        assert words in strip.replace("\u00a0", " "), words


def test_a_used_sheet_is_begun_at_its_first_free_place(full: CaseView, facts: Facts) -> None:
    """27 places on A4 (3 x 9): 13 labels from place 16 run on to a second sheet."""
    assert len(pages_of(pdf.labels_pdf(full, facts, "a4", NOW, start=3))) == 1
    over = pages_of(pdf.labels_pdf(full, facts, "a4", NOW, start=16))
    assert len(over) == 2
    assert "Fentanyl" in over[1]
    with pytest.raises(OutOfRange, match="1 to 27"):
        pdf.labels_pdf(full, facts, "a4", NOW, start=28)
    with pytest.raises(NotOneOf, match="62x29"):
        pdf.labels_pdf(full, facts, "a5", NOW)


def test_what_the_web_asks_for_is_read_by_name() -> None:
    want = asked({"paper": "letter", "syringe": "a, b,", "from": "4"}, BASE)
    assert (want.paper, want.only, want.start, want.base) == ("letter", ("a", "b"), 4, BASE)
    assert asked({}, BASE, "62x29").paper == "62x29"
    with pytest.raises(Turned):
        asked({"from": "-1"}, BASE)
    with pytest.raises(Turned):
        asked({"paper": "napkin"}, BASE)


def class_inks() -> dict[str, str]:
    house = (files("spiracle.doors") / "print" / "house.typ").read_text("utf-8")
    block = house.split("#let class-ink = (")[1].split("\n)")[0]
    return dict(re.findall(r'(\w+): rgb\("(#[0-9A-F]{6})"\)', block))


def luminance(hex_: str) -> float:
    """Relative luminance of sRGB (WCAG 2.2)."""
    parts = [int(hex_[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_the_name_is_legible_on_every_class_colour() -> None:
    """U22: contrast of ink on class colour at least 4.5 to 1 (WCAG 2.2, 1.4.3)."""
    inks = class_inks()
    assert set(inks) == set(CLASS_WORDS)
    dark = luminance("#1A221E")
    for name, ink in inks.items():
        assert (luminance(ink) + 0.05) / (dark + 0.05) >= 4.5, name


def test_two_classes_are_two_without_colour() -> None:
    """U22, U23: each class has its own printed word and its own hatch; a line's hatch is no drug's."""
    words = [class_word(c, back) for c in CLASS_WORDS for back in (False, True)]
    assert len(set(words)) == len(words)
    assert len(set(HATCHES.values())) == len(HATCHES) == len(CLASS_WORDS) + 1


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_infusion_cards_say_rate_bases_strength_drops_and_the_void_rule(
    full: CaseView, facts: Facts, paper: str
) -> None:
    """U10, U28: pump rate, dose in both time bases, how it is diluted, loading, drops, how long, the bag's recipe."""
    words = " ".join(pages_of(pdf.infusions_pdf(full, facts, paper, NOW))).replace("\u00a0", " ")
    for expected in ("Fentanyl", "2.1", "mL/h", "0.083 mcg/kg/min = 5 mcg/kg/h", "10 mL of 50 mcg/mL with 40 mL", "0.84 mL",
                     "60 drops/mL set: 2 /min", "1428 min", "CONTROLLED", full.collar.name, "Void if the weight or the strength changes",
                     "Morphine", "0.12 mg/mL", "lasts 23.8 h", "Verify every dose"):  # fmt: skip
        assert expected in words, expected
