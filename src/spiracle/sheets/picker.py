"""The list an order is picked from: each way to give a drug that may be ordered, what is usual and where it stops."""

from __future__ import annotations

from spiracle.case.facts import Facts
from spiracle.drugs import DoseRow
from spiracle.quantity import Quantity
from spiracle.sheets.shapes import PickRow
from spiracle.sheets.worked_shape import cited


def pick_rows(species: str, facts: Facts) -> tuple[PickRow, ...]:
    """Rows that may be picked for this species, the default ones first; traps and reference figures are not among them."""
    shelf = {facts.drugs.drug(d.drug).id: d.strengths for d in facts.hospital.drugs}
    return tuple(_row(row, shelf, facts) for row in facts.drugs.pickable(species))


def _row(row: DoseRow, shelf: dict[str, tuple[str, ...]], facts: Facts) -> PickRow:
    drug = facts.drugs.drug(row.drug)
    listed = tuple(s.text for s in drug.strengths if s.quantity is not None and not s.trap)
    stop = _hard(row)
    return PickRow(
        row=row.id,
        drug=drug.id,
        name=drug.name,
        syringe_class=drug.syringe_class,
        purpose=row.purpose,
        route=", ".join(row.routes),
        usual_text=_span(row.usual_low, row.usual_high),
        low=float(row.usual_low.value),
        high=float(row.usual_high.value),
        hard=None if stop is None else float(stop.number(row.usual_high.unit)),
        unit=str(row.usual_high.unit),
        default=row.pick == "default",
        memory=row.memory,
        infusion=row.infusion,
        conditions=row.conditions,
        note=row.note,
        strengths=shelf.get(drug.id, listed),
        cited=cited(row.sources, facts.sources),
        controlled=drug.controlled,
    )


def _hard(row: DoseRow) -> Quantity | None:
    """The lowest stop in the row's own unit; a cap per animal needs a weight and is shown when one is known."""
    dimension = row.usual_high.unit.dimension
    stops = [s.at for s in row.stops if not s.ask and s.at.unit.dimension == dimension]
    return min(stops, key=lambda q: q.number(row.usual_high.unit), default=None)


def _span(low: Quantity, high: Quantity) -> str:
    if low.equals(high):
        return str(high)
    return f"{str(low.to(high.unit)).rsplit(' ', 1)[0]} to {high}"
