"""Writes the generated pages of the manual: figures, checks, hazards, events, elements, sets of constants. Run by `python3 dev.py docs`."""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

from spiracle.doors.tables import load_facts, table_texts
from spiracle.sheets.checks import checks_page, read_checks
from spiracle.sheets.figures_page import figures_page
from spiracle.sheets.hazards import hazards_page, read_hazards
from spiracle.sheets.kinetics_page import kinetics_page
from spiracle.sheets.manual import elements_page, events_page

TESTS = Path(__file__).resolve().parents[3] / "tests"
IDS = re.compile(r"((?:[UACD]\d{1,2}(?:, | and )?)+)[:.]")


def pages() -> dict[str, str]:
    """Every generated page by its file name."""
    texts, facts = table_texts(), load_facts()
    return {
        "events.md": events_page(),
        "record-elements.md": elements_page(),
        "checks.md": checks_page(read_checks({n: t for n, t in texts.items() if n.startswith("checks-")})),
        "figures.md": figures_page(texts, facts.sources),
        "kinetics-rows.md": kinetics_page(facts.kinetics, facts.sources),
        "hazards.md": hazards_page(read_hazards(texts["hazards"]), carried_by_tests(TESTS)),
    }


def carried_by_tests(folder: Path) -> dict[str, tuple[str, ...]]:
    """Which tests carry which hazard: a test's description begins with the ids, as in "U4, U12: one sentence"."""
    found: dict[str, list[str]] = {}
    for path in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                begins = IDS.match(ast.get_docstring(node) or "")
                for id_ in re.findall(r"[UACD]\d{1,2}", begins.group(1)) if begins else ():
                    found.setdefault(id_, []).append(f"{path.relative_to(folder)}::{node.name}")
    return {k: tuple(v) for k, v in found.items()}


def main(folder: str) -> None:
    for name, text in pages().items():
        (Path(folder) / name).write_text(text, "utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
