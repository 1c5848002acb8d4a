"""The assessment: what was asked, found and told, who said so and when. A row not asked is a gap, never a blank."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, TypeVar

from spiracle.case import events as ev
from spiracle.case.events import Event
from spiracle.quantity import figure
from spiracle.sheets.names import capital, joined, kg_text, observed, unit_text
from spiracle.sheets.shapes import AssessSheet, Fact, RiskFlag
from spiracle.sheets.told import Told
from spiracle.sheets.words import SAYS, words
from spiracle.sheets.worked_shape import cited

E = TypeVar("E", bound=Event)


def assess(t: Told) -> AssessSheet:
    asa = t.case.last(ev.AsaAssigned)
    consent = t.case.last(ev.ConsentRecorded)
    planned = t.case.last(ev.ProcedurePlanned)
    return AssessSheet(
        facts=(*_identity(t), *_examination(t), *_told(t)),
        results=tuple(_result(t, r) for r in t.case.live(ev.ResultNoted)),
        medicines=tuple(_medicine(t, m) for m in t.case.live(ev.MedicineNoted)),
        before=tuple(_before(t, b) for b in t.case.live(ev.GivenBefore)),
        previous=tuple(_previous(t, p) for p in t.case.live(ev.PreviousAnaesthesiaNoted)),
        flags=flags(t),
        conditions=tuple(sorted({c for h in t.case.live(ev.HistoryTaken) for c in h.conditions})),
        asa=asa.asa if asa else "",
        asa_emergency=asa.emergency if asa else False,
        asa_by=t.names.hand(asa.assigned_by or asa.by) if asa else "",
        procedure=planned.procedure if planned else consent.procedure if consent else "",
        procedure_minutes=planned.minutes if planned else None,
        resuscitation=consent.resuscitation if consent else "not asked",
    )


def _fact(t: Told, id_: str, label: str, event: Event | None, value: str, note: str = "") -> Fact:
    if event is None or not value:
        return Fact(id=id_, label=label, gap=True)
    return Fact(
        id=id_, label=label, value=value, event_id=event.id, at=event.happened_at, by=t.names.hand(event.by), note=note
    )


def _before(t: Told, b: ev.GivenBefore) -> Fact:
    """A dose of the ward or elsewhere: what, how much, when and by whom."""
    value = f"{figure(b.amount)} {unit_text(b.unit)} {b.route}"
    note = joined((t.names.day_clock(b.given_at), b.where, b.by_whom))
    return Fact(id=f"before {b.id}", label=capital(t.names.drug(b.drug)), value=value, event_id=b.id, at=b.happened_at,
                by=t.names.hand(b.by), note=note)  # fmt: skip


def _last(t: Told, id_: str, label: str, kind: type[E], say: Callable[[E], str]) -> Fact:
    event = t.case.last(kind)
    return _fact(t, id_, label, event, say(event) if event is not None else "")


def _identity(t: Told) -> tuple[Fact, ...]:
    patient = joined((t.breed, t.sex, t.age))
    dosed = t.case.last(ev.DosingWeightSet)
    facts = (
        _fact(t, "patient", "Patient", t.case.last(ev.PatientDescribed), patient),
        _last(t, "owner", "Owner", ev.OwnerNamed, lambda e: joined((e.name, e.phone))),
        _last(t, "weight", "Weight", ev.Weighed, lambda e: joined((kg_text(e.weight_kg), e.scale or e.method))),
        _last(t, "condition", "Body condition", ev.BodyConditionScored, lambda e: f"{e.score} of 9"),
    )
    if dosed is None:
        return facts
    said = f"{kg_text(dosed.weight_kg)}, {dosed.reason}"
    return (*facts, _fact(t, "dosing_weight", "Weight for doses", dosed, said))


EXAMINED: tuple[tuple[str, str, str, int, str], ...] = (
    ("temperature", "Temperature", "temperature_c", 1, "°C"),
    ("heart_rate", "Heart rate", "heart_rate", 0, "/min"),
    ("respiratory_rate", "Breaths", "respiratory_rate", 0, "/min"),
    ("gums", "Gums", "membranes", 0, ""),
    ("refill", "Refill", "refill_s", 0, "s"),
    ("heart", "Heart", "heart", 0, ""),
    ("lungs", "Lungs", "lungs", 0, ""),
    ("airway", "Airway", "airway", 0, ""),
)


def _examination(t: Told) -> tuple[Fact, ...]:
    """Each finding from the latest examination that looked at it."""
    exams = t.case.live(ev.Examined)
    facts = []
    for id_, label, name, places, unit in EXAMINED:
        event = next((e for e in reversed(exams) if getattr(e, name) not in {None, ""}), None)
        facts.append(_fact(t, id_, label, event, _found(getattr(event, name), places, unit) if event else ""))
    return tuple(facts)


def _found(value: Any, places: int, unit: str) -> str:
    if isinstance(value, str):
        return value
    return f"{observed(Decimal(value), places)} {unit}".strip()


def _told(t: Told) -> tuple[Fact, ...]:
    pain = next((p for p in reversed(t.case.live(ev.PainScored)) if p.phase in {"assess", "plan", "prepare"}), None)
    return (
        _said(t, "fasting", "Food and water", ev.FastingNoted),
        _last(t, "history", "History", ev.HistoryTaken, lambda e: _history(t, e)),
        _last(t, "allergies", "Allergies", ev.AllergiesAsked, lambda e: _allergies(t, e)),
        _last(t, "temperament", "Temperament", ev.TemperamentNoted, lambda e: joined((e.temperament, e.home_sedation))),
        _fact(t, "pain", "Pain score", pain, _score(pain) if pain else ""),
        _last(t, "consent", "Consent", ev.ConsentRecorded, lambda e: joined((e.consent, e.procedure))),
        _last(t, "procedure", "Procedure", ev.ProcedurePlanned, _procedure),
    )


def _history(t: Told, e: ev.HistoryTaken) -> str:
    return joined((e.problem, e.history, *map(t.names.condition, e.conditions)))


def _allergies(t: Told, e: ev.AllergiesAsked) -> str:
    return joined((*map(t.names.drug, e.allergies), e.reaction)) or "none known"


def _score(e: ev.PainScored) -> str:
    return f"{figure(e.score)} of {figure(e.out_of)}, {e.scale}"


def _procedure(e: ev.ProcedurePlanned) -> str:
    return joined((e.procedure, e.side, f"about {e.minutes} min" if e.minutes is not None else ""))


def _said(t: Told, id_: str, label: str, kind: type[Event]) -> Fact:
    event = t.case.last(kind)
    return _fact(t, id_, label, event, words(event, t.names) if event is not None else "")


def _result(t: Told, r: ev.ResultNoted) -> Fact:
    taken = r.taken_at or r.happened_at
    return Fact(id=r.test, label=r.test, value=f"{r.value} {unit_text(r.unit)}".strip(), event_id=r.id, at=taken,
                by=t.names.hand(r.by))  # fmt: skip


def _medicine(t: Told, m: ev.MedicineNoted) -> Fact:
    return Fact(id=m.medicine, label=t.names.drug(m.medicine), value=joined((m.dose, m.decision)), event_id=m.id,
                at=m.last_at, by=t.names.hand(m.by), gap=m.decision == "not decided")  # fmt: skip


def _previous(t: Told, p: ev.PreviousAnaesthesiaNoted) -> Fact:
    said = SAYS[type(p)](p, t.names).removeprefix("earlier anaesthetic: ")
    return Fact(id="previous", label="Earlier anaesthetic", value=said, event_id=p.id, at=p.happened_at,
                by=t.names.hand(p.by))  # fmt: skip


def flags(t: Told) -> tuple[RiskFlag, ...]:
    """What this patient's conditions change in the plan, and the risks a hand noted."""
    known = tuple(
        RiskFlag(
            title=f.title,
            changes=f.changes,
            severity=f.severity,
            memory=f.memory,
            cited=cited(f.source, t.facts.sources),
        )
        for f in t.facts.patient.flags(tuple(sorted(t.conditions)))
    )
    noted = tuple(RiskFlag(title=r.risk, changes=r.plan) for r in t.case.live(ev.RiskNoted))
    return (*known, *noted)
