"""Advice on the airway: no CO2, or none any more, and an airway that nobody has called proven."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from spiracle.case import events as ev
from spiracle.sheets.airway_proof import breaths, proven_since, signs_since, tube_went_in
from spiracle.sheets.calling import call_act
from spiracle.sheets.names import joined
from spiracle.sheets.on_wave import OnWave
from spiracle.sheets.shapes import Advice, InduceSheet
from spiracle.sheets.told import Seen, Told

NO_CO2_AFTER = timedelta(seconds=10)


def airway_advice(t: Told, sheet: InduceSheet, wave: OnWave | None = None) -> tuple[Advice, ...]:
    """While a tube lies there. What the last value says counts, before the airway is called proven and after it. Breaths that stand on
    the live wave answer for the tube as a value does."""
    went_in = tube_went_in(t)
    if went_in is None:
        return ()
    lost = gone(t, "etco2", went_in)
    if lost is not None:
        return (_lost_co2(t, lost),)
    still = gone(t, "respiratory_rate", went_in)
    if still is not None:
        return (_no_breaths(t, still), *_unproven(t, sheet, went_in, wave))
    return tuple(_unproven(t, sheet, went_in, wave))


def gone(t: Told, reading: str, went_in: datetime) -> Seen | None:
    """The first zero of an unbroken run of zeros up to now; None where the last word is a breath.

    A zero is not undone by time: it stands until a value, or CO2 noted by a hand, says otherwise.
    """
    noted = [p for p in t.case.live(ev.ProofNoted) if p.sign == "co2" and p.seen and p.breaths]
    since = max([went_in, *(p.happened_at for p in noted)])
    first = None
    for seen in reversed([s for s in t.seen.get(reading, ()) if s.current and s.at >= since]):
        if seen.value > 0:
            break
        first = seen
    return first


def _lost_co2(t: Told, first: Seen) -> Advice:
    return Advice(
        id="no co2",
        priority="high",
        title="CO₂ is 0. The tube may be out, blocked or disconnected, or blood does not flow.",
        since=first.at,
        body="Feel the pulse, look at tube and chest, give oxygen by hand; look again or take the tube out.",
        acts=call_act(t, "CO₂ is 0 with the tube in"),
    )


def _no_breaths(t: Told, first: Seen) -> Advice:
    return Advice(
        id="no breaths",
        priority="high",
        title="Breaths 0. It does not breathe.",
        since=first.at,
        body="Feel the pulse, look at the chest, breathe for it by hand.",
        acts=call_act(t, "no breaths with the tube in"),
    )


def _unproven(t: Told, sheet: InduceSheet, went_in: datetime, wave: OnWave | None) -> Iterable[Advice]:
    if sheet.proven_at is not None:
        return
    seen = bool(breaths(signs_since(t, went_in))) or _co2_seen(t, went_in) or (wave is not None and wave.breathes)
    if not seen:
        if t.now - went_in >= NO_CO2_AFTER:
            yield Advice(
                id="no co2",
                priority="high",
                title="No CO₂ since the tube went in. It may lie in the oesophagus.",
                since=went_in,
                body="Look again, listen, or take it out and give oxygen.",
                acts=call_act(t, "no CO₂ after intubation"),
            )
        return
    if t.now - went_in >= timedelta(minutes=1) and proven_since(t, went_in) is None:
        yield Advice(
            id="airway not proven",
            priority="medium",
            title="The airway is not proven yet.",
            since=went_in,
            body=f"Lacking: {joined(sheet.lacking)}." if sheet.lacking else "Say so when it is proven.",
        )


def _co2_seen(t: Told, since: datetime) -> bool:
    """Any value above zero; a zero after it was caught before."""
    return any(s.current and s.at >= since and s.value > 0 for s in t.seen.get("etco2", ()))
