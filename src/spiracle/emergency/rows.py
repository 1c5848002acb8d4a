"""The rows of the emergency tables, as they stand in TOML."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.source import Seen

SpeciesOrAny = Literal["dog", "cat", "any"]
Group = Literal["arrest", "reversal", "other"]


class Row(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of the rows: each cites and says how it was seen; `facts` names what it rests on."""

    source: tuple[str, ...]
    seen: Seen
    note: str = ""
    facts: tuple[str, ...] = ()

    @property
    def memory(self) -> bool:
        return not self.seen.published


class ItemRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drug on the sheet. `row` is the dose row of the formulary it must agree with; `strength` is the printed vial.

    `reverses`: the drugs whose presence in this animal brings it to the front; `only_if_had`: without one of them the line is
    left out. `cap`: a ceiling per animal.
    """

    id: str
    row: str
    drug: str
    name: str
    syringe_class: str
    species: tuple[Literal["dog", "cat"], ...]
    order: int
    group: Group
    what_for: str
    when: str
    route: str
    dose: Decimal
    unit: str
    strength: str
    once: bool = False
    every_min: tuple[int, int] | None = None
    minutes: str = ""
    diluent: str = "saline 0.9 %"
    reverses: tuple[str, ...] = ()
    cap: Decimal | None = None
    cap_unit: str = ""
    only_if_had: bool = False


class ShockRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Energies of one mode [J/kg]: the first shock, the later ones, and the older rule's ceiling."""

    id: str
    row: str
    species: Literal["dog", "cat"]
    mode: str
    first: Decimal
    then: Decimal
    ceiling: Decimal | None = None


class Step(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of what is done, in order."""

    id: str
    says: str
    species: SpeciesOrAny = "any"


class Timing(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    rate_low: int
    rate_high: int
    beat_per_min: int
    cycle_s: int
    breaths_per_min: int
    breath_s: Decimal
    breath_ml_per_kg: Decimal
    etco2_aim: Decimal
    etco2_aim_2012: Decimal
    least_ml_without_dilution: Decimal


class Barrel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    name: str
    holds: Decimal
    mark: Decimal


class Barrels(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    rows: tuple[Barrel, ...]


class Weights(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    dog: tuple[Decimal, ...]
    cat: tuple[Decimal, ...]


class ResponseStep(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One first response. `rows` are dose rows; it stands only with `conditions` (any of them) and never with `unless`."""

    says: str
    rows: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    species: SpeciesOrAny = "any"


class Trouble(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    title: str
    threshold: str
    species: SpeciesOrAny = "any"
    step: tuple[ResponseStep, ...]


class Made(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A syringe made up for a pump: so much of the vial, so much diluent, and the strength that comes to."""

    drug_ml: Decimal
    diluent_ml: Decimal
    strength: str


class PumpRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A drug begun by syringe pump with a pulse: the rate to start at, and the syringes it is made up in, strongest first."""

    id: str
    row: str
    drug: str
    name: str
    syringe_class: str
    species: tuple[Literal["dog", "cat"], ...]
    order: int
    what_for: str
    when: str
    dose: Decimal
    unit: str
    vial: str
    diluent: str
    made: tuple[Made, ...]


class Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    item: tuple[ItemRow, ...]
    pump: tuple[PumpRow, ...]
    shock: tuple[ShockRow, ...]
    step: tuple[Step, ...]
    timing: Timing
    barrels: Barrels
    weights: Weights
    caution: tuple[Step, ...]
    trouble: tuple[Trouble, ...]

    def rows(self) -> Iterable[Row]:
        yield self.timing
        yield self.barrels
        yield self.weights
        for group in (self.item, self.pump, self.shock, self.step, self.caution):
            yield from group
        for trouble in self.trouble:
            yield trouble
            yield from trouble.step
