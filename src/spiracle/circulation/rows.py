"""The rows of the circulation's tables, as they stand in TOML."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.source import Seen

SpeciesOrAny = Literal["dog", "cat", "any"]


class Row(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of the rows: each cites and says how it was seen. `facts` names the rows of the fact base it rests on."""

    source: tuple[str, ...]
    seen: Seen
    note: str = ""
    facts: tuple[str, ...] = ()

    @property
    def memory(self) -> bool:
        return not self.seen.published


class Other(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What another source says instead."""

    says: str
    low: Decimal | None = None
    high: Decimal | None = None


class Limit(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When a reading is acted on. `trouble` names the list of first responses, `trouble_high` the one for the upper side."""

    id: str
    reading: str
    species: SpeciesOrAny
    sizes: tuple[str, ...] = ()
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    severe_low: Decimal | None = None
    severe_high: Decimal | None = None
    trouble: str = ""
    trouble_high: str = ""
    action: str = ""
    other: tuple[Other, ...] = ()

    def suits(self, species: str, size: str) -> bool:
        return self.species in {species, "any"} and (not self.sizes or size in self.sizes)

    def side(self, value: Decimal) -> Literal["", "low", "high", "very low", "very high"]:
        """Which side of the limit a value lies on; a limit itself is still inside."""
        if self.severe_low is not None and value < self.severe_low:
            return "very low"
        if self.severe_high is not None and value > self.severe_high:
            return "very high"
        if self.low is not None and value < self.low:
            return "low"
        if self.high is not None and value > self.high:
            return "high"
        return ""


class Bounds(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a reading can be at all, how many decimals it has, and how far it may jump before it is asked again."""

    reading: str
    title: str
    unit: str
    places: int
    low: Decimal
    high: Decimal
    change: Decimal | None = None
    change_kind: Literal["by", "percent"] = "by"

    def ask(self, last: Decimal | None) -> tuple[Decimal | None, Decimal | None]:
        """The span around the last value that needs no second word; open where no jump is asked about."""
        if last is None or self.change is None:
            return None, None
        reach = self.change if self.change_kind == "by" else abs(last) * self.change / 100
        return max(self.low, last - reach), min(self.high, last + reach)


class BloodVolume(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    species: Literal["dog", "cat"]
    ml_per_kg: Decimal
    low: Decimal
    high: Decimal


class LossRule(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    lowest_pcv: Decimal
    warn_percent: Decimal
    blood_percent: Decimal


class TransfusionRule(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    ask_above_ml_per_kg: Decimal
    cat_rise_ml_per_kg: Decimal


class Caution(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    says: str
    severity: Literal["never", "avoid", "care"]


class FluidRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    species: Literal["dog", "cat"]
    rate_ml_per_kg_h: Decimal
    rate_ceiling_ml_per_kg_h: Decimal
    hourly_cut_percent: Decimal
    maintenance_k: Decimal
    bolus_low: Decimal
    bolus_high: Decimal
    bolus_in_all: Decimal
    bolus_minutes: tuple[int, int]
    between: str


class FluidWith(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A lower rate for a condition."""

    condition: str
    species: Literal["dog", "cat"]
    rate_low: Decimal
    rate_high: Decimal


class CuffRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    species: Literal["dog", "cat"]
    percent: Decimal


class Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    limit: tuple[Limit, ...]
    bounds: tuple[Bounds, ...]
    blood_volume: tuple[BloodVolume, ...]
    loss: LossRule
    transfusion: TransfusionRule
    transfusion_caution: tuple[Caution, ...]
    fluid: tuple[FluidRow, ...]
    fluid_with: tuple[FluidWith, ...]
    cuff: tuple[CuffRow, ...]

    def rows(self) -> Iterable[Row]:
        yield self.loss
        yield self.transfusion
        for limit in self.limit:
            yield limit
            yield from limit.other
        groups = (self.bounds, self.blood_volume, self.transfusion_caution, self.fluid, self.fluid_with, self.cuff)
        for group in groups:
            yield from group
