"""Drugs that went in, as lines; sums of one drug as amount and per kg; the ladder of a drawn syringe."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache

from spiracle.case.events import DrugGiven
from spiracle.case.fold import Line
from spiracle.drugs import Barrel, DosingWeight, rungs
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import Refusal
from spiracle.sheets.names import joined, quantity_text, where, with_unit
from spiracle.sheets.shapes import GivenLine, Ladder, Rung
from spiracle.sheets.told import Told, purpose_of
from spiracle.source import Guardrail

PER_KG_FIGURES = 3  # a per-kg figure is for comparing with the order, never for drawing up


def given_line(t: Told, line: Line) -> GivenLine:
    e = line.event
    assert isinstance(e, DrugGiven)  # noqa: S101
    return GivenLine(
        event_id=e.id,
        at=e.happened_at,
        drug=e.drug,
        name=t.names.drug(e.drug),
        amount_text=with_unit(e.amount, e.unit),
        volume_text=f"{figure(e.volume_ml)} mL" if e.volume_ml is not None else "",
        per_kg_text=per_kg_text(t, e.amount, e.unit),
        route=e.route,
        by=t.names.hand(e.giver or e.by),
        phase=purpose_of(e, t.orders),
        struck=line.struck is not None,
        note=joined((where(e.side, e.site), e.reason)),
    )


def per_kg_text(t: Told, amount: Decimal, unit: str) -> str:
    """The amount per kg of the weight doses are worked on; empty while nobody has weighed."""
    per = per_kg(t, amount, unit)
    return "" if per is None else quantity_text(per, PER_KG_FIGURES)


def per_kg(t: Told, amount: Decimal, unit: str) -> Quantity | None:
    if not t.kg:
        return None
    try:
        return Quantity.of(amount, unit) / Quantity.of(t.kg, "kg")
    except Refusal:
        return None


def summed(given: Iterable[DrugGiven]) -> Quantity | None:
    """The whole amount of several pushes, in the unit of the first; None where there is none or units are unlike."""
    total: Quantity | None = None
    try:
        for g in given:
            amount = Quantity.of(g.amount, g.unit)
            total = amount if total is None else total + amount
    except Refusal:
        return None
    return total


def summed_ml(given: Iterable[DrugGiven]) -> Decimal:
    return sum((g.volume_ml or Decimal(0) for g in given), Decimal(0))


@lru_cache(maxsize=512)
def concentration(text: str) -> Quantity | None:
    """What is in a syringe, from its printed strength; None where the text is no concentration."""
    try:
        return read(text, "concentration", "concentration")
    except Refusal:
        return None


@lru_cache(maxsize=256)
def ladder(
    strength: Quantity, barrel: Barrel, weight: DosingWeight, limit: Guardrail | None, ceiling: Quantity | None
) -> Ladder:
    """Every mark of one syringe with what it delivers; `ceiling` is the ordered amount.

    The tablet works nothing out from it and works without a link.
    """
    steps = rungs(strength, barrel, weight, limit, ceiling)
    return Ladder(
        barrel=barrel.name,
        mark_ml=float(barrel.mark.number("mL")),
        holds_ml=float(barrel.holds.number("mL")),
        unit=str(steps[0].amount.unit) if steps else "",
        rungs=tuple(
            Rung(
                ml=float(s.volume.number("mL")),
                text=figure(s.volume.number("mL")),
                amount=float(s.amount.value),
                amount_text=quantity_text(s.amount, 4),
                per_kg_text=quantity_text(s.per_kg, PER_KG_FIGURES),
                zone=s.zone.value,
                over_order=s.over_order,
            )
            for s in steps
        ),
    )
