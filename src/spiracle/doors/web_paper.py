"""Sheets on paper, as asked for by the web: which printer function makes which sheet of a case."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Literal

from spiracle.doors.web_wire import Turned
from spiracle.refusals import Missing, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case
    from spiracle.sheets.shapes import CaseView

SHEETS = ("record", "labels", "emergency", "plan")


def printed(sheet: str, case: Case, view: CaseView, facts: Facts, paper: str, now: datetime) -> bytes:
    """The PDF of one sheet. The printer is loaded with the first print: it is large."""
    if sheet not in SHEETS:
        raise Turned(404, Unknown("sheet", f"{sheet[:40]!r} is not printed.", f"Give one of: {', '.join(SHEETS)}."))
    from spiracle.doors import pdf

    size: Literal["a4", "letter"] = "letter" if paper == "letter" else "a4"
    if sheet == "record":
        return pdf.record_pdf(view, facts, size, now)
    if sheet == "labels":
        return pdf.labels_pdf(view, facts, size, now)
    if sheet == "emergency":
        if view.emergency is None:
            raise Missing(
                "weight", "is not known, so there is no emergency sheet.", "Weigh the patient or estimate it."
            )
        return pdf.emergency_pdf(view.emergency, facts, size, now, view.collar.name)
    from spiracle.sheets.plan_sheet import plan_of_case

    return pdf.plan_pdf(plan_of_case(case, facts, now), facts, size, now)
