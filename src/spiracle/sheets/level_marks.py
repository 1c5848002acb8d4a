"""Where, on one model's own scale, something was published to happen; and, in words, what cannot be put on that scale."""

from __future__ import annotations

from collections.abc import Mapping

from spiracle.kinetics import Model
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


def marks_of(t: Told, model: Model, scale: Scale) -> tuple[tuple[EffectMark, ...], tuple[str, ...]]:
    """The published levels of this set for this premedication, and the sentences of those that have no place on it."""
    had = premedication(t, model.row.drug, first_push(t, model.row.drug))
    if had is None:
        return (), (NOT_TOLD,)
    placed, unplaced = [], []
    for level in levels(t.facts.kinetics, model.id, had):
        if level.low is None and level.high is None:
            unplaced.append(level.words)
            continue
        low = in_scale(scale, level.low if level.low is not None else level.high or 0.0, level.row.unit)
        high = in_scale(scale, level.high if level.high is not None else level.low or 0.0, level.row.unit)
        placed.append(
            EffectMark(
                text=WORDS[level.event],
                low=low,
                high=high,
                level_text=_span(low, high, scale.unit),
                memory=level.memory,
                cited=cited(level.row.source, t.facts.sources),
            )
        )
    return tuple(placed), tuple(unplaced)


def _span(low: float, high: float, unit: str) -> str:
    a, b = f"{low:.3g}", f"{high:.3g}"
    return f"{a} {unit}" if a == b else f"{a} to {b} {unit}"
