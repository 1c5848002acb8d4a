"""Whether more is given than a model was made from, or than anything published says is given."""

from __future__ import annotations

import numpy as np

from spiracle.case.facts import Facts
from spiracle.kinetics.rows import ModelRow
from spiracle.kinetics.schedule import Schedule
from spiracle.refusals import Refusal
from spiracle.sheets.predict_model import Chosen
from spiracle.sheets.predict_shapes import Peak

HOUR_MIN, SOON_MIN = 60, 10


def beyond(chosen: Chosen, schedule: Schedule, facts: Facts) -> str:
    """Why no curve is drawn: more was given than the model is for. Empty where it is not so."""
    row = None if chosen.row is None else chosen.row.row
    if row is None or row.total_at_most_mg_kg is None or row.total_within_min is None:
        return ""
    most, within = float(row.total_at_most_mg_kg), float(row.total_within_min)
    highest = most_within(schedule, within)
    if highest <= most:
        return ""
    return (f"No curve: {highest:.3g} mg/kg within {row.total_within_min} min is past this model's range, which ends at "
            f"{most:g} mg/kg: {row.total_says}.{_instead(row, facts)}")  # fmt: skip


def most_within(schedule: Schedule, span_min: float) -> float:
    """The most that is given within any so many minutes [mg/kg], their first and last moment among them.

    It is reached when something stops, or so long after something began.

    >>> from spiracle.kinetics.schedule import Infusion
    >>> most_within(Schedule((), (Infusion(0, 10, 0.5), Infusion(10, 100, 0.1))), 60)
    10.0
    """
    flows = [(b.at_min, b.at_min + b.over_min) for b in schedule.boluses] + [
        (i.start_min, i.stop_min) for i in schedule.infusions
    ]
    ends = {stop for _, stop in flows} | {start + span_min for start, _ in flows}

    def before(minute: float) -> float:
        return schedule.total_by(float(np.nextafter(minute, -np.inf))) if minute > 0 else 0.0

    return max(schedule.total_by(end) - before(end - span_min) for end in ends)


def kept_peaks(peaks: tuple[Peak, ...], chosen: Chosen, schedule: Schedule) -> tuple[tuple[Peak, ...], tuple[str, ...]]:
    """The peaks that a model can speak of, and why another is left out: some tell nothing of the first minutes after a dose."""
    first = None if chosen.row is None else chosen.row.row.not_before_min
    if first is None:
        return peaks, ()
    kept = tuple(
        p for p in peaks if not any(b.at_min <= p.at_min < b.at_min + b.over_min + first for b in schedule.boluses)
    )
    if len(kept) == len(peaks):
        return peaks, ()
    return kept, (
        f"No peak is told: it lies in the first {first} min after a dose, of which this model tells nothing.",
    )


def _instead(row: ModelRow, facts: Facts) -> str:
    """The models of the same drug and species whose elimination saturates: they hold for larger totals."""
    ids = [m.id for m in facts.kinetics.of(row.drug, row.species) if m.saturating is not None]
    return f" {', '.join(ids)} lets elimination saturate." if ids else ""


def more_than_published(chosen: Chosen, schedule: Schedule, facts: Facts) -> tuple[str, ...]:
    """A caution where an hour, or ten minutes, holds more than the highest published single dose and so long at the highest rate.

    For a sourced model alone, whose drug and species are known. That sum as a bound is our own; past it a unit or point has slipped,
    or the curve lies where nobody has measured.
    """
    if chosen.row is None:
        return ()
    row = chosen.row.row
    for span, words in ((HOUR_MIN, "an hour"), (SOON_MIN, f"{SOON_MIN} min")):
        most, found = _published_mg_kg(row.drug, row.species, span, facts), most_within(schedule, span)
        if most is not None and found > most:
            return (f"{found:,.3g} mg/kg within {words} is more than is published to be given: {most:.3g} mg/kg are the highest single "
                    f"dose by the vein and {words} at the highest rate together. Look at the units and points; the "
                    "curve may lie where nobody has measured.",)  # fmt: skip
    return ()


def _published_mg_kg(drug: str, species: str, span_min: float, facts: Facts) -> float | None:
    """That sum [mg/kg] over so many minutes by the dose rows; None where they hold no single dose by the vein."""
    try:
        rows = [r for r in facts.drugs.every(drug, species) if "IV" in r.routes]
    except Refusal:
        return None
    once: list[float] = []
    rates: list[float] = []
    for high in (r.high for r in rows):
        for unit, into in (("mg/kg", once), ("mg/kg/h", rates)):
            try:
                into.append(float(high.number(unit)))
            except Refusal:
                continue
    return max(once) + max(rates, default=0.0) * span_min / HOUR_MIN if once else None
