"""The list an order is picked from: each way to give a drug that may be ordered, with everything that changes the figure."""

from __future__ import annotations

from decimal import Decimal

from spiracle.case.facts import Facts
from spiracle.drugs import DoseRow
from spiracle.drugs.table import SecondFacts
from spiracle.quantity import Quantity, figure
from spiracle.sheets.names import joined
from spiracle.sheets.shapes import PickRow
from spiracle.sheets.worked_shape import cited

# What a purpose says of the animal, where the row does not say it again.
_STATE = {"arrest": "without a pulse", "relaxation": "ventilated", "relaxation top-up": "ventilated"}


def pick_rows(species: str, facts: Facts) -> tuple[PickRow, ...]:
    """Rows that may be picked for this species, the default ones first; traps and reference figures are not among them."""
    shelf = {facts.drugs.drug(d.drug).id: d.strengths for d in facts.hospital.drugs}
    return tuple(_row(row, shelf, facts) for row in facts.drugs.pickable(species))


def _row(row: DoseRow, shelf: dict[str, tuple[str, ...]], facts: Facts) -> PickRow:
    drug = facts.drugs.drug(row.drug)
    listed = tuple(s.text for s in drug.strengths if s.quantity is not None and not s.trap)
    stop = _hard(row)
    held = facts.drugs.second_of(row.id)
    seconds = tuple(second_words(s) for s in held)
    return PickRow(
        row=row.id,
        drug=drug.id,
        name=drug.name,
        syringe_class=drug.syringe_class,
        purpose=row.purpose,
        route=", ".join(row.routes),
        usual_text=joined((_span(row.usual_low, row.usual_high), row.facts.usual_words)),
        low=float(row.usual_low.value),
        high=float(row.usual_high.value),
        hard=None if stop is None else float(stop.number(row.usual_high.unit)),
        unit=str(row.usual_high.unit),
        default=row.pick == "default",
        memory=row.memory,
        infusion=row.infusion,
        conditions=conditions_of(row),
        note=joined((row.note, *seconds), " "),
        strengths=shelf.get(drug.id, listed),
        cited=cited((*row.sources, *(s.source for s in held if s.source)), facts.sources),
        controlled=drug.controlled,
        also=drug.synonyms,
        give=give_of(row),
        onset=minutes(row.onset_min),
        lasts=minutes(row.lasts_min),
        repeat=repeat_of(row),
        ask=row.ask,
        stops=stops_of(row),
        pick_why=row.pick_why,
        forms=facts.drugs.forms(drug.id),
    )


def second_words(second: SecondFacts) -> str:
    """What a second page says of a dangerous figure, and what was done where the two do not agree."""
    if not second.source:
        return f"No second page was found. {second.says}"
    agree = "agrees" if second.agrees else "does not agree"
    return f"A second page {agree}: {second.says}" + (f" {second.done}" if second.done else "")


def conditions_of(row: DoseRow) -> tuple[str, ...]:
    """Everything that must hold for the row: its conditions, what its purpose says of the animal, weight, product."""
    said = [*row.conditions, *(_STATE[p] for p in row.purposes if p in _STATE)]
    band = row.weight_band
    if band is not None:
        low, high = band
        said.append(f"over {figure(low)} kg" if high is None else f"{figure(low)} to {figure(high)} kg")
    if row.strength:
        said.append(f"the {row.strength} product only")
    if row.emergency:
        said.append("emergency: limits warn, nothing is blocked")
    return tuple(dict.fromkeys(said))


def give_of(row: DoseRow) -> str:
    """How it is given: minutes to give it over, slowly or not, by pump."""
    over = f"over {minutes(row.give_over_min)}" if row.give_over_min else ""
    pump = "by pump, as a rate" if row.infusion else ""
    return joined((over, row.give_how, pump))


def repeat_of(row: DoseRow) -> str:
    """When it may be given again."""
    every = f"after {minutes(row.repeat_min)}" if row.repeat_min else ""
    return joined((every, row.facts.interval))


def stops_of(row: DoseRow) -> tuple[str, ...]:
    """Every limit in words, the usual cap per animal first."""
    cap = row.facts.usual_cap
    usual = (f"usual at most {Quantity.of(cap.at, cap.unit)}",) if cap is not None else ()
    return (*usual, *(s.words for s in row.stops))


def minutes(span: tuple[Decimal, Decimal] | None) -> str:
    """A span of minutes in words: under two minutes in seconds, over two hours in hours.

    >>> minutes((Decimal(10), Decimal(20))), minutes((Decimal("0.75"), Decimal("1.5")))
    ('10 to 20 min', '45 to 90 s')
    >>> minutes((Decimal(240), Decimal(360))), minutes((Decimal(30), Decimal(30))), minutes(None)
    ('4 to 6 h', '30 min', '')
    """
    if span is None:
        return ""
    low, high = span
    by, unit = (Decimal(1), "min")
    if high < 2:
        by, unit = Decimal(1) / 60, "s"
    elif low >= 120:
        by, unit = Decimal(60), "h"
    first, last = (figure(v / by, 3) for v in (low, high))
    return f"{first} {unit}" if first == last else f"{first} to {last} {unit}"


def _hard(row: DoseRow) -> Quantity | None:
    """The lowest stop in the row's own unit; a cap per animal needs a weight and is shown when one is known."""
    dimension = row.usual_high.unit.dimension
    stops = [s.at for s in row.stops if not s.ask and s.at.unit.dimension == dimension]
    return min(stops, key=lambda q: q.number(row.usual_high.unit), default=None)


def _span(low: Quantity, high: Quantity) -> str:
    if low.equals(high):
        return str(high)
    return f"{str(low.to(high.unit)).rsplit(' ', 1)[0]} to {high}"
