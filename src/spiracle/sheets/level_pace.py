"""How fast an induction agent went in, beside what was published on slow injection. Time never blocks a push.

A push is logged as one instant, so a pace is known only between pushes: what went in before the last one, over the time from
the first to the last. A pump's is the rate at which it ran.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case.deliveries import Deliveries, deliveries
from spiracle.case.events import DrugGiven
from spiracle.case.pushes import amount_given, drug_id
from spiracle.kinetics.effects import slow_advice
from spiracle.kinetics.rows import SlowRow
from spiracle.quantity import figure
from spiracle.refusals import Refusal
from spiracle.sheets.level_animal import premedication
from spiracle.sheets.shapes import Pace
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited

A_MINUTE = timedelta(minutes=1)


def pace(t: Told, drug: str, given: tuple[DrugGiven, ...]) -> Pace | None:
    """The pace so far and the published one; None before anything went in."""
    id_ = drug_id(drug, t.facts)
    pumped = deliveries(t.case, t.facts, id_, t.now)
    began = [g.happened_at for g in given[:1]] + [r.start for r in pumped.ran[:1]]
    if not began or not t.kg:
        return None
    kg = float(t.kg)
    had = premedication(t, id_, min(began))
    rows = slow_advice(t.facts.kinetics, id_, t.species, had or "any")
    row = next((r for r in rows if r.high is not None or r.low is not None), rows[0] if rows else None)
    most = None if row is None else _most(row)
    running = pumped.mg_min_now / kg
    between = _between_pushes(given, pumped, kg)
    rate = between if between is not None or given else max(r.mg_min for r in pumped.ran) / kg
    how = "from the first push to the last" if given else "by pump"
    fastest = max(rate or 0.0, running)
    return Pace(
        text="" if rate is None else f"{figure(Decimal(str(rate)), 2)} mg/kg/min {how}",
        advice=_advice(row),
        faster=most is not None and fastest > most * 1.005,
        next_at=_next_at(given, most, running, kg),
        memory=row is not None and row.memory,
        cited=cited(row.source, t.facts.sources) if row is not None else (),
    )  # fmt: skip


def _between_pushes(given: tuple[DrugGiven, ...], pumped: Deliveries, kg: float) -> float | None:
    """What went in before the last push, by a pump too, over the time from the first to the last [mg/kg/min]."""
    if len(given) < 2 or given[-1].happened_at <= given[0].happened_at:
        return None
    first, last = given[0].happened_at, given[-1].happened_at
    overlaps = [(r.mg_min, min(r.stop, last) - max(r.start, first)) for r in pumped.ran]
    ran = sum(mg_min * (span / A_MINUTE) for mg_min, span in overlaps if span > timedelta(0))
    return (sum(_mg(g) for g in given[:-1]) + ran) / kg / ((last - first) / A_MINUTE)


def _next_at(given: tuple[DrugGiven, ...], most: float | None, running: float, kg: float) -> datetime | None:
    """When the last push has taken its time at the published pace, of which a pump that runs takes its share."""
    if not given or most is None or most <= running:
        return None
    return given[-1].happened_at + timedelta(seconds=round(_mg(given[-1]) / kg / (most - running) * 60))


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
