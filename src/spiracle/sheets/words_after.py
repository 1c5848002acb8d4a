"""Words for recovery, what follows, and the record itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from spiracle.case import events as ev
from spiracle.sheets.names import Names, joined, kg_text, observed


def _extubated(e: ev.Extubated, n: Names) -> str:
    left = f"open: {joined(n.line(x) for x in e.open_lines)}" if e.open_lines else ""
    return joined(("tube out", *map(n.line, e.signs), e.cuff and f"cuff {e.cuff}", e.complications, left, e.reason))


def _watch(e: ev.RecoveryWatchBegan, n: Names) -> str:
    return joined((f"{n.hand(e.watcher)} watches every {e.every_min} min", e.place))


def look_words(e: ev.RecoveryLooked) -> str:
    """What was seen at one look, only what was seen."""
    return joined((
        f"HR {e.heart_rate}" if e.heart_rate is not None else "",
        f"breaths {e.respiratory_rate}" if e.respiratory_rate is not None else "",
        f"SpO₂ {observed(e.spo2, 0)} %" if e.spo2 is not None else "", e.gums and f"gums {e.gums}",
        f"T {observed(e.temperature_c, 1)} °C" if e.temperature_c is not None else "",
        e.state, e.oxygen and f"oxygen: {e.oxygen}", e.note, "NOT RIGHT" if e.not_right else "",
    ))  # fmt: skip


def _looked(e: ev.RecoveryLooked, n: Names) -> str:
    return f"look: {look_words(e) or 'nothing noted'}"


def _analgesia(e: ev.AnalgesiaPlanned, n: Names) -> str:
    due = f"next due {n.day_clock(e.next_due)}" if e.next_due else "no next time"
    return f"pain relief after: {e.plan}, {due}"


def _handed(e: ev.HandedOver, n: Names) -> str:
    back = "read back" if e.read_back else "NOT read back"
    return joined((f"handed over to {n.hand(e.to)}", back, e.concerns and f"concerns: {e.concerns}"))


def _discharged(e: ev.Discharged, n: Names) -> str:
    return joined((f"discharged: {e.disposition}", e.instructions))


def _outcome(e: ev.OutcomeNoted, n: Names) -> str:
    return joined((f"outcome: {e.outcome}", e.detail))


def _note(e: ev.NoteWritten, n: Names) -> str:
    return e.text


def _struck(e: ev.EntryStruck, n: Names) -> str:
    return f"an entry was struck: {e.reason}"


def _gap(e: ev.GapExplained, n: Names) -> str:
    return f"gap at {e.element}: {e.reason}"


def _printed(e: ev.SheetPrinted, n: Names) -> str:
    weight = f"for {kg_text(e.weight_kg)}" if e.weight_kg is not None else ""
    return joined((f"{e.sheet} printed, sheet {e.print_id}", weight))


def _signed(e: ev.RecordSigned, n: Names) -> str:
    return joined((f"record signed by the {e.role}", e.statement))


def _amended(e: ev.RecordAmended, n: Names) -> str:
    return f"amended: {e.text}, because {e.reason}"


SAYS: Mapping[type[ev.Event], Callable[[Any, Names], str]] = {
    ev.Extubated: _extubated, ev.RecoveryWatchBegan: _watch, ev.RecoveryLooked: _looked,
    ev.AnalgesiaPlanned: _analgesia, ev.HandedOver: _handed, ev.Discharged: _discharged, ev.OutcomeNoted: _outcome,
    ev.NoteWritten: _note, ev.EntryStruck: _struck, ev.GapExplained: _gap, ev.SheetPrinted: _printed,
    ev.RecordSigned: _signed, ev.RecordAmended: _amended,
}  # fmt: skip
