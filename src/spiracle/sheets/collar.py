"""The strip that never scrolls away: who the patient is, the weight in use and its age, ASA, allergies, time asleep."""

from __future__ import annotations

from decimal import Decimal

from spiracle.case import signing
from spiracle.case.events import AllergiesAsked, AsaAssigned, Weighed
from spiracle.quantity import figure
from spiracle.sheets.names import joined, kg_text, shown_kg
from spiracle.sheets.shapes import Allergies, Collar, Num
from spiracle.sheets.told import Told

_BASIS = {"scale": "scale", "estimated": "estimated", "owner": "as the owner said", "earlier visit": "earlier visit"}


def collar(t: Told, open_lines: int = 0) -> Collar:
    weight = t.weight
    reasons = draft_reasons(t, open_lines)
    return Collar(
        case=t.opened.case,
        name=t.name,
        species=t.species,
        breed=t.breed,
        age=t.age,
        sex=t.sex,
        kind=t.opened.kind,
        practice=t.opened.practice,
        weight=weight_num(t),
        weight_kg=float(weight.kg) if weight else None,
        weight_basis=weight_basis(t),
        weight_at=weight.at if weight else None,
        weight_by=t.names.hand(weight.by) if weight else "",
        weight_stale=bool(weight_stale(t)),
        estimated=t.estimated,
        asa=asa_text(t),
        allergies=allergies(t),
        planned_at=t.opened.planned_at,
        induced_at=t.induced_at,
        ended_at=t.woken_at,
        draft=bool(reasons),
        draft_reasons=reasons,
    )


def weight_num(t: Told) -> Num | None:
    w = t.weight
    if w is None:
        return None
    return Num(
        text=figure(shown_kg(w.kg)), unit="kg", mark="typed", estimated=w.estimated, at=w.at, by=t.names.hand(w.by)
    )


def weight_basis(t: Told) -> str:
    """How the weight is known, and the other weight that doses are worked on, where a veterinarian set one."""
    if t.weight is None:
        return ""
    event: Weighed = t.weight.event
    how = event.scale or _BASIS[event.method]
    dosed = t.kg
    other = f"doses on {figure(dosed)} kg" if dosed is not None and dosed != t.weight.kg else ""
    return joined((how, other))


def weight_stale(t: Told) -> str:
    """Empty while the weight is young enough; else the sentence that says it is not."""
    if t.weight is None:
        return "not weighed"
    from spiracle.patient import Weight

    w = t.weight
    kept = Weight(kg=w.kg, method=w.event.method, at=w.at)
    hours = (t.hospital.weight_hours, t.hospital.weight_hours_small)
    return t.facts.patient.weight_stale(kept, t.species, t.now, t.age_days, hours)


def asa_text(t: Told) -> str:
    asa = t.case.last(AsaAssigned)
    return "" if asa is None else f"{asa.asa}{' E' if asa.emergency else ''}"


def allergies(t: Told) -> Allergies:
    asked = t.case.last(AllergiesAsked)
    if asked is None:
        return Allergies(state="not asked")
    if not asked.allergies:
        return Allergies(state="none known", asked_at=asked.happened_at)
    said = joined((joined(t.names.drug(a) for a in asked.allergies), asked.reaction), "; ")
    return Allergies(state="listed", text=said, asked_at=asked.happened_at)


def draft_reasons(t: Told, open_lines: int) -> tuple[str, ...]:
    """Why the plan is still a draft: each reason in words, none when it stands signed for this weight and ASA."""
    state = signing.state(t.case, t.facts, t.now)
    reasons: list[str] = []
    if t.weight is None:
        reasons.append("not weighed")
    elif t.induced_at is None and (stale := weight_stale(t)):
        reasons.append(stale)
    if state.approved is None:
        reasons.append("not signed")
    reasons += state.stale
    if open_lines:
        reasons.append(f"{open_lines} line open" if open_lines == 1 else f"{open_lines} lines open")
    return tuple(dict.fromkeys(reasons))


def about(t: Told) -> str:
    """Species, weight and ASA in one line, as a board shows them."""
    weight = kg_text(Decimal(t.weight.kg)) if t.weight else "not weighed"
    asa = asa_text(t)
    return joined((t.species, weight, asa or "ASA not set"), " · ")
