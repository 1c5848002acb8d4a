"""Where, on one model's own scale, something was published to happen; and, in words, what cannot be put on that scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from spiracle.kinetics.choosing import Model
from spiracle.kinetics.effects import Level as EffectLevel
from spiracle.kinetics.effects import levels
from spiracle.kinetics.rows import Event
from spiracle.sheets.level_animal import first_push, premedication
from spiracle.sheets.level_words import Scale, in_scale
from spiracle.sheets.shapes import EffectMark
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited

WORDS: Mapping[Event, str] = {
    "asleep": "asleep",
    "no-swallow": "no swallow",
    "no-pedal-reflex": "no pedal reflex",
    "no-jaw-tone": "jaw loose",
    "intubation": "intubation",
    "apnoea": "apnoea",
    "light-anaesthesia": "light plane",
    "immobility": "immobile",
    "extubation": "waking, tube out",
    "walking": "walking",
    "recovered": "recovered",
    "antinociception": "analgesia from",
}
NOT_TOLD = "No published level is shown: what was given beforehand was reversed, or the tables do not say whether it still works."


@dataclass(frozen=True, slots=True)
class Marked:
    """Levels on a curve, the sentences of those that have no place on it, and what has to be said beside the placed ones."""

    marks: tuple[EffectMark, ...] = ()
    unplaced: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def marks_of(t: Told, model: Model, scale: Scale) -> Marked:
    """The published levels of this set for this premedication."""
    had = premedication(t, model.row.drug, first_push(t, model.row.drug))
    if had is None:
        return Marked(unplaced=(NOT_TOLD,))
    found = levels(t.facts.kinetics, model.id, had)
    placed = [x for x in found if x.low is not None or x.high is not None]
    return Marked(
        tuple(_mark(t, x, scale) for x in placed),
        tuple(x.words for x in found if x not in placed),
        tuple(_beside(model, placed)),
    )


def _mark(t: Told, level: EffectLevel, scale: Scale) -> EffectMark:
    low = in_scale(scale, level.low if level.low is not None else level.high or 0.0, level.row.unit)
    high = in_scale(scale, level.high if level.high is not None else level.low or 0.0, level.row.unit)
    return EffectMark(
        text=WORDS[level.event],
        low=low,
        high=high,
        level_text=_span(low, high, scale.unit),
        memory=level.memory,
        cited=cited(level.row.source, t.facts.sources),
    )


def _beside(model: Model, placed: list[EffectLevel]) -> Iterable[str]:
    if placed and model.widen:
        yield "Published levels and the times to them are those of the chosen set alone; the band reaches over every set."
    blood = [WORDS[x.event] for x in placed if x.row.site == "plasma"]
    if blood and model.has_effect_site:
        yield f"Levels of blood, drawn on the brain's curve: {', '.join(dict.fromkeys(blood))}."


def _span(low: float, high: float, unit: str) -> str:
    a, b = f"{low:.3g}", f"{high:.3g}"
    return f"{a} {unit}" if a == b else f"{a} to {b} {unit}"
