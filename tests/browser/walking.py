"""A hand on the tablet: each step of a case as touches, every touched control measured first."""

from __future__ import annotations

import re
from collections.abc import Iterable
from re import Pattern

from playwright.sync_api import Locator, Page, expect

FINGER = 62
"""Smaller side of a key in CSS pixels: the tablet's own rule for a gloved finger at arm's length."""
LINE_HEIGHT, LINE_WIDTH = 42, 180
"""A line of a list is a control too: it may be lower than a key when it is wide, never lower than this."""
ANSWER_MS = 10_000
UNCOVERED_MS = 8_000
"""The undo strip may lie over a phase for five seconds."""

Words = str | Pattern[str]


def starting(words: str) -> Pattern[str]:
    """A control whose name begins so: a key's second, lighter line comes after its words."""
    return re.compile(rf"^\s*{re.escape(words)}", re.I)


def is_key(control: Locator) -> bool:
    return bool(control.evaluate("one => one.classList.contains('key')"))


class Hand:
    """One finger on one page."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address = page, address
        self.faults: list[str] = []
        page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        page.on("console", lambda said: self.faults.append(said.text) if said.type == "error" else None)

    # ---- touching

    def touch(self, control: Locator) -> None:
        """Touch it as a finger would; it must be there, uncovered and large enough."""
        expect(control).to_be_visible(timeout=ANSWER_MS)
        box = control.bounding_box()
        if box is None:  # drawn anew between the two questions
            expect(control).to_be_visible(timeout=ANSWER_MS)
            box = control.bounding_box()
        assert box, control
        line = box["height"] >= LINE_HEIGHT and box["width"] >= LINE_WIDTH and not is_key(control)
        assert line or min(box["width"], box["height"]) >= FINGER, f"too small for a finger: {control} {box}"
        control.tap(timeout=UNCOVERED_MS)

    def key(self, words: Words, where: Locator | None = None) -> Locator:
        within: Page | Locator = where if where is not None else self.page
        if isinstance(words, str):
            return within.get_by_role("button", name=words, exact=True)
        return within.get_by_role("button", name=words)

    def press(self, words: Words, where: Locator | None = None) -> None:
        self.touch(self.key(words, where).first)

    def press_all(self, *words: Words, where: Locator | None = None) -> None:
        for one in words:
            self.press(one, where)

    def type(self, figure: str, where: Locator | None = None) -> None:
        """A figure on the twelve number keys: the point key is one of them and a leading zero is not typed."""
        keys = (where if where is not None else self.page).get_by_role("group", name="number keys")
        text = figure.removeprefix("0") if figure.startswith("0.") else figure
        for sign in text:
            self.touch(keys.get_by_role("button", name="point" if sign == "." else sign, exact=True))

    def write(self, label: str, words: str, where: Locator | None = None) -> None:
        """Words come from the tablet's own keyboard."""
        field = (where if where is not None else self.page).get_by_label(label, exact=True)
        field.tap()
        field.fill(words)

    def sheet(self, title: str) -> Locator:
        return self.page.get_by_role("complementary", name=title, exact=True)

    def rested(self) -> None:
        """A key rests 400 ms between two touches, so that one touch is never two doses."""
        now = float(self.page.evaluate("performance.now()"))
        self.page.wait_for_function("until => performance.now() > until", arg=now + 410)

    def phase(self, name: str) -> None:
        dock = self.page.get_by_role("navigation", name="Phases and pads")
        self.touch(dock.get_by_role("button", name=starting(name)))
        expect(self.page.get_by_role("main", name=name.lower(), exact=True)).to_be_visible()

    # ---- who and what

    def choose_hand(self, name: str) -> None:
        self.touch(self.page.get_by_role("button", name=re.compile("choose who acts|Change hand")))
        self.press(re.compile(re.escape(name)), self.page.get_by_role("region", name="Who is acting"))
        expect(self.page.get_by_role("button", name=starting(f"Acting: {name}"))).to_be_visible()

    def open_case(self, *, species: str, name: str, kg: str, scale: str, breed: str = "", procedure: str = "") -> str:
        """A planned case from the day sheet; its id."""
        self.press("Open a case")
        self.press(species)
        self.write("Name", name)
        if breed:
            self.write("Breed", breed)
        self.press("Next: weight")
        self.press(scale)
        self.type(kg)
        self.press(starting(f"Next, with {kg}"))
        if procedure:
            self.write("Procedure", procedure)
            self.press("Next: ASA")
        self.press(starting(f"Open {name}, {species}, {kg} kg"))
        expect(self.page.get_by_role("main", name="assess", exact=True)).to_be_visible(timeout=ANSWER_MS)
        return self.case_id()

    def case_id(self) -> str:
        found = re.search(r"#/case/([0-9a-f-]+)/", self.page.url)
        assert found, self.page.url
        return found[1]

    def fact(self, line: str, *presses: Words, words: dict[str, str] | None = None) -> None:
        """One line of the assessment: open it, answer, write."""
        self.press(starting(line), self.page.get_by_role("main"))
        side = self.page.get_by_role("complementary")
        for one in presses:
            self.press(one, side)
        for label, text in (words or {}).items():
            self.write(label, text, side)
        self.press("Write", side)
        expect(side).to_have_count(0, timeout=ANSWER_MS)

    def weigh(self, kg: str, way: str) -> None:
        """Weighed again; a surprising figure is typed twice, as the sheet asks."""
        self.phase("Assess")
        self.press(starting("Weight"), self.page.get_by_role("main").locator("li"))
        side = self.sheet("Weight")
        self.press(way, side)
        self.type(kg, side)
        self.press(starting(f"Write {kg}"), side)
        self.name_if_asked()
        again = side.get_by_text(f"{kg} kg was typed once")
        written = self.page.get_by_role("banner").get_by_text(kg)
        expect(again.or_(written).first).to_be_visible(timeout=ANSWER_MS)
        if again.count():
            self.type(kg, side)
            self.press(starting(f"Write {kg}"), side)
        expect(side).to_have_count(0, timeout=ANSWER_MS)
        expect(self.page.get_by_role("banner")).to_contain_text(kg, timeout=ANSWER_MS)

    def name_if_asked(self, name: str = "Niamh Kowalczyk") -> None:
        """An entry made while nobody is named is kept, and the tablet asks whose hand it was."""
        if self.page.get_by_role("button", name=starting("Nobody is named")).count():
            self.press(re.compile(name), self.page.get_by_role("region", name="Who is acting"))

    def examined(self, **figures: str) -> None:
        self.press(starting("Heart rate"), self.page.get_by_role("main"))
        side = self.sheet("Examination")
        for label, figure in figures.items():
            self.press(starting(label.replace("_", " ")), side)
            self.type(figure, side)
        self.press("pink", side)
        self.press("Write", side)
        expect(side).to_have_count(0, timeout=ANSWER_MS)

    # ---- orders

    def order(self, drug: str, row: Pattern[str], dose: str | tuple[str, str], vet: str, back: str = "") -> Locator:
        """One order through order entry; with `back` it came by mouth and was read back by that hand."""
        side = self.begin_order(drug, row)
        if isinstance(dose, tuple):
            self.press("From, to", side)
            self.type(dose[0], side)
            self.touch(side.get_by_role("button", name=re.compile(r"^to [^e]*mg.kg$")))
            self.type(dose[1], side)
        else:
            self.type(dose, side)
        self.press(starting(f"ordered by {vet}"), side)
        if back:
            self.press("oral, read back", side)
            reader = self.key(starting(f"read back by {back}"), side)
            if reader.get_attribute("aria-pressed") != "true":
                self.touch(reader)
        else:
            self.press(starting("written"), side)
        self.press(starting("Order "), side)
        return side

    def begin_order(self, drug: str, row: Pattern[str]) -> Locator:
        self.press("Order a drug")
        side = self.sheet("An order")
        self.press(f"drugs with {drug[0].upper()}", side)
        self.press(starting(drug), side)
        self.touch(side.get_by_role("button", name=row).first)
        return side

    def approve_by_mouth(self, vet: str, back: str) -> None:
        self.rested()  # the key before it was one that records
        aloud = self.key(starting("Approved aloud")).first
        expect(aloud).not_to_have_class(re.compile("dashed"), timeout=ANSWER_MS)
        self.touch(aloud)
        self.press(f"said by {vet}")
        self.press(f"read back by {back}")

    # ---- prepare

    def draw(self, drug: str, *, lot: str, seen_by: str) -> str:
        """Draw one planned syringe; the volume in mL that was drawn, as the key says it."""
        drawn = self.page.get_by_role("main").get_by_role("button", name=re.compile(rf"{drug}.*Not drawn yet", re.S))
        self.touch(drawn.first)
        side = self.page.get_by_role("complementary")
        self.write("Lot", lot, side)
        self.press(f"seen by {seen_by}", side)
        main = self.key(starting("Drawn "), side)
        found = re.search(r"Drawn ([\d.]+) mL", main.inner_text())
        assert found, main.inner_text()
        self.touch(main)
        expect(side).to_have_count(0, timeout=ANSWER_MS)
        return found[1]

    def read_list(self, tab: str) -> int:
        """One list, line by line; how many lines were said."""
        lists = self.page.get_by_role("group", name="Lists")
        self.press(starting(tab), lists)
        counted = self.page.locator("main section", has=lists).locator(".hd .note").first
        of = int(counted.inner_text().split(" of ")[1])
        for done in range(of):
            expect(counted).to_have_text(f"{done} of {of}", timeout=ANSWER_MS)
            self.press("Said and so")
        expect(lists.get_by_role("button", name=starting(tab))).to_contain_text(f"{of} of {of}", timeout=ANSWER_MS)
        return of

    def vein(self, site: str, size: str) -> None:
        self.press("Vein")
        side = self.sheet("Vein")
        self.press_all(site, size, "vein", where=side)
        self.press("Write", side)
        expect(side).to_have_count(0, timeout=ANSWER_MS)

    # ---- giving

    def give(self, drug: str, less: int = 0) -> str:
        """From the Give pad: the planned volume, or so many marks less; the volume as the key says it."""
        self.open_pad("Give")
        pad = self.page.get_by_role("region", name="Give", exact=True)
        self.press(starting(drug), pad.locator(".list"))
        for _ in range(less):
            self.press("one mark less", pad)
        main = self.key(re.compile(r"^\s*Given [0-9.]+ mL"), pad)
        found = re.search(r"Given ([\d.]+) mL", main.inner_text())
        assert found, main.inner_text()
        self.touch(main)
        expect(pad).to_have_count(0, timeout=ANSWER_MS)
        return found[1]

    def open_pad(self, name: str) -> None:
        self.touch(self.page.get_by_role("navigation", name="Phases and pads").get_by_role("button", name=name))

    def note(self, *presses: Words) -> None:
        self.open_pad("Note")
        pad = self.page.get_by_role("region", name="Note", exact=True)
        for one in presses:
            self.press(one, pad)

    # ---- the five-minute row

    def row(self, signs: Iterable[str], numbers: dict[str, str], pressure: tuple[str, str, str]) -> None:
        """One row: signs by one touch each, then the numbers in the order in which the pad asks for them."""
        self.press(re.compile("Five-minute row"))
        pad = self.page.get_by_role("region", name="five-minute row")
        for finding in signs:
            self.press(finding, pad)
        left = dict(numbers)
        for _ in range(len(numbers) + 1):
            title = pad.get_by_role("heading").first
            expect(title).to_have_text(
                re.compile(f"^({'|'.join(map(re.escape, [*left, 'Pressure']))})"), timeout=ANSWER_MS
            )
            asked = title.inner_text().strip()
            if asked == "Pressure":
                for part, figure in zip(("systolic", "mean", "diastolic"), pressure, strict=True):
                    self.touch(pad.get_by_role("button", name=starting(part)))
                    self.type(figure, pad)
                self.press(re.compile("^Write\\s*cuff"), pad)
            else:
                figure = left.pop(next(name for name in left if asked.startswith(name)))
                self.type(figure, pad)
                self.press(starting(f"Write {figure}"), pad)
            self.rested()
            expect(title.filter(has_text=re.compile(f"^{re.escape(asked)}$"))).to_have_count(0, timeout=ANSWER_MS)
            if pad.count() == 0:
                return
