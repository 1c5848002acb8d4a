"""Which single change takes most dead space away. The CO2 sensor is never offered to be left out: without it nothing is proven."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from spiracle.airway.placing import DeadSpace, PartVolume
from spiracle.airway.tables import AirwayTables, Kind
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.source import Worked, Working

What = Literal["cut the tube", "smaller part", "leave out"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change alone, against everything as it stands with the tube uncut. `memory`: a typical volume took part."""

    what: What
    part: str
    saves: Worked[Quantity]
    saves_ml_per_kg: Decimal
    saves_percent: Decimal
    leaves: Quantity
    leaves_percent: Decimal
    says: str
    memory: bool


def kind_of(facts: AirwayTables, name: str) -> Kind | None:
    """What a part is, by the words of its name; None when none of them is in it, and then nothing is offered for it."""
    folded = name.casefold()
    for row in facts.kinds:
        if any(word in folded for word in row.words):
            return row.kind
    return None


def changes(facts: AirwayTables, weight: Quantity, space: DeadSpace, cut: Quantity | None) -> tuple[Change, ...]:
    """Every single change that saves something, the best first."""
    now = (space.before or space.after).value
    return tuple(sorted(_offered(facts, weight, space, now, cut), key=lambda c: (-c.saves.value.value, c.part)))


def _offered(
    facts: AirwayTables, weight: Quantity, space: DeadSpace, now: Quantity, cut: Quantity | None
) -> Iterator[Change]:
    kg, breath = weight.number("kg"), space.tidal.value.number("mL")

    def change(what: What, part: str, ml: Decimal, says: str, sources: tuple[str, ...], memory: bool) -> Change:
        saved, left = Quantity.of(ml, "mL"), Quantity.of(now.number("mL") - ml, "mL")
        return Change(
            what=what, part=part, saves=Worked(saved, Working(f"{says}: {saved} less", sources=sources, memory=memory)),
            saves_ml_per_kg=round_significant(ml / kg, 2), saves_percent=round_significant(ml / breath * 100, 2),
            leaves=left, leaves_percent=round_significant(left.number("mL") / breath * 100, 3),
            says=f"{says}: {figure(ml, 3)} mL less, {figure(ml / breath * 100, 2)} % of a breath.", memory=memory,
        )  # fmt: skip

    if cut is not None and space.before is not None and space.before.value > space.after.value:
        ml = space.before.value.number("mL") - space.after.value.number("mL")
        says = f"Cut the tube to {cut}"
        yield change("cut the tube", "tube", ml, says, space.before.working.sources, space.before.working.memory)
    for part in space.parts:
        yield from (change(*offer) for offer in _part_offers(facts, kg, part))


def _part_offers(
    facts: AirwayTables, kg: Decimal, part: PartVolume
) -> Iterator[tuple[What, str, Decimal, str, tuple[str, ...], bool]]:
    kind = kind_of(facts, part.name)
    if kind == "filter" and part.ml > 0:
        yield "leave out", part.name, part.ml, f"Leave the {part.name} out", ("a_worked",), part.memory
    if kind in {"elbow", "sensor"}:
        fitting = [r for r in facts.parts if r.kind == kind and Decimal(r.from_kg) <= kg < Decimal(r.below_kg)]
        smallest = min(fitting, key=lambda r: r.ml, default=None)
        if smallest is not None and Decimal(smallest.ml) < part.ml:
            says = f"A {smallest.name} of about {smallest.ml} mL in place of the {part.name}"
            yield "smaller part", part.name, part.ml - Decimal(smallest.ml), says, smallest.source, True
