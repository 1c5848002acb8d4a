"""How fast an induction agent went in, beside what was published on slow injection. Time never blocks a push.

A push is logged as one instant, so a pace is known only between pushes: what went in before the last one, over the time from
the first to the last.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from spiracle.case.events import DrugGiven
from spiracle.case.pushes import amount_given
from spiracle.kinetics import slow_advice
from spiracle.kinetics.rows import SlowRow
from spiracle.quantity import figure
from spiracle.refusals import Refusal
from spiracle.sheets.level_animal import premedication
from spiracle.sheets.shapes import Pace
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited

A_MINUTE = timedelta(minutes=1)


def pace(t: Told, drug: str, given: tuple[DrugGiven, ...]) -> Pace | None:
    """The pace so far and the published one; None before the first push."""
    if not given or not t.kg:
        return None
    had = premedication(t, drug, given[0].happened_at)
    rows = slow_advice(t.facts.kinetics, drug, t.species, had or "any")
    row = next((r for r in rows if r.high is not None or r.low is not None), rows[0] if rows else None)
    per_kg = [_mg(g) / float(t.kg) for g in given]
    span = (given[-1].happened_at - given[0].happened_at) / A_MINUTE
    rate = sum(per_kg[:-1]) / span if len(given) > 1 and span > 0 else None
    most = None if row is None else _most(row)
    return Pace(
        text="" if rate is None else f"{figure(Decimal(str(rate)), 2)} mg/kg/min from the first push to the last",
        advice=_advice(row),
        faster=rate is not None and most is not None and rate > most * 1.005,
        next_at=None if most is None else given[-1].happened_at + timedelta(seconds=round(per_kg[-1] / most * 60)),
        memory=row is not None and row.memory,
        cited=cited(row.source, t.facts.sources) if row is not None else (),
    )


def _advice(row: SlowRow | None) -> str:
    return row.says if row is not None else "No advice on the speed of this agent in this species was found."


def _most(row: SlowRow) -> float | None:
    """The upper end of the published pace [mg/kg/min]."""
    top = row.high if row.high is not None else row.low
    return None if top is None else float(top)


def _mg(g: DrugGiven) -> float:
    amount = amount_given(g)
    try:
        return float(amount.number("mg")) if amount is not None else 0.0
    except Refusal:
        return 0.0
