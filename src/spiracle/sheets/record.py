"""The record: gaps before a signature, every entry in words, balances of controlled drugs, sums, signatures."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.events import every_event
from spiracle.case.fold import Line
from spiracle.case.syringes import Syringe
from spiracle.quantity import figure
from spiracle.sheets.chart import gap_id, gaps, late_minutes
from spiracle.sheets.differences import differences
from spiracle.sheets.element_tests import watch_lacking
from spiracle.sheets.elements import missing
from spiracle.sheets.given import given_line, per_kg_text, summed
from spiracle.sheets.names import joined, quantity_text
from spiracle.sheets.shapes import DrugBalance, LogLine, MarkName, RecordGap, RecordSheet, Signature
from spiracle.sheets.told import Told
from spiracle.sheets.words import kind, words

# An entry that itself strikes, signs or explains is undone by its own kind, not by a line through it.
FIXED = (ev.EntryStruck, ev.RecordSigned, ev.RecordAmended)
LOG_ON_A_PAGE = 40
PLACE = {kind_: place for place, kind_ in enumerate(every_event())}


def record(t: Told, found: tuple[RecordGap, ...]) -> RecordSheet:
    log = log_lines(t)
    signed = t.case.live(ev.RecordSigned)
    amended = {x.event.id for x in t.case.every(ev.RecordAmended)}
    return RecordSheet(
        gaps=found,
        log=log,
        balances=balances(t),
        signatures=tuple(Signature(role=s.role, by=t.names.hand(s.by), at=s.happened_at) for s in signed),
        drug_totals=drug_totals(t),
        amendments=tuple(line for line in log if line.event_id in amended),
        can_sign={s.role for s in signed} != {"technician", "veterinarian"},
        pages_hint=2 + len(log) // LOG_ON_A_PAGE,
        given=tuple(given_line(t, line) for line in t.case.every(ev.DrugGiven)),
        differences=differences(t),
    )


def log_lines(t: Told) -> tuple[LogLine, ...]:
    """Every entry in the order of happening; a struck one keeps its words and says who struck it, when and why.

    Entries of one moment stand in the order of the vocabulary, so that a case is opened before it is described.
    """
    ordered = sorted(
        t.case.lines, key=lambda x: (x.event.happened_at, x.event.recorded_at, PLACE[type(x.event)], x.event.id)
    )
    return tuple(_log_line(t, line) for line in ordered)


def _log_line(t: Told, line: Line) -> LogLine:
    e, struck = line.event, line.struck
    return LogLine(
        event_id=e.id,
        seq=line.entry.seq,
        kind=kind(e),
        at=e.happened_at,
        recorded_at=e.recorded_at,
        late_min=late_minutes(e.happened_at, e.recorded_at),
        by=t.names.hand(e.by),
        mark=_mark(e),
        text=_text(t, e),
        struck=struck is not None,
        struck_at=struck.happened_at if struck is not None else None,
        struck_by=t.names.hand(struck.by) if struck is not None else "",
        struck_reason=struck.reason if struck is not None else "",
        artefact=line.artefact is not None,
        strikeable=struck is None and not isinstance(e, FIXED),
    )


def _mark(e: ev.Event) -> MarkName:
    return "measured" if getattr(e, "source", "") == "device" else "typed"


def _text(t: Told, e: ev.Event) -> str:
    """A strike or an artefact mark names the entry it speaks of."""
    if isinstance(e, ev.EntryStruck | ev.ArtefactMarked):
        target = t.case.line(e.target)
        if target is not None and not isinstance(target.event, ev.EntryStruck | ev.ArtefactMarked):
            verb = "Struck" if isinstance(e, ev.EntryStruck) else "Artefact"
            return joined(
                (f"{verb}: {words(target.event, t.names)} ({t.names.clock(target.event.happened_at)})", e.reason), "; "
            )
    return words(e, t.names)


# ---- gaps


def record_gaps(t: Told) -> tuple[RecordGap, ...]:
    """Everything required and missing, with its explanation where one was given. None of it blocks a signature."""
    said = {g.element: g.reason for g in t.case.live(ev.GapExplained)}
    return (*_element_gaps(t, said), *_chart_gaps(t, said), *_balance_gaps(t, said))


def _element_gaps(t: Told, said: dict[str, str]) -> Iterable[RecordGap]:
    for element in missing(t):
        title = watch_lacking(t) if element.id == "H4" else element.gap or element.title
        yield RecordGap(element=element.id, title=title, explained=said.get(element.id, ""), phase=element.phase)


def _chart_gaps(t: Told, said: dict[str, str]) -> Iterable[RecordGap]:
    for gap in gaps(t):
        name = gap.text.split(":")[0]
        element = gap_id(t, "F1" if "rate" in name else "F4", gap.from_at)
        title = f"{name} {t.names.clock(gap.from_at)} to {t.names.clock(gap.to_at)}"
        yield RecordGap(element=element, title=title, explained=said.get(element, ""), phase="maintain")


def _balance_gaps(t: Told, said: dict[str, str]) -> Iterable[RecordGap]:
    for balance in balances(t):
        if not balance.closed:
            element = f"I3 {balance.syringe}"
            title = f"{balance.name}: {balance.left} mL not accounted for"
            yield RecordGap(element=element, title=title, explained=said.get(element, ""), phase="record")


# ---- drugs


def balances(t: Told) -> tuple[DrugBalance, ...]:
    """Drawn = given (by hand or by a pump) + wasted + returned for each syringe of a controlled drug, exactly."""
    return tuple(_balance(t, s) for s in t.syringes if t.facts.drugs.controlled_class(s.drawn.drug))


def _balance(t: Told, s: Syringe) -> DrugBalance:
    return DrugBalance(
        syringe=s.drawn.syringe,
        name=t.names.drug(s.drawn.drug),
        concentration=s.drawn.concentration,
        drawn=figure(s.drawn.volume_ml),
        given=figure(s.given_ml + s.ran_ml),
        wasted=figure(s.wasted_ml),
        returned=figure(s.returned_ml),
        left=figure(s.left_ml),
        left_ml=float(s.left_ml),
        closed=s.left_ml == Decimal(0),
    )


def drug_totals(t: Told) -> tuple[tuple[str, str, str], ...]:
    """Each drug: its name, its whole amount, and that per kg; drugs of unlike units are listed by push instead."""
    by_drug: dict[str, list[ev.DrugGiven]] = {}
    for g in t.given:
        by_drug.setdefault(g.drug, []).append(g)
    rows = []
    for drug, given in by_drug.items():
        total = summed(given)
        if total is None:
            said = joined((f"{figure(g.amount)} {g.unit}" for g in given), " + ")
            rows.append((t.names.drug(drug), said, ""))
            continue
        rows.append((t.names.drug(drug), quantity_text(total), per_kg_text(t, total.value, str(total.unit))))
    return tuple(rows)
