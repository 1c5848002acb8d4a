"""Writes the generated pages of the manual: figures, checks, hazards, events, elements. Run by `python3 dev.py docs`."""

from __future__ import annotations

import sys
from pathlib import Path

from spiracle.doors.tables import load_facts, table_texts
from spiracle.sheets.checks import checks_page, read_checks
from spiracle.sheets.figures_page import figures_page
from spiracle.sheets.hazards import hazards_page, read_hazards
from spiracle.sheets.manual import elements_page, events_page


def pages() -> dict[str, str]:
    """Every generated page by its file name."""
    texts = table_texts()
    return {
        "events.md": events_page(),
        "record-elements.md": elements_page(),
        "checks.md": checks_page(read_checks({n: t for n, t in texts.items() if n.startswith("checks-")})),
        "figures.md": figures_page(texts, load_facts().sources),
        "hazards.md": hazards_page(read_hazards(texts["hazards"])),
    }


def main(folder: str) -> None:
    for name, text in pages().items():
        (Path(folder) / name).write_text(text, "utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
