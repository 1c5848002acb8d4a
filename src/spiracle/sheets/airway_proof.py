"""Attempts at the tube and the proof that it lies in the trachea: what was seen, what still lacks."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.airway import (
    attempt_rules,
    breaths_needed,
    cuff_band,
    cuff_recheck_minutes,
    leak_band,
    proof_lacking,
    proofs,
)
from spiracle.case import events as ev
from spiracle.case.attempts import AttemptStory, story
from spiracle.case.decide_airway import CARD, DEPTH, DEPTH_UNDER_KG, depth_at
from spiracle.case.tube import Lying, cuff_cmh2o, last_lay, lying
from spiracle.quantity import Quantity, figure, printed_size
from spiracle.sheets.airway_secure import larynx_part, secure_lacking, sizes
from spiracle.sheets.names import joined, quantity_text
from spiracle.sheets.shapes import Attempt, InduceSheet, Num, PlanSheet, Proof, ToEffect
from spiracle.sheets.told import Told
from spiracle.sheets.words_during import SIGNS, tube_words
from spiracle.source import Guardrail


def airway_part(t: Told, agents: tuple[ToEffect, ...], plan: PlanSheet) -> InduceSheet:
    rules = attempt_rules(t.facts.airway)
    lies = last_lay(t.case)
    placed, went_in = (None, None) if lies is None else (lies.placed, lies.since)
    signs = signs_since(t, went_in)
    proven = proven_since(t, went_in)
    cuff = cuffs_since(t, went_in)
    return InduceSheet(
        agents=agents,
        attempts=attempts(t),
        attempt_limit=min(rules.attempts, t.hospital.attempt_limit),
        limit_s=rules.limit_s,
        spo2_floor=rules.spo2_floor,
        next_steps=rules.next_steps,
        tubes=plan.airway.tubes if plan.airway is not None else (),
        placed=_placed(t, placed),
        placed_text=tube_words(placed) if placed is not None else "",
        breaths=breaths(signs),
        breaths_needed=breaths_needed(t.facts.airway),
        proofs=_proofs(t, signs, plan),
        lacking=() if proven is not None else lacking(t, signs, went_in),
        proven_at=proven.happened_at if proven is not None else None,
        proven_by=joined((proven.method, t.names.hand(proven.by), t.names.hand(proven.second_person)))
        if proven is not None
        else "",
        cuff=_last(t, cuff, "cmH2O", cuff_cmh2o),
        cuff_band=band_text(cuff_band(t.facts.airway, t.species)),
        cuff_volume=_last(t, cuff, "mL", lambda c: c.volume_ml),
        leak=_last(t, cuff, "cmH2O", lambda c: c.leak_cmh2o),
        leak_band=band_text(leak_band(t.facts.airway, t.species)),
        cuff_recheck=cuff_recheck(t),
        larynx=larynx_part(t),
        tube_in_place=tube_went_in(t) is not None,
        secure_lacking=secure_lacking(t),
        plan_b=rules.next_steps[-1] if rules.next_steps else "",
        sizes=sizes(t),
        extubated_at=t.extubated_at,
    )


def tube_in_place(t: Told) -> Lying | None:
    """The tube that lies there now, whether anybody noted its size apart from the attempt or not."""
    return lying(t.case)


def tube_went_in(t: Told) -> datetime | None:
    """When it went in; None while none lies there. The decision asks the same."""
    lies = lying(t.case)
    return None if lies is None else lies.since


def signs_since(t: Told, start: datetime | None) -> dict[str, ev.ProofNoted]:
    """The last word on each sign since this tube went in; a sign noted as not seen is not a proof."""
    if start is None:
        return {}
    found = {p.sign: p for p in t.case.live(ev.ProofNoted) if p.happened_at >= start}
    return {sign: p for sign, p in found.items() if p.seen}


def proven_since(t: Told, start: datetime | None) -> ev.AirwayProven | None:
    """The declaration for this tube, as long as what it rests on still stands: struck or taken back, it proves nothing."""
    proven = t.case.last(ev.AirwayProven)
    if proven is None or start is None or proven.happened_at < start:
        return None
    signs = {s: p.breaths for s, p in signs_since(t, start).items()}
    return None if proof_lacking(t.facts.airway, signs, second_person=bool(proven.second_person)) else proven


def cuffs_since(t: Told, start: datetime | None) -> tuple[ev.CuffChecked, ...]:
    """Checks of this tube, the latest first: each figure is shown as last read, whatever was read with it."""
    if start is None:
        return ()
    return tuple(c for c in reversed(t.case.live(ev.CuffChecked)) if c.happened_at >= start)


def breaths(signs: dict[str, ev.ProofNoted]) -> int:
    co2 = signs.get("co2")
    return co2.breaths or 0 if co2 is not None else 0


def lacking(t: Told, signs: dict[str, ev.ProofNoted], went_in: datetime | None) -> tuple[str, ...]:
    """What must still be seen before the airway may be called proven: the same lines that the decision asks for."""
    if went_in is None:
        return ("no tube in place",)
    proof = proof_lacking(t.facts.airway, {s: p.breaths for s, p in signs.items()}, second_person=False)
    card = [SIGNS[line] for line in CARD if line not in signs]
    if (t.kg is None or t.kg < DEPTH_UNDER_KG) and (DEPTH not in signs or depth_at(t.case, went_in) is None):
        card.append(f"{SIGNS[DEPTH]}, in cm")
    return (*proof, *card)


def attempts(t: Told) -> tuple[Attempt, ...]:
    return tuple(_attempt(t, a) for a in story(t.case))


def _attempt(t: Told, a: AttemptStory) -> Attempt:
    began, end, out = a.began, a.ended, a.withdrawn
    return Attempt(
        attempt=began.attempt,
        number=a.number,
        began_at=began.happened_at,
        ended_at=end.happened_at if end is not None else None,
        outcome=end.outcome if end is not None else "",
        tube=f"ID {printed_size(began.tube_id_mm)} mm",
        operator=t.names.hand(began.operator) if began.operator else "",
        view=end.view if end is not None else "",
        changed=began.changed,
        aids=began.aids,
        blade=began.blade,
        seconds=a.seconds,
        lowest_spo2=f"{figure(a.lowest_spo2)} %" if a.lowest_spo2 is not None else "",
        came_out=_came_out(t, out, began.happened_at) if out is not None else "",
        came_out_at=out.happened_at if out is not None else None,
    )


def _leak_of(t: Told, went_in: datetime, out: datetime) -> Decimal | None:
    """The leak last read with this tube, none of an earlier one's."""
    read = [
        c.leak_cmh2o
        for c in t.case.live(ev.CuffChecked)
        if went_in <= c.happened_at <= out and c.leak_cmh2o is not None
    ]
    return read[-1] if read else None


def _came_out(t: Told, out: ev.TubeWithdrawn, began_at: datetime) -> str:
    """Why, and for a leak at which pressure: as noted with it, else as last read with that tube."""
    at = out.leak_cmh2o
    if at is None and out.reason == "leak":
        at = _leak_of(t, began_at, out.happened_at)
    return joined((out.reason, f"at {figure(at)} cmH₂O" if at is not None else ""), " ")


def _placed(t: Told, placed: ev.TubePlaced | None) -> Proof | None:
    if placed is None:
        return None
    depth = f"{figure(placed.depth_cm)} cm" if placed.depth_cm is not None else ""
    return Proof(
        sign="tube",
        label=f"ID {printed_size(placed.id_mm)} mm",
        seen_at=placed.happened_at,
        by=t.names.hand(placed.by),
        detail=depth,
        event_id=placed.id,
    )


def _proofs(t: Told, signs: dict[str, ev.ProofNoted], plan: PlanSheet) -> tuple[Proof, ...]:
    depth = (plan.airway.mark or plan.airway.insertion) if plan.airway is not None else None
    found = []
    for row in proofs(t.facts.airway):
        noted = signs.get(row.sign)
        expected = f"{depth.text} {depth.unit} expected" if row.sign == "depth" and depth is not None else row.expected
        found.append(
            Proof(
                sign=row.sign,
                label=row.label,
                expected=expected,
                seen_at=noted.happened_at if noted is not None else None,
                by=t.names.hand(noted.by) if noted is not None else "",
                detail=_noted_words(noted) if noted is not None else "",
                event_id=noted.id if noted is not None else "",
                part=row.part,
            )
        )
    return tuple(found)


def _noted_words(noted: ev.ProofNoted) -> str:
    return joined((f"{figure(noted.depth_cm)} cm" if noted.depth_cm is not None else "", noted.detail))


def band_text(band: Guardrail) -> str:
    """A band in words; one figure where low and high are the same."""
    if band.usual_low.equals(band.usual_high):
        return quantity_text(band.usual_high)
    return f"{figure(band.usual_low.value)} to {quantity_text(band.usual_high)}"


def _last(
    t: Told, checks: tuple[ev.CuffChecked, ...], unit: str, of: Callable[[ev.CuffChecked], Decimal | None]
) -> Num | None:
    for e in checks:
        value = of(e)
        if value is not None:
            text = quantity_text(Quantity.of(value, unit)).rsplit(" ", 1)
            return Num(text=text[0], unit=text[1], mark="typed", at=e.happened_at, by=t.names.hand(e.by))
    return None


def cuff_recheck(t: Told) -> datetime | None:
    """Ten minutes after the first measurement of this tube's cuff, and again after each turn; None when nothing is owed.

    A leak or the air noted meanwhile is no measurement of the cuff, but where it was never measured and the leak was.
    """
    lies = lying(t.case)
    if lies is None or (lies.placed is not None and not lies.placed.cuffed):
        return None
    noted = [c for c in t.case.live(ev.CuffChecked) if c.happened_at >= lies.since]
    measured = [c for c in noted if cuff_cmh2o(c) is not None] or [c for c in noted if c.leak_cmh2o is not None]
    checks = [c.happened_at for c in measured]
    if not checks:
        return None
    wait = timedelta(minutes=float(cuff_recheck_minutes(t.facts.airway).value.number("min")))
    turns = (p for p in t.case.live(ev.Positioned) if p.position.strip() or p.to_room.strip())  # not eyes or pads alone
    owed = [p.happened_at for p in turns if p.happened_at > checks[-1]][:1]
    if len(checks) == 1:
        owed.append(checks[0] + wait)
    return min(owed, default=None)
