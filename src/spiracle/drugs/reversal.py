"""A reversal worked from what was really recorded and how long ago; never from a volume or a body surface."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from spiracle.drugs.formulary import Formulary
from spiracle.drugs.order import DosingWeight
from spiracle.drugs.rows import amount_of
from spiracle.drugs.table import RowFacts
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import Missing, NotAllowed, Refusal, Unknown
from spiracle.source import Input, Mark, Working

_LATE_MIN = Decimal(60)
_KETAMINE_MIN = Decimal(40)
_LATE = "more than 60 min"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reversal:
    """Amounts of the reversal drug. `over_stop`: the amount that is worked passes the stop; ask the veterinarian."""

    drug: str
    of: str
    route: str
    low: Quantity | None = None
    high: Quantity | None = None
    row: str = ""
    stop: Quantity | None = None
    over_stop: bool = False
    working: Working = field(default_factory=lambda: Working(""))
    cautions: tuple[str, ...] = ()
    refusal: Refusal | None = None


def reverse(
    agonist: str, recorded: Quantity, minutes_since: Decimal, species: str, weight: DosingWeight, formulary: Formulary,
    *, route: str = "IM", heart_beating: bool = True, ketamine_minutes: Decimal | None = None,
) -> Reversal:  # fmt: skip
    """The reversal of a recorded dose: a multiple of its micrograms, or a dose per kg where none is published.

    Halved or less after an hour (from memory). Refused within 40 min of ketamine, and by vein with the heart beating.
    """
    drug = formulary.drug(agonist, species)
    if not drug.reversal:
        raise Unknown("drug", f"{drug.name} has no reversal.", "It wears off; support the animal until then.")
    made = Reversal(drug=drug.reversal, of=drug.id, route=route)
    try:
        _may(drug.reversal, route, heart_beating=heart_beating, ketamine_minutes=ketamine_minutes)
        if heart_beating:
            row = _multiple(formulary, species, drug.reversal, drug.id, minutes_since)
            if row is not None:
                return _by_multiple(made, row, recorded, minutes_since, weight, formulary)
        return _by_weight(made, species, weight, formulary, heart_beating=heart_beating)
    except Refusal as refusal:
        return Reversal(drug=made.drug, of=made.of, route=route, refusal=refusal)


def _may(reversal: str, route: str, *, heart_beating: bool, ketamine_minutes: Decimal | None) -> None:
    if reversal != "atipamezole" or not heart_beating:
        return
    if route != "IM":
        raise NotAllowed("route", f"atipamezole by {route} with the heart beating drops the pressure.", "Give it IM.")
    if ketamine_minutes is not None and ketamine_minutes < _KETAMINE_MIN:
        left = _KETAMINE_MIN - ketamine_minutes
        raise NotAllowed(
            "time", f"ketamine was given {figure(ketamine_minutes)} min ago: reversing now unmasks it.",
            f"Wait {figure(left)} min more.",
        )  # fmt: skip


def _multiple(formulary: Formulary, species: str, reversal: str, of: str, minutes: Decimal) -> RowFacts | None:
    """The published multiple; the late one, where there is one, once an hour has gone by."""
    rows = [f for f in formulary.figures("multiple", species, reversal) if f.of == of]
    late = [f for f in rows if any(_LATE in c for c in f.conditions)]
    early = [f for f in rows if f not in late]
    if minutes > _LATE_MIN and late:
        return late[0]
    return early[0] if early else None


def _by_multiple(
    made: Reversal, row: RowFacts, recorded: Quantity, minutes: Decimal, weight: DosingWeight, formulary: Formulary
) -> Reversal:
    micrograms = recorded.to("mcg")
    low, high = micrograms * row.low, micrograms * row.high
    stop, stop_sources = _stop(formulary, row)
    most = amount_of(stop, weight.kg).to("mcg") if stop is not None else None
    over = most is not None and high > most
    span = figure(row.high) if row.low == row.high else f"{figure(row.low)} to {figure(row.high)}"
    working = Working(
        says=f"{span} × {micrograms} of {made.of} recorded, {figure(minutes)} min ago = {low} to {high}"
        if row.low != row.high
        else f"{span} × {micrograms} of {made.of} recorded, {figure(minutes)} min ago = {high}",
        inputs=(
            Input("recorded", str(micrograms), Mark.TYPED),
            Input("minutes since", figure(minutes), Mark.TYPED),
            Input("multiple", span),
        ),
        held=(f"ask above {stop} ({most})",) if stop is not None and most is not None else (),
        sources=tuple(dict.fromkeys((*row.sources, *stop_sources))),
        memory=row.memory,
        estimated=weight.estimated,
    )
    return Reversal(
        drug=made.drug, of=made.of, route=made.route, low=low, high=high, row=row.id, stop=most, over_stop=over,
        working=working, cautions=row.ask,
    )  # fmt: skip


def _stop(formulary: Formulary, row: RowFacts) -> tuple[Quantity | None, tuple[str, ...]]:
    """The row's own stop, else that of the row of the same species shown first."""
    rows = (row, *(f for f in formulary.figures("multiple", row.species, row.drug) if f.pick == "default"))
    for facts in rows:
        for stop in facts.stops:
            return Quantity.of(stop.at, stop.unit), stop.sources
    return None, ()


def _by_weight(
    made: Reversal, species: str, weight: DosingWeight, formulary: Formulary, *, heart_beating: bool
) -> Reversal:
    purpose = "reversal" if heart_beating else "arrest"
    rows = [r for r in formulary.rows(made.drug, species, purpose) if r.unit.dimension == unit("mg/kg").dimension]
    if not rows:
        raise Missing("reversal", f"no dose of {made.drug} for a {species} is listed.", "Ask the veterinarian.")
    row = rows[0]
    low, high = amount_of(row.usual_low, weight.kg), amount_of(row.usual_high, weight.kg)
    rail = row.guardrail(weight.kg)
    working = Working(
        says=f"{row.usual_text} × {figure(weight.kg)} kg = {low} to {high}",
        inputs=(Input("weight", f"{figure(weight.kg)} kg", Mark.PREDICTED if weight.estimated else Mark.MEASURED),),
        held=(rail.sentence,),
        limit=rail,
        sources=row.sources,
        memory=row.memory,
        estimated=weight.estimated,
    )
    stop = amount_of(rail.hard_high, weight.kg) if rail.hard_high is not None else None
    return Reversal(
        drug=made.drug, of=made.of, route=made.route, low=low, high=high, row=row.id, stop=stop, working=working,
        cautions=row.ask,
    )  # fmt: skip
