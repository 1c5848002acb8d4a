"""What falls due, soonest first: the next row, the cuff again, the next look, pain relief, glucose, the weight, the call.

Each line says when it is due and since when one waits, so that a page can show the time closing. Nothing here blocks.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from spiracle.case import events as ev
from spiracle.case.tube import cuff_cmh2o
from spiracle.quantity import figure
from spiracle.sheets.airway_proof import cuff_recheck
from spiracle.sheets.bands import short
from spiracle.sheets.chart import EVERY
from spiracle.sheets.countersign import due_signatures
from spiracle.sheets.maintain import ends_at, row_due
from spiracle.sheets.names import joined, kg_text
from spiracle.sheets.oxygen_now import oxygen_due
from spiracle.sheets.recover import next_look, outcome_due
from spiracle.sheets.repeats import repeats
from spiracle.sheets.shapes import Due
from spiracle.sheets.told import Told

# Every 30 to 60 minutes in the very young, the very small and the diabetic: general teaching, from memory (fact N30 of
# the circulation room); the shorter wait is the one shown, and the line says where it comes from.
GLUCOSE_AFTER = timedelta(minutes=30)
GLUCOSE_FOR = frozenset({"diabetes", "insulinoma", "neonate", "paediatric", "age-under-12-weeks", "under-2-kg"})


def due(t: Told) -> tuple[Due, ...]:
    """All that is owed, by time. The same time keeps the order of this page."""
    found = [
        *_weigh(t),
        *_emergency_fields(t),
        *_row(t),
        *_cuff(t),
        *_probe(t),
        *_glucose(t),
        *_bags(t),
        *oxygen_due(t),
        *_look(t),
        *_analgesia(t),
        *repeats(t),
        *_call(t),
        *due_signatures(t),
    ]
    return tuple(sorted(found, key=lambda d: d.at))


def _weigh(t: Told) -> Iterable[Due]:
    """First of all while the weight is a guess: every figure hangs on it."""
    if t.ended_at is not None:
        return
    if t.weight is None:
        yield Due(id="weigh", title="Weigh now", detail="no weight yet: no dose can be worked out",
                  at=t.opened.happened_at, from_at=t.opened.happened_at, phase="assess")  # fmt: skip
    elif t.weight.estimated:
        yield Due(id="weigh", title="Weigh now", detail=f"{kg_text(t.weight.kg)} is {t.weight.event.method}",
                  at=t.weight.at, from_at=t.weight.at, phase="assess")  # fmt: skip


EMERGENCY_FIELDS: tuple[tuple[str, str, type[ev.Event]], ...] = (
    ("fasting", "Food time", ev.FastingNoted),
    ("temperature", "Temperature", ev.Examined),
    ("allergies", "Allergies and medicines", ev.AllergiesAsked),
    ("asa", "ASA with E", ev.AsaAssigned),
    ("ordered", "Who ordered", ev.DrugOrdered),
)


def _emergency_fields(t: Told) -> Iterable[Due]:
    """The few fields that emergencies lose, asked for as soon as there is a hand free."""
    if t.opened.kind != "emergency" or t.ended_at is not None:
        return
    for id_, title, kind in EMERGENCY_FIELDS:
        known = bool(t.case.live(kind)) or (id_ == "temperature" and t.current("temperature") is not None)
        if not known:
            yield Due(id=id_, title=title, detail="asked for later, when a hand is free", at=t.opened.happened_at,
                      from_at=t.opened.happened_at, phase="assess")  # fmt: skip


def _row(t: Told) -> Iterable[Due]:
    at = row_due(t)
    if at is not None:
        yield Due(id="row", title="Five-minute row", detail="eye, jaw, pulse, gums", at=at, from_at=at - EVERY)


def _cuff(t: Told) -> Iterable[Due]:
    at = cuff_recheck(t)
    checks = t.case.live(ev.CuffChecked)
    if at is None or not checks:
        return
    read = [p for c in checks if (p := cuff_cmh2o(c)) is not None]
    said = f"last {figure(read[-1])} cmH₂O" if read else "pressure not measured"
    turned = "the animal was turned" if any(p.happened_at == at for p in t.case.live(ev.Positioned)) else ""
    yield Due(
        id="cuff", title="Cuff pressure again", detail=joined((said, turned)), at=at, from_at=checks[-1].happened_at
    )


def _probe(t: Told) -> Iterable[Due]:
    """A temperature within the first minutes asleep."""
    if not t.asleep or t.induced_at is None:
        return
    if any(s.current and s.at >= t.induced_at for s in t.seen.get("temperature", ())):
        return
    at = t.induced_at + timedelta(minutes=t.facts.warmth.probe_prompt_min)
    yield Due(id="temperature probe", title="Temperature probe", detail="no temperature since induction", at=at,
              from_at=t.induced_at)  # fmt: skip


def needs_glucose(t: Told) -> str:
    """Why glucose is followed in this patient; empty where nothing says so."""
    found = sorted(t.conditions & GLUCOSE_FOR)
    return t.names.condition(found[0]) if found else ""


def last_glucose(t: Told) -> datetime | None:
    seen = [s.at for s in t.seen.get("glucose", ()) if s.current]
    seen += [
        s.happened_at for s in t.case.live(ev.SampleAnalysed) if any(n.lower() == "glucose" for n, _, _ in s.results)
    ]
    seen += [r.happened_at for r in t.case.live(ev.ResultNoted) if r.test.lower() == "glucose"]
    return max(seen, default=None)


def _glucose(t: Told) -> Iterable[Due]:
    why = needs_glucose(t)
    if not why or t.induced_at is None or t.ended_at is not None:
        return
    last = last_glucose(t)
    start = last or t.induced_at
    detail = joined((why, "none yet" if last is None else "", "interval from memory"))
    yield Due(id="glucose", title="Glucose", detail=detail, at=start + GLUCOSE_AFTER, from_at=start)


def _bags(t: Told) -> Iterable[Due]:
    for infusion in t.infusions:
        at = ends_at(t, infusion) if infusion.running else None
        if at is not None:
            name = short(infusion.started.drug, t.names.drug(infusion.started.drug))
            yield Due(id=f"bag {infusion.started.infusion}", title=f"{name} runs empty",
                      detail=f"at {figure(infusion.rate_ml_h)} mL/h", at=at, from_at=infusion.since)  # fmt: skip


def _look(t: Told) -> Iterable[Due]:
    at = next_look(t)
    if at is None:
        return
    looks = t.case.live(ev.RecoveryLooked)
    watch = t.case.last(ev.RecoveryWatchBegan)
    since = looks[-1].happened_at if looks else t.extubated_at or (watch.happened_at if watch else at)
    who = f"watched by {t.names.hand(watch.watcher)}" if watch else "nobody is named to watch"
    yield Due(id="look", title="Look", detail=who, at=at, from_at=since, phase="recover")


def _analgesia(t: Told) -> Iterable[Due]:
    plan = t.case.last(ev.AnalgesiaPlanned)
    if plan is None or plan.next_due is None:
        return
    given = [g for g in t.given if g.happened_at > plan.happened_at and g.happened_at >= plan.next_due - EVERY]
    if not given:
        yield Due(id="analgesia", title="Pain relief", detail=plan.plan, at=plan.next_due, from_at=plan.happened_at,
                  phase="recover")  # fmt: skip


def _call(t: Told) -> Iterable[Due]:
    at = outcome_due(t)
    if at is None or t.case.live(ev.OutcomeNoted):
        return
    owner = t.case.last(ev.OwnerNamed)
    end = t.ended_at or t.extubated_at
    yield Due(id="outcome", title="Call: how is it two days on", detail=joined((owner.name, owner.phone)) if owner else "",
              at=at, from_at=end, phase="record")  # fmt: skip
