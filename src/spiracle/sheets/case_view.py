"""Everything a page shows of one case: one index of the log, one plan, and each sheet folded from them."""

from __future__ import annotations

from datetime import datetime

import msgspec

from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.protocols import plan_title, reference_title
from spiracle.quantity import Quantity
from spiracle.sheets.advice import advice
from spiracle.sheets.assess import assess
from spiracle.sheets.collar import collar
from spiracle.sheets.countersign import to_be_signed
from spiracle.sheets.due import due
from spiracle.sheets.emergency_sheet import emergency_sheet
from spiracle.sheets.induce import induce
from spiracle.sheets.infusion_bags import bag_recipes
from spiracle.sheets.infusion_cards import with_cards
from spiracle.sheets.maintain import maintain
from spiracle.sheets.names import capital
from spiracle.sheets.on_wave import OnWave
from spiracle.sheets.phases import phases
from spiracle.sheets.plan_sheet import plan_sheet
from spiracle.sheets.prepare import prepare
from spiracle.sheets.protocols import protocol_flags
from spiracle.sheets.record import record, record_gaps
from spiracle.sheets.recover import recover
from spiracle.sheets.shapes import CaseView, EmergencySheet, LogLine, PlanSheet
from spiracle.sheets.syringes import told_at_push
from spiracle.sheets.told import Told, told


def case_view(
    case: Case, seq: int, facts: Facts, now: datetime, *, expected: bool = False, wave: OnWave | None = None
) -> CaseView:
    """The view as of log place `seq`. The same entries, facts and `now` give the same view, in any order of arrival. `expected`: with
    what models expect of drugs and gas in maintenance, which only the page that
    shows it asks for. `wave`: what stands on the live CO2 wave."""
    t = told(case, facts, now)
    plan = _plan(t)
    gaps = record_gaps(t)
    written = msgspec.structs.replace(record(t, gaps), protocol=plan.protocol)
    induction = induce(t, plan)
    urgent = advice(t, induction, plan.lines, wave)
    return CaseView(
        case=t.opened.case,
        seq=seq,
        as_of=now,
        collar=collar(t, plan.open_lines),
        phases=phases(t, gaps),
        advice=urgent,
        due=due(t),
        assess=assess(t),
        plan=plan,
        prepare=prepare(t, plan.lines),
        induce=induction,
        maintain=maintain(t, plan.limits, plan.budgets, urgent, expected=expected),
        recover=recover(t, plan.lines),
        emergency=_emergency(t, written.log),
        record=written,
        versions=(facts.version,) if facts.version else (),
    )


def _plan(t: Told) -> PlanSheet:
    """The plan as worked for a stored case, with names as printed and hands by their initials."""
    plan = plan_sheet(t.case, t.facts, t.now)
    hand = t.names.hand
    lines = tuple(
        msgspec.structs.replace(
            x,
            name=capital(x.name),
            ordered_by=hand(x.ordered_by) if x.ordered_by else "",
            protocol=reference_title(t.case, order.protocol) if (order := t.orders.get(x.order)) is not None else "",
            needs=tuple(n for n in (*x.needs, to_be_signed(t, order)) if n),
        )
        for x in plan.lines
    )
    lines = told_at_push(t, with_cards(t, lines))
    limits = tuple(msgspec.structs.replace(x, whose=hand(x.whose)) for x in plan.limits)
    return msgspec.structs.replace(
        plan,
        lines=lines,
        limits=limits,
        sent_to=hand(plan.sent_to) if plan.sent_to else "",
        signed_by=hand(plan.signed_by) if plan.signed_by else "",
        protocol=plan_title(t.case),
        cautions=(*protocol_flags(t.case, t.facts, t.now), *plan.cautions),
        bags=bag_recipes(t),
    )


def _emergency(t: Told, log: tuple[LogLine, ...]) -> EmergencySheet | None:
    """The emergency sheet of the weight in use; None only while nobody has said any weight."""
    if t.weight is None:
        return None
    weight = Quantity.of(t.weight.kg, "kg")
    basis = "estimated" if t.estimated else "scale"
    return emergency_sheet(t.species, weight, basis, t.facts, t.case, t.now, log=_arrest_log(t, log))


def _arrest_log(t: Told, log: tuple[LogLine, ...]) -> tuple[LogLine, ...]:
    """What was written since the arrest was called, newest first."""
    from spiracle.case.events import ArrestBegan

    began = t.case.last(ArrestBegan)
    if began is None:
        return ()
    return tuple(line for line in reversed(log) if line.at >= began.happened_at)
