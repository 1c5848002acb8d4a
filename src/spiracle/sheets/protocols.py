"""The hospital's named protocols: the list with every version, what may start this animal's plan, and a plan kept as one."""

from __future__ import annotations

from dataclasses import replace as with_orders
from datetime import datetime
from decimal import Decimal

from msgspec.structs import replace

from spiracle.case import events as ev
from spiracle.case import standing
from spiracle.case.decide_protocols import why_not
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.ledger import LEDGER
from spiracle.case.protocols import Version, changes, dose_words, protocols, title_of
from spiracle.drugs import DoseRow, DosingWeight, OrderedDose, judge_dose
from spiracle.quantity import Quantity
from spiracle.refusals import OutOfRange, Refusal, Unknown
from spiracle.sheets.names import capital, joined, unit_text
from spiracle.sheets.plan_around import limit_words
from spiracle.sheets.plan_lines import drug_line
from spiracle.sheets.plan_request import OrderAsked, PlanRequest
from spiracle.sheets.plan_shapes import LimitPart
from spiracle.sheets.plan_sheet import request_of
from spiracle.sheets.plan_work import conditions_of, shelf_of, work_orders
from spiracle.sheets.shapes import (
    DrugLine,
    ProtocolDraft,
    ProtocolDraftLimit,
    ProtocolDraftLine,
    ProtocolOffer,
    ProtocolOfferLine,
    ProtocolOffers,
    ProtocolShape,
    ProtocolShapeLine,
    ProtocolsSheet,
    Refused,
    RiskFlag,
)
from spiracle.sheets.worked_shape import refused
from spiracle.source import Zone

MIDDLE = {"dog": Decimal(20), "cat": Decimal(4)}  # a weight to look a row up with where there is no animal


# ---- the list


def protocols_sheet(ledger: Case, seq: int, facts: Facts) -> ProtocolsSheet:
    """Every version that stands, protocols by title, the newest version of each first."""
    known = protocols(ledger).versions
    title = {v.written.protocol: v.written.title for v in known}  # the newest one's
    ordered = sorted(
        known, key=lambda v: (title[v.written.protocol].casefold(), v.written.protocol, -v.written.version)
    )
    return ProtocolsSheet(ledger=LEDGER, seq=seq, protocols=tuple(_shape(v, _before(v, known), facts) for v in ordered))


def _before(version: Version, known: tuple[Version, ...]) -> ev.ProtocolWritten | None:
    """What a version changes is said against the one written before it."""
    older = [v.written for v in known
             if v.written.protocol == version.written.protocol and v.written.version < version.written.version]  # fmt: skip
    return older[-1] if older else None


def _shape(version: Version, before: ev.ProtocolWritten | None, facts: Facts) -> ProtocolShape:
    w, approved = version.written, version.approved
    named = {c.id: c.words for c in facts.patient.conditions}
    return ProtocolShape(
        protocol=w.protocol,
        version=w.version,
        title=w.title,
        species=w.species,
        lines=tuple(_shape_line(line, w, facts) for line in w.lines),
        limits=tuple(_limit_said(x, facts) for x in w.limits),
        conditions=tuple(named.get(c, c) for c in w.conditions),
        unless=tuple(named.get(c, c) for c in w.unless),
        note=w.note,
        written_by=_initials(w.by, facts),
        written_at=w.happened_at,
        approved_by="" if approved is None else _initials(approved.by, facts),
        approved_at=None if approved is None else approved.happened_at,
        state=version.state,
        changes=() if before is None else changes(before, w, _called(before, w, facts)),
        event_id=w.id,
    )


def _limit_said(limit: ev.ProtocolLimit, facts: Facts) -> str:
    """A limit in the words of the plan: "Mean pressure below 65 mmHg: fluid bolus"."""
    name, unit = limit.reading, ""
    if limit.reading in facts.circulation.readings():
        bounds = facts.circulation.bounds(limit.reading)
        name, unit = bounds.title, bounds.unit
    part = LimitPart(
        reading=limit.reading, name=name, below=limit.below, above=limit.above, unit=unit, action="", ordered=True
    )
    said = limit_words(part)
    return f"{said}: {limit.action}" if limit.action else said


def _initials(id_: str, facts: Facts) -> str:
    return next((p.initials for p in facts.hospital.people if p.id == id_), id_)


def _called(old: ev.ProtocolWritten, new: ev.ProtocolWritten, facts: Facts) -> dict[str, str]:
    return {line.drug: _name(line.drug, facts) for w in (old, new) for line in w.lines}


def _name(drug: str, facts: Facts) -> str:
    return capital(facts.drugs.name(drug))


def _shape_line(line: ev.ProtocolLine, w: ev.ProtocolWritten, facts: Facts) -> ProtocolShapeLine:
    """A line as written; where today's tables would not take it any more, the reason stands beside it."""
    text = f"{dose_words(line.low, line.high, line.unit)} {line.route}, {line.purpose}"
    try:
        drug = facts.drugs.drug(line.drug, w.species)
        asked = OrderedDose(
            drug=line.drug, species=w.species, purpose=line.purpose, route=line.route, row=line.row,
            low=Quantity.of(line.low, line.unit), high=Quantity.of(line.high, line.unit), conditions=w.conditions,
        )  # fmt: skip
        weight = DosingWeight(MIDDLE[w.species])
        row = facts.drugs.choose(asked, weight)
        memory, unusual = row.memory, _unusual(asked, row, weight)
    except OutOfRange:  # no row for a middling animal: its bands are told when there is one
        memory, unusual = False, ""
    except Refusal as refusal:
        return ProtocolShapeLine(
            drug=line.drug, name=_name(line.drug, facts), text=text, when=line.when, note=line.note, optional=line.optional,
            refusal=refused(refusal),
        )  # fmt: skip
    return ProtocolShapeLine(
        drug=drug.id, name=_name(drug.id, facts), syringe_class=drug.syringe_class, text=text, when=line.when,
        note=joined((line.note, unusual), "; "), optional=line.optional, memory=memory,
    )  # fmt: skip


def _unusual(asked: OrderedDose, row: DoseRow, weight: DosingWeight) -> str:
    """What an approver has to see of a line: that either end of it lies off the usual band, and where that is."""
    ends = (judge_dose(asked.low, row, weight), judge_dose(asked.high, row, weight))
    return "" if all(j.zone is Zone.USUAL for j in ends) else f"off the usual: {row.usual_text}"


# ---- what may start this plan


def offers(case: Case, ledger: Case, facts: Facts, now: datetime) -> ProtocolOffers:
    """Protocols of the species in use, each line worked for this animal by the code that works its plan.

    Those that fit stand first; one that is not for an animal with these conditions keeps its place below, with the reason.
    """
    opened = standing.opened(case)
    if opened is None:
        raise Unknown("case", "is not a patient's.", "Open it first, with the species.")
    try:
        request, lacking = request_of(case, facts, now), None
    except Refusal as refusal:
        request, lacking = None, refused(refusal)
    made = [_offer(v, case, request, lacking, facts, now) for v in protocols(ledger).every_in_use(opened.species)]
    made.sort(key=lambda o: (bool(o.why_not), o.title.casefold(), o.protocol))
    return ProtocolOffers(case=opened.case, offers=tuple(made))


def _offer(
    version: Version, case: Case, request: PlanRequest | None, lacking: Refused | None, facts: Facts, now: datetime
) -> ProtocolOffer:
    w, approved = version.written, version.approved
    why = why_not(case, w, facts, now)
    lines = _bare(w, lacking, facts) if request is None else _worked(w, request, facts)
    return ProtocolOffer(
        protocol=w.protocol,
        version=w.version,
        title=w.title,
        note=w.note,
        written_by=_initials(w.by, facts),
        approved_by="" if approved is None else _initials(approved.by, facts),
        why_not=capital(why),
        lines=tuple(
            ProtocolOfferLine(
                line=_named(made, version),
                optional=line.optional,
                note=line.note,
                order=_order(made.order, line, version),
            )
            for made, line in zip(lines, w.lines, strict=True)
        ),
        limit_texts=tuple(_limit_said(x, facts) for x in w.limits),
        start={"protocol": w.protocol, "version": w.version, "title": w.title},
        limits=tuple(
            {"reading": x.reading, "below": _number(x.below), "above": _number(x.above), "action": x.action}
            for x in w.limits
        ),
    )


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _order(name: str, line: ev.ProtocolLine, version: Version) -> dict[str, str | float | bool | None]:
    """The fields of a DrugOrdered; the page adds whose order it is and how it was given."""
    return {"order": name, "drug": line.drug, "purpose": line.purpose, "route": line.route, "low": float(line.low),
            "high": float(line.high), "unit": line.unit, "row": line.row, "when": line.when,
            "protocol": version.reference}  # fmt: skip


def _named(line: DrugLine, version: Version) -> DrugLine:
    return replace(
        line, name=capital(line.name), protocol=f"{version.written.title}, version {version.written.version}"
    )


def _worked(w: ev.ProtocolWritten, request: PlanRequest, facts: Facts) -> tuple[DrugLine, ...]:
    """The lines as orders of this animal's plan. A line whose dose cannot be read keeps its place, with the reason."""
    asked: dict[int, OrderAsked] = {}
    broken: dict[int, DrugLine] = {}
    for n, line in enumerate(w.lines):
        try:
            asked[n] = _asked(n, line, w)
        except Refusal as refusal:
            broken[n] = _unworked(n, line, w, refused(refusal), facts)
    own = with_orders(request, orders=tuple(asked.values()))
    works = work_orders(own, facts, conditions_of(own.patient, facts))
    shelf, _ = shelf_of(own, facts)
    patient = own.patient
    weight = DosingWeight(
        kg=patient.basis.number("kg"), estimated=patient.estimated, basis=patient.dosing_reason or "body weight",
        chosen=patient.dosing_weight is not None,
    )  # fmt: skip
    made = {n: drug_line(work, facts, weight, shelf.strengths) for n, work in zip(asked, works, strict=True)}
    return tuple({**made, **broken}[n] for n in range(len(w.lines)))


def _order_id(n: int, w: ev.ProtocolWritten) -> str:
    """An id for the order of a line: its version and place, so that the plan keeps the protocol's order."""
    return f"{w.protocol}-v{w.version}-{n + 1}"


def _asked(n: int, line: ev.ProtocolLine, w: ev.ProtocolWritten) -> OrderAsked:
    return OrderAsked(
        field=f"line {n + 1}", order=_order_id(n, w), drug=line.drug, purpose=line.purpose, route=line.route,
        low=Quantity.of(line.low, line.unit), high=Quantity.of(line.high, line.unit), row=line.row, when=line.when,
    )  # fmt: skip


def _bare(w: ev.ProtocolWritten, lacking: Refused | None, facts: Facts) -> tuple[DrugLine, ...]:
    return tuple(_unworked(n, line, w, lacking, facts) for n, line in enumerate(w.lines))


def _unworked(n: int, line: ev.ProtocolLine, w: ev.ProtocolWritten, why: Refused | None, facts: Facts) -> DrugLine:
    """A line as ordered, without a volume, and why."""
    try:
        drug = facts.drugs.drug(line.drug, w.species)
        syringe, controlled = drug.syringe_class, drug.controlled
    except Refusal:
        syringe, controlled = "other", ""
    return DrugLine(
        order=_order_id(n, w), drug=line.drug, name=_name(line.drug, facts), syringe_class=syringe,
        controlled=controlled, purpose=line.purpose, route=line.route, when=line.when, refusal=why,
        order_text=dose_words(line.low, line.high, unit_text(line.unit)),
    )  # fmt: skip


def protocol_flags(case: Case, facts: Facts, now: datetime) -> tuple[RiskFlag, ...]:
    """What is known of the animal now, against the versions its plan started from: a condition found after the start counts."""
    found = []
    for start in case.live(ev.ProtocolStarted):
        version = facts.protocols.version(start.protocol, start.version)
        why = "" if version is None else why_not(case, version.written, facts, now)
        if why:
            word = (
                " Started on a veterinarian's word."
                if start.said_by or facts.hospital.is_veterinarian(start.by)
                else ""
            )
            found.append(RiskFlag(title=title_of(start), changes=f"{capital(why)}{word}", severity="avoid"))
    return tuple(found)


# ---- a plan kept as a protocol


def draft(case: Case, ledger: Case, protocol: str = "") -> ProtocolDraft:
    """The standing orders and limits of a case as a protocol's next version, or as a new one that still wants a name.

    What a new version of an old one does not say of itself (title, conditions, notes, optional lines) is taken over from it.
    """
    opened = standing.opened(case)
    if opened is None:
        raise Unknown("case", "is not a patient's.", "Open it first, with the species.")
    known = protocols(ledger)
    start = case.last(ev.ProtocolStarted)
    name = protocol or ("" if start is None else start.protocol)
    versions = known.of(name)
    if protocol and not versions:
        raise Unknown("protocol", f"{protocol[:40]!r} is not in the ledger.", "Choose one of the list.")
    old = versions[-1].written if versions and versions[-1].written.species == opened.species else None
    place = {
        line.event.id: line.entry.seq for line in case.every(ev.DrugOrdered)
    }  # as they were entered, not by their ids
    lines = tuple(_draft_line(o, old) for o in sorted(standing.orders(case), key=lambda o: place[o.id]))
    limits = {x.reading: x for x in case.live(ev.LimitOrdered)}
    made = ProtocolDraft(
        species=opened.species,
        lines=lines,
        limits=tuple(
            ProtocolDraftLimit(reading=x.reading, below=_number(x.below), above=_number(x.above), action=x.action)
            for x in limits.values()
        ),
    )
    if old is None:
        return made
    return replace(
        made, protocol=name, version=known.next_number(name), title=old.title, conditions=old.conditions, unless=old.unless,
        note=old.note,
    )  # fmt: skip


def _draft_line(order: ev.DrugOrdered, old: ev.ProtocolWritten | None) -> ProtocolDraftLine:
    was = next((x for x in (old.lines if old is not None else ())
                if (x.drug, x.purpose, x.route) == (order.drug, order.purpose, order.route)), None)  # fmt: skip
    return ProtocolDraftLine(
        drug=order.drug, purpose=order.purpose, route=order.route, low=float(order.low), high=float(order.high),
        unit=order.unit, row=order.row, when=order.when, note="" if was is None else was.note,
        optional=was is not None and was.optional,
    )  # fmt: skip
