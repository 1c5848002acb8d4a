"""The ventilator beside the animal: first settings for its lean weight, alarms, what is set now, and what a change would do.

Worked by the breathing room. What is predicted (pressure, CO2) is marked so, and nothing here is an order.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal
from typing import Any

from msgspec.structs import replace

from spiracle import breathing
from spiracle.case import events as ev
from spiracle.case.facts import Facts
from spiracle.case.ventilation import Lean, judged, lean_weight, typed, unweighed
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import Refusal
from spiracle.sheets.names import unit_text
from spiracle.sheets.plan_shapes import Amount, NamedAmount, VentilatorPart, amount
from spiracle.sheets.shapes import AlarmLine, Change, Num, VentilatorCard, VentilatorStart
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import number as plain_number
from spiracle.sheets.worked_shape import plain_refused, refused, worked_amount
from spiracle.source import Mark, Sources, Worked, Zone

ARTERIAL = frozenset({"paco2", "arterial co2", "pco2 arterial", "pco2, arterial"})
CO2_FRESH = timedelta(minutes=30)
# One change at a time, small enough to be looked at before the next.
RATE_STEP, TIDAL_STEP = Decimal(2), Decimal(10)


def number(worked: Worked[Quantity] | Quantity, title: str, sources: Sources | None = None, **more: Any) -> Num:
    """As every sheet prints a figure, with its unit in the signs of a page."""
    found = plain_number(worked, title, sources, **more)
    return replace(found, unit=unit_text(found.unit))


def plan_card(facts: Facts, species: str, lean: Lean, *, estimated: bool = False) -> VentilatorCard:
    """For the plan: what to set first in both modes, and the alarms of volume mode."""
    made = [(mode, _settings(facts, species, lean.weight, mode)) for mode in breathing.MODES]
    first = next((s for _, s in made if isinstance(s, breathing.Settings)), None)
    return VentilatorCard(
        lean=number(lean.weight, "lean weight", facts.sources, significant=3, estimated=estimated or lean.estimate),
        basis=lean.basis,
        starts=tuple(_start(facts, mode, s, estimated or lean.estimate) for mode, s in made),
        alarms=() if first is None else tuple(_alarm_lines(first.alarms)),
    )


def plan_parts(facts: Facts, species: str, lean: Lean, *, estimated: bool = False) -> tuple[VentilatorPart, ...]:
    """The same for the plan's JSON and print."""
    weight = amount(lean.weight, estimated=estimated or lean.estimate)
    return tuple(
        _part(_settings(facts, species, lean.weight, mode), mode, weight, lean.basis) for mode in breathing.MODES
    )


def _settings(facts: Facts, species: str, lean: Quantity, mode: str) -> breathing.Settings | Refusal:
    try:
        return breathing.settings(facts.breathing, species, lean, mode)
    except Refusal as why:
        return why


def _part(made: breathing.Settings | Refusal, mode: str, weight: Amount, basis: str) -> VentilatorPart:
    if isinstance(made, Refusal):
        return VentilatorPart(mode=mode, lean_weight=weight, basis=basis, refused=plain_refused(made))
    return VentilatorPart(
        mode=mode,
        lean_weight=weight,
        basis=basis,
        tidal=worked_amount(made.tidal, estimated=weight.estimated),
        rate=worked_amount(made.rate),
        inspiration=worked_amount(made.inspiration),
        ratio=made.ratio,
        peep=amount(made.peep),
        peak=worked_amount(made.peak, predicted=True, estimated=weight.estimated),
        set_pressure=None
        if made.set_pressure is None
        else amount(made.set_pressure, memory=made.peak.working.memory, estimated=True, predicted=True),
        minute_volume=worked_amount(made.minute_volume, estimated=weight.estimated),
        alarms=tuple(NamedAmount(name=a.name, amount=amount(a.value, memory=a.memory)) for a in made.alarms),
        notes=made.cautions,
    )


def _start(facts: Facts, mode: str, made: breathing.Settings | Refusal, estimated: bool) -> VentilatorStart:
    kind = next(m for m in breathing.MODES if m == mode)
    if isinstance(made, Refusal):
        return VentilatorStart(mode=kind, refusal=refused(made))

    def num(worked: Worked[Quantity], title: str, *, predicted: bool = False, significant: int = 3) -> Num:
        mark = "predicted" if predicted else "worked"
        return number(worked, title, facts.sources, significant=significant, mark=mark, estimated=estimated)

    return VentilatorStart(
        mode=kind,
        tidal=num(made.tidal, "tidal volume"),
        rate=number(made.rate, "ventilator rate", facts.sources),
        inspiration=number(made.inspiration, "inspiration", facts.sources),
        ratio=made.ratio,
        peep=number(made.peep, "PEEP"),
        peak=num(made.peak, "expected peak pressure", predicted=True, significant=2),
        set_pressure=None
        if made.set_pressure is None
        else number(
            made.set_pressure, "pressure to set", mark="predicted", memory=made.peak.working.memory, estimated=True
        ),
        minute_volume=num(made.minute_volume, "minute volume"),
        cautions=made.cautions,
    )


def _alarm_lines(alarms: Iterable[breathing.Alarm]) -> Iterable[AlarmLine]:
    for a in alarms:
        yield AlarmLine(name=a.name, value=number(a.value, a.name, significant=2, memory=a.memory), says=a.says)


# ---- beside the animal


def maintain_card(t: Told) -> VentilatorCard | None:
    """First settings, and what is set now against them; None while nobody has said a weight."""
    known = lean_weight(t.case, t.facts)
    if known is None:
        return None
    card = plan_card(t.facts, t.species, known, estimated=t.estimated)
    set_ = t.case.last(ev.VentilationSet)
    if set_ is None:
        return card
    if t.extubated_at is not None and set_.happened_at <= t.extubated_at:
        return card  # the tube is out: what was set breathes for nobody
    own = compliance(set_)
    co2, source = co2_now(t, set_)
    why = unweighed(t.facts, t.species, known) if set_.tidal_ml is not None and set_.mode != "spontaneous" else ""
    unjudged = (f"tidal volume: cannot be held against the animal: {why}.",) if why else ()
    alarms, refused_ = _alarms_for(t.facts, t.species, known, set_, card.alarms)
    return replace(
        card,
        now=set_words(set_),
        now_at=set_.happened_at,
        judged=(*(j.words for j in judged(t.facts, t.species, known, set_)), *unjudged, *refused_),
        compliance=None if own is None else number(own, "compliance", t.facts.sources, significant=3),
        alarms=alarms,
        co2=source,
        changes=() if co2 is None else tuple(changes(t.facts, t.species, known, set_, co2)),
    )


def set_words(set_: ev.VentilationSet) -> str:
    """As "ventilator, volume 26 mL, 14 /min, peak 9, PEEP 2 cmH2O"."""
    parts = [set_.mode + (f", {set_.held_by}" if set_.held_by else "")]
    if set_.tidal_ml is not None:
        parts.append(f"{figure(set_.tidal_ml)} mL")
    if set_.rate is not None:
        parts.append(f"{set_.rate} /min")
    pressures = [f"{n} {figure(v)}" for n, v in (("peak", set_.peak_cmh2o), ("PEEP", set_.peep_cmh2o)) if v is not None]
    if pressures:
        parts.append(", ".join(pressures) + " cmH₂O")
    if set_.inspiration_s is not None:
        parts.append(f"in {figure(set_.inspiration_s)} s")
    return ", ".join(parts)


def compliance(set_: ev.VentilationSet) -> Worked[Quantity] | None:
    """Of this animal, from a breath and its pressures as they stand on the ventilator; None where one is lacking."""
    if set_.mode != "ventilator" or None in (set_.tidal_ml, set_.peak_cmh2o, set_.peep_cmh2o):
        return None
    try:
        return breathing.measured_compliance(
            Quantity.of(set_.tidal_ml or 0, "mL"),
            Quantity.of(set_.peak_cmh2o or 0, "cmH2O"),
            Quantity.of(set_.peep_cmh2o or 0, "cmH2O"),
            Mark.TYPED,
        )
    except Refusal:
        return None


def _alarms_for(
    facts: Facts, species: str, known: Lean, set_: ev.VentilationSet, first: tuple[AlarmLine, ...]
) -> tuple[tuple[AlarmLine, ...], tuple[str, ...]]:
    """Alarms for what is set, or none and why: those of other settings would sound for nothing, or not at all.

    While no ventilator breathes, those of the first settings stay beside them.
    """
    if set_.mode != "ventilator":
        return first, ()
    try:
        made = breathing.alarms_for(
            facts.breathing, species, known.weight, peak=typed(set_.peak_cmh2o, "cmH2O"),
            peep=typed(set_.peep_cmh2o, "cmH2O"), tidal=typed(set_.tidal_ml, "mL"),
        )  # fmt: skip
    except Refusal as why:
        return (), (why.sentence,)
    return tuple(_alarm_lines(made)), ()


def co2_now(t: Told, set_: ev.VentilationSet) -> tuple[Quantity | None, str]:
    """The CO2 a prediction starts from and its name: arterial where it was measured since, else end-tidal, which may be lower.

    None with the reason where it was read before it had settled after the last change of the ventilator.
    """
    since = max(set_.happened_at, t.now - CO2_FRESH)
    settles = t.facts.breathing.setting("co2-settles")
    settled = set_.happened_at + timedelta(minutes=float(settles.value))
    early = ""
    for sample in reversed(t.case.live(ev.SampleAnalysed)):
        for name, value, unit in sample.results:
            if name.strip().casefold() in ARTERIAL and sample.happened_at >= since:
                try:
                    found = read(f"{value} {unit}".strip(), "arterial CO2", "pressure")
                except Refusal:
                    continue
                said = f"arterial {found}, {t.names.clock(sample.happened_at)}"
                if sample.happened_at >= settled:
                    return found, said
                early = early or said
    seen = t.current("etco2")
    if seen is not None and seen.at >= since and seen.value > 0:
        said = f"end-tidal {seen.text} mmHg, {t.names.clock(seen.at)}"
        if seen.at >= settled:
            return Quantity.of(seen.value, "mmHg"), f"{said}, taken for arterial, which is usually higher"
        early = early or said
    if not early or set_.mode != "ventilator":
        return None, ""
    return None, f"No CO₂ is predicted: {early}, is less than {settles.quantity} after the last change."


def changes(facts: Facts, species: str, known: Lean, set_: ev.VentilationSet, co2: Quantity) -> Iterable[Change]:
    """One change at a time, and only where the breath or rate stays within the usual."""
    if set_.mode != "ventilator" or set_.rate is None or set_.tidal_ml is None:
        return
    rate, breath = Quantity.of(set_.rate, "/min"), Quantity.of(set_.tidal_ml, "mL")
    tenth = set_.tidal_ml * TIDAL_STEP / 100
    tries = [
        (f"rate to {set_.rate + step}", Quantity.of(set_.rate + step, "/min"), breath)
        for step in (RATE_STEP, -RATE_STEP)
    ]
    tries += [(f"breath to {figure(set_.tidal_ml + more, 3)} mL", rate, Quantity.of(set_.tidal_ml + more, "mL"))
              for more in (tenth, -tenth)]  # fmt: skip
    for words, rate_to, tidal_to in tries:
        try:
            beside = breathing.judge(
                facts.breathing, species, known.weight, tidal=tidal_to, rate=rate_to, scored=known.scored
            )
            if any(j.zone is not Zone.USUAL for j in beside):
                continue
            then = breathing.predicted_paco2(
                facts.breathing, co2, rate_from=rate, tidal_from=breath, rate_to=rate_to, tidal_to=tidal_to
            )
        except Refusal:
            continue
        yield Change(
            change=words, paco2=number(then, f"CO2 after {words}", facts.sources, significant=2, mark="predicted")
        )
