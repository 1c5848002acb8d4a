"""The manual: links lead somewhere, every room has its page, examples give what they print, no command or refusal is left out."""

from __future__ import annotations

import argparse
import doctest
import re
from pathlib import Path

import pytest

from spiracle.doors.cli import _parser
from spiracle.refusals import every_refusal

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = (ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted(DOCS.glob("*.md")))
WITH_EXAMPLES = [p for p in PAGES if ">>> " in p.read_text("utf-8")]
LINK = re.compile(r"\]\(([^)\s]+)\)")
HEADING = re.compile(r"^#+ (.+)$", re.MULTILINE)


def anchors(page: Path) -> set[str]:
    """The names under which a page's headings can be reached, as common renderers make them."""
    plain = (re.sub(r"[^\w\- ]", "", h.lower()) for h in HEADING.findall(page.read_text("utf-8")))
    return {h.strip().replace(" ", "-") for h in plain}


@pytest.mark.parametrize("sheet", PAGES, ids=lambda p: p.name)
def test_every_relative_link_leads_somewhere(sheet: Path) -> None:
    for link in LINK.findall(sheet.read_text("utf-8")):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        target = (sheet.parent / path).resolve() if path else sheet
        assert target.exists(), f"{sheet.name} links to {link}"
        assert not anchor or anchor in anchors(target), f"{sheet.name} links to {link}"


@pytest.mark.parametrize("sheet", PAGES, ids=lambda p: p.name)
def test_every_example_file_that_is_named_is_there(sheet: Path) -> None:
    named = re.findall(r"\bexamples/[\w.\-]+\.toml", sheet.read_text("utf-8"))
    assert [n for n in named if not (ROOT / n).is_file()] == []


@pytest.mark.parametrize("sheet", WITH_EXAMPLES, ids=lambda p: p.name)
def test_an_example_gives_what_the_page_prints(sheet: Path) -> None:
    found = doctest.testfile(str(sheet), module_relative=False, encoding="utf-8")
    assert found.attempted and not found.failed


def test_every_folder_of_the_package_has_a_page_that_the_house_names() -> None:
    """Doors are many: each has a page of its own name, and the folder stands in the house's plan."""
    house = (DOCS / "house.md").read_text("utf-8")
    folders = {p.parent.name for p in (ROOT / "src" / "spiracle").glob("*/__init__.py")}
    assert {"quantity", "drugs", "case", "sheets", "doors"} <= folders
    for name in sorted(folders):
        assert f"  {name}/" in house, name
        assert name == "doors" or f"({name}.md)" in house, name
    assert {"web.md", "prints.md", "command-line.md"} <= set(LINK.findall(house))


def test_every_page_of_the_manual_can_be_reached_from_the_house() -> None:
    """Figures that are measured on a machine are linked from the front page alone."""
    linked = set(LINK.findall((DOCS / "house.md").read_text("utf-8")))
    assert {p.name for p in DOCS.glob("*.md")} - linked <= {"house.md", "benchmarks.md"}


def test_every_command_stands_on_its_page() -> None:
    page = (DOCS / "command-line.md").read_text("utf-8")
    commands = next(a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction)).choices
    assert {"serve", "plan", "emergency", "record", "verify", "checks"} <= set(commands)
    for name, parser in commands.items():
        line = next((x for x in page.splitlines() if x.startswith(f"| `spiracle {name}")), "")
        assert line, name
        for action in parser._actions:
            for flag in action.option_strings:
                assert not flag.startswith("--") or flag in line or flag == "--help", f"{name} {flag}"


def test_every_refusal_stands_in_the_manual() -> None:
    text = (DOCS / "case.md").read_text("utf-8")
    assert [r.__name__ for r in every_refusal() if f"| `{r.__name__}` |" not in text] == []
