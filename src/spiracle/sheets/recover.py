"""Recovery: before the tube comes out, who watches and when the next look is due, milestones, reversal, what follows."""

from __future__ import annotations

from datetime import datetime, timedelta

from spiracle.case import events as ev
from spiracle.case import standing
from spiracle.quantity import figure
from spiracle.sheets.handover import handover
from spiracle.sheets.names import joined, minutes_text
from spiracle.sheets.reversal_lines import reversal_lines
from spiracle.sheets.shapes import Criterion, DrugLine, Look, RecoverSheet
from spiracle.sheets.told import Told
from spiracle.sheets.words_after import look_words


def recover(t: Told, lines: tuple[DrugLine, ...]) -> RecoverSheet:
    watch = t.case.last(ev.RecoveryWatchBegan)
    looks = t.case.live(ev.RecoveryLooked)
    pain = t.case.last(ev.AnalgesiaPlanned)
    handed = t.case.last(ev.HandedOver)
    gone = t.case.last(ev.Discharged)
    outcome = t.case.last(ev.OutcomeNoted)
    packs_in, packs_out = standing.packs(t.case)
    due = next_look(t)
    return RecoverSheet(
        extubation=extubation(t),
        extubated_at=t.extubated_at,
        watcher=t.names.hand(watch.watcher) if watch else "",
        place=watch.place if watch else "",
        every_min=watch.every_min if watch else None,
        last_look=looks[-1].happened_at if looks else None,
        next_look=due,
        overdue=due is not None and due < t.now,
        looks=_looks(t),
        milestones=milestones(t),
        reversals=(
            *(line for line in lines if line.reversal or "reversal" in line.purpose),
            *reversal_lines(t.case, t.facts, t.now),
        ),
        analgesia=pain.plan if pain else "",
        next_analgesia=pain.next_due if pain else None,
        handover=handover(t),
        handed_to=t.names.hand(handed.to) if handed else "",
        handed_at=handed.happened_at if handed else None,
        discharge=joined((gone.disposition, gone.instructions)) if gone else "",
        outcome=joined((outcome.outcome, outcome.detail)) if outcome else "",
        outcome_due=outcome_due(t),
        packs_in=packs_in,
        packs_out=packs_out,
    )


def _looks(t: Told) -> tuple[Look, ...]:
    found = []
    for line in t.case.every(ev.RecoveryLooked):
        e = line.event
        assert isinstance(e, ev.RecoveryLooked)  # noqa: S101
        found.append(
            Look(
                event_id=e.id,
                at=e.happened_at,
                by=t.names.hand(e.by),
                text=look_words(e),
                not_right=e.not_right,
                struck=line.struck is not None,
            )
        )
    return tuple(found)


def sternal(t: Told) -> datetime | None:
    """Marked, or first seen so at a look."""
    seen = [x.happened_at for x in t.case.live(ev.RecoveryLooked) if x.state in {"sternal", "standing"}]
    return t.mark("sternal") or (seen[0] if seen else None)


def standing_at(t: Told) -> datetime | None:
    seen = [x.happened_at for x in t.case.live(ev.RecoveryLooked) if x.state == "standing"]
    return t.mark("standing") or (seen[0] if seen else None)


def is_warm(t: Told) -> bool:
    last = t.current("temperature")
    return t.facts.recovery.is_warm(last.value if last is not None else None)


def next_look(t: Told) -> datetime | None:
    """When someone must look again: from the tube out, by the interval that was agreed, until recovery has ended."""
    watch = t.case.last(ev.RecoveryWatchBegan)
    if t.ended_at is not None or t.case.live(ev.Discharged):
        return None
    start = t.extubated_at or (watch.happened_at if watch else None)
    if start is None:
        return None
    looks = t.case.live(ev.RecoveryLooked)
    return t.facts.recovery.next_look(
        start,
        looks[-1].happened_at if looks else None,
        sternal=sternal(t) is not None,
        warm=is_warm(t),
        agreed_every=watch.every_min if watch else None,
    )


def outcome_due(t: Told) -> datetime | None:
    """Two days after the end: the call that closes the case. None once it was made, or before anything ended."""
    end = t.ended_at or t.extubated_at
    return t.facts.recovery.outcome_due(end) if end is not None else None


def milestones(t: Told) -> tuple[tuple[str, datetime | None], ...]:
    return (
        ("agent off", t.mark("agent off")),
        ("tube out", t.extubated_at),
        ("sternal", sternal(t)),
        ("standing", standing_at(t)),
        ("recovery end", t.mark("recovery end")),
    )


def extubation(t: Told) -> tuple[Criterion, ...]:
    """The card before the tube comes out: what the log already shows is met or not; the rest is for a hand to say."""
    planned = t.case.last(ev.ProcedurePlanned)
    relaxed = any(t.facts.drugs.class_of(g.drug) == "relaxant" for g in t.given)
    conditions = t.conditions | ({"relaxant-given"} if relaxed else set())
    rows = t.facts.recovery.extubation(t.species, conditions, planned.procedure if planned else "")
    out = t.case.last(ev.Extubated)
    said = {c.line: c for c in t.case.live(ev.CheckLineDone) if c.list == "recovery"}
    found = []
    for row in rows:
        met, detail = KNOWN.get(row.id, _unknown)(t)
        if row.id in said:
            met, detail = said[row.id].outcome == "done", said[row.id].detail or detail
        if out is not None and row.id in out.signs:
            met = True
        found.append(Criterion(id=row.id, title=row.says, met=met, detail=detail or row.detail, hard=row.hard))
    return tuple(found)


def _unknown(t: Told) -> tuple[bool | None, str]:
    return None, ""


def _agent_off(t: Told) -> tuple[bool | None, str]:
    """Off by the mark or by the dial, and oxygen still on."""
    dial, gas = t.case.last(ev.VaporiserSet), t.case.last(ev.GasSet)
    marked = t.mark("agent off")
    off = (dial is not None and not dial.percent) or (
        marked is not None and (dial is None or marked >= dial.happened_at)
    )
    oxygen = f"oxygen {figure(gas.oxygen_l_min)} L/min" if gas is not None else ""
    if dial is not None and not off:
        return False, f"dial {figure(dial.percent)} %"
    return (True if off and gas is not None and gas.oxygen_l_min else None), oxygen


def _packs(t: Told) -> tuple[bool | None, str]:
    """The one stop: as many out as went in."""
    went_in, came_out = standing.packs(t.case)
    if not went_in:
        return True, "none put in"
    return came_out >= went_in, f"in {went_in}, out {came_out}"


def _breathes(t: Told) -> tuple[bool | None, str]:
    mode = t.case.last(ev.VentilationSet)
    said = joined((
        f"{s.text} /min" if (s := t.current("respiratory_rate")) is not None else "",
        f"SpO₂ {s.text} %" if (s := t.current("spo2")) is not None else "",
        f"CO₂ {s.text} mmHg" if (s := t.current("etco2")) is not None else "",
    ))  # fmt: skip
    if mode is not None and mode.mode != "spontaneous":
        return False, joined((mode.mode, said))
    return None, said


def _temperature(t: Told) -> tuple[bool | None, str]:
    last = t.current("temperature")
    return (None, "") if last is None else (True, f"{last.text} °C")


def _block_gone(t: Told) -> tuple[bool | None, str]:
    open_ = reversible(t)
    return None, joined(f"{name}, {minutes_text(ago)} ago" for name, ago in open_)


# What the log itself can answer; every other line of the card is for a hand to say.
KNOWN = {
    "agent-off": _agent_off,
    "packs-out": _packs,
    "breathes-well": _breathes,
    "not-cold": _temperature,
    "block-gone": _block_gone,
}


def reversible(t: Told) -> tuple[tuple[str, timedelta], ...]:
    """Drugs given that have a reversal in the formulary, with the time since the last push."""
    with_reversal = {d.id for d in t.facts.drugs.drugs if d.reversal}
    last = {g.drug: g.happened_at for g in t.given if g.drug in with_reversal}
    return tuple((t.names.drug(drug), t.now - at) for drug, at in last.items())
