"""Prints: plain data from the sheets through our own templates to PDF. The same input gives the same bytes.

Typst with our own faces only, so a print does not depend on what the machine has installed. Measured once per process,
the faces cost about 0.15 s; a sheet 10 to 100 ms.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import typst

from spiracle.refusals import Missing, NotOneOf
from spiracle.sheets import printed

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.sheets.plan_shapes import Plan
    from spiracle.sheets.shapes import CaseView, EmergencySheet

PAPERS = ("a4", "letter")


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    folder = files("spiracle") / "fonts"
    if not folder.is_dir():
        raise Missing("print faces", "the faces of printed sheets are not built.", "Run: python3 dev.py setup")
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder)])


def _print(template: str, data: dict[str, Any]) -> bytes:
    folder = files("spiracle.doors") / "print"
    return typst.compile(
        str(folder / f"{template}.typ"), root=str(folder), font_paths=_fonts(), ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, sort_keys=True)}, pdf_standards=["a-2b"],
    )  # fmt: skip


def _paper(paper: str) -> str:
    if paper not in PAPERS:
        raise NotOneOf("paper", f"{paper!r} is not a paper Spiracle prints on.", "Use a4 or letter.")
    return paper


def record_pdf(view: CaseView, facts: Facts, paper: str, now: datetime) -> bytes:
    """The whole record of a case."""
    zone = ZoneInfo(facts.hospital.zone)
    return _print("record", printed.record_data(view, facts.hospital.name, _paper(paper), now, zone))


def labels_pdf(
    view: CaseView, facts: Facts, paper: str, now: datetime, *,
    only: Iterable[str] = (), start: int = 1, base: str = "spiracle:",
) -> bytes:  # fmt: skip
    """Labels of what stands, or of the ids in `only`; `start` skips used places; `base` is where the code leads to."""
    from spiracle.sheets.printed_labels import SHEET, labels_data

    if paper not in SHEET:
        raise NotOneOf("paper", f"{paper!r} is not a paper labels are printed on.", "Use a4, letter or 62x29.")
    zone = ZoneInfo(facts.hospital.zone)
    return _print("labels", labels_data(view, facts.hospital.name, paper, now, zone, _code,
                                        only=only, start=start, base=base))  # fmt: skip


def infusions_pdf(view: CaseView, facts: Facts, paper: str, now: datetime) -> bytes:
    """A card in large type for each infusion that is ordered or runs, and for each bag."""
    from spiracle.sheets.printed_infusions import infusions_data

    zone = ZoneInfo(facts.hospital.zone)
    return _print("infusions", infusions_data(view, facts.hospital.name, _paper(paper), now, zone))


def emergency_pdf(sheet: EmergencySheet, facts: Facts, paper: str, now: datetime, patient: str = "") -> bytes:
    """The emergency sheet of one weight, on one page."""
    zone = ZoneInfo(facts.hospital.zone)
    data = printed.emergency_data(sheet, patient, facts.hospital.name, (facts.version,), _paper(paper), now, zone)
    return _print("emergency", {**data, "practice": facts.hospital.practice})


def plan_pdf(
    plan: Plan, facts: Facts, paper: str, now: datetime, protocol: str = "", pictures: Sequence[dict[str, str]] = ()
) -> bytes:
    """The plan of one patient, with its pictures, working and sources."""
    from spiracle.sheets.printed_plan import plan_data

    zone = ZoneInfo(facts.hospital.zone)
    data = plan_data(plan, facts.hospital.name, (facts.version,), _paper(paper), now, zone, protocol)
    return _print("plan", {**data, "pictures": list(pictures), "practice": facts.hospital.practice})


def _code(text: str) -> str:
    """A scannable code (ISO/IEC 18004) as SVG, with the four empty modules around it that the standard asks for."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="l", micro=False).save(out, kind="svg", border=4, xmldecl=False, svgns=True)
    return out.getvalue().decode()
