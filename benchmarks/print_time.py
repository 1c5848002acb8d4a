"""How long the record of a finished case takes on paper, beside the smallest document of the same typesetter."""

from __future__ import annotations

import tempfile
from pathlib import Path

import typst

from measuring import Result, median_ms
from spiracle.doors.clock import WallClock
from spiracle.doors.demo import fill, hospital_path
from spiracle.doors.log_store import open_store
from spiracle.doors.pdf import labels_pdf, record_pdf
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view


def results() -> list[Result]:
    facts, clock = load_facts(hospital_path()), WallClock()
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(f"sqlite:///{Path(folder) / 'print.sqlite'}", clock)
        fill(store, facts, clock)
        longest = max(store.case_rows(), key=lambda r: r.seq).case
        case, seq = store.case(longest)
        store.close()
    now = clock.now()
    view = case_view(case, seq, facts, now)
    smallest = median_ms(lambda: typst.compile(b"A line."), 10)
    return [
        Result("record of a finished case as PDF", median_ms(lambda: record_pdf(view, facts, "a4", now), 8) / 1000, "s",
               "one line typeset", smallest / 1000, 1.0, f"{seq} entries"),
        Result("sheet of syringe labels as PDF", median_ms(lambda: labels_pdf(view, facts, "a4", now), 8) / 1000, "s",
               "one line typeset", smallest / 1000, 1.0),
    ]  # fmt: skip
