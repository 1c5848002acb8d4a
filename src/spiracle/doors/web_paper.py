"""Sheets on paper, as asked for by the web: which printer function makes which sheet of a case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.doors.web_wire import Turned
from spiracle.refusals import Missing, NotOneOf, OutOfRange, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case
    from spiracle.sheets.shapes import CaseView

SHEETS = ("record", "labels", "emergency", "plan", "infusions")
PAPERS = ("a4", "letter", "62x29")


@dataclass(frozen=True, slots=True)
class Asked:
    """How a sheet is wanted: paper, which labels, the first free place of a used sheet, and where a scanned code leads."""

    paper: str = "a4"
    only: tuple[str, ...] = ()
    start: int = 1
    base: str = "spiracle:"


def asked(query: Mapping[str, str], base: str, paper: str = "a4") -> Asked:
    """Query parameters `paper`, `syringe` (ids with commas between) and `from`; a bad one is refused by name."""
    start = query.get("from", "1")
    if not (start.isascii() and start.isdigit() and len(start) < 4):
        raise Turned(400, OutOfRange("from", f"{start[:20]!r} is no place on a sheet.", "Give a whole number from 1."))
    wanted = query.get("paper", paper)
    if wanted not in PAPERS:
        raise Turned(400, NotOneOf("paper", f"{wanted[:20]!r} is not a paper.", f"Use one of: {', '.join(PAPERS)}."))
    only = tuple(x.strip() for x in query.get("syringe", "").split(",") if x.strip())
    return Asked(wanted, only, int(start), base)


def printed(sheet: str, case: Case, view: CaseView, facts: Facts, want: Asked, now: datetime) -> bytes:
    """The PDF of one sheet. The printer is loaded with the first print: it is large."""
    if sheet not in SHEETS:
        raise Turned(404, Unknown("sheet", f"{sheet[:40]!r} is not printed.", f"Give one of: {', '.join(SHEETS)}."))
    from spiracle.doors import pdf

    if sheet == "labels":
        return pdf.labels_pdf(view, facts, want.paper, now, only=want.only, start=want.start, base=want.base)
    if sheet == "record":
        return pdf.record_pdf(view, facts, want.paper, now)
    if sheet == "infusions":
        return pdf.infusions_pdf(view, facts, want.paper, now)
    if sheet == "emergency":
        if view.emergency is None:
            raise Missing(
                "weight", "is not known, so there is no emergency sheet.", "Weigh the patient or estimate it."
            )
        return pdf.emergency_pdf(view.emergency, facts, want.paper, now, view.collar.name)
    from spiracle.case.protocols import plan_title
    from spiracle.sheets.plan_pictures import pictures_of
    from spiracle.sheets.plan_sheet import plan_of_case, request_of

    drawn = pictures_of(request_of(case, facts, now), facts)
    return pdf.plan_pdf(plan_of_case(case, facts, now), facts, want.paper, now, plan_title(case), drawn)
