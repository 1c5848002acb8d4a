"""Syringes that exist: the smallest that holds a volume and can show it, rounded down to one of its marks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from spiracle.drugs.table import BarrelFacts
from spiracle.quantity import Quantity, down_to
from spiracle.refusals import BadTable


@dataclass(frozen=True, slots=True)
class Barrel:
    id: str
    name: str
    holds: Quantity
    mark: Quantity
    scale: str = "mL"
    sources: tuple[str, ...] = ()
    memory: bool = False
    common: bool = True
    note: str = ""

    @property
    def marks(self) -> int:
        return int(self.holds.value / self.mark.value)


@dataclass(frozen=True, slots=True)
class Fineness:
    """How finely volumes are measured; every number comes from the table of measures."""

    least_volume: Quantity
    least_marks: Decimal
    error_limit: Decimal
    largest_error: Decimal
    pump_step: Quantity
    least_rate: Quantity


@dataclass(frozen=True, slots=True)
class Measured:
    """A volume as a syringe shows it. `error_percent` is what rounding down took away: zero or negative."""

    barrel: Barrel
    volume: Quantity
    error_percent: Decimal


def barrel_of(facts: BarrelFacts) -> Barrel:
    marks = facts.holds_ml / facts.mark_ml
    if marks != marks.to_integral_value():
        raise BadTable(f"barrel {facts.id}", f"{facts.holds_ml} mL is not a whole number of {facts.mark_ml} mL marks.")
    return Barrel(
        id=facts.id,
        name=facts.name,
        holds=Quantity.of(facts.holds_ml, "mL"),
        mark=Quantity.of(facts.mark_ml, "mL"),
        scale=facts.scale,
        sources=facts.sources,
        memory=facts.memory,
        common=facts.common,
        note=facts.note,
    )


def percent(part: Decimal, whole: Decimal) -> Decimal:
    """Difference of `part` from `whole` in per cent, to a hundredth.

    >>> percent(Decimal("0.16"), Decimal("0.168"))
    Decimal('-4.76')
    """
    return ((part - whole) / whole * 100).quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN)


def shown(volume: Quantity, barrel: Barrel) -> Measured:
    """The volume on this syringe: the mark at or under it."""
    ml = volume.number("mL")
    drawn = down_to(ml, barrel.mark.value)
    return Measured(barrel, Quantity.of(drawn, "mL"), percent(drawn, ml))


def measurable(volume: Quantity, barrel: Barrel, fineness: Fineness) -> bool:
    """Whether a volume fits and is not under the least volume or the least number of marks."""
    ml = volume.number("mL")
    return ml <= barrel.holds.value and ml >= max(fineness.least_volume.value, fineness.least_marks * barrel.mark.value)


def measure(volume: Quantity, barrels: Iterable[Barrel], fineness: Fineness) -> Measured | None:
    """The smallest syringe that holds the volume within the error limit; failing that, the one with the least error.

    None: no syringe can show it; dilute.
    """
    able = [
        shown(volume, b)
        for b in sorted(barrels, key=lambda b: (b.holds.value, b.mark.value))
        if measurable(volume, b, fineness)
    ]
    for found in able:
        if -found.error_percent <= fineness.error_limit:
            return found
    return max(able, key=lambda m: m.error_percent, default=None)


def exact(volume: Quantity, barrels: Iterable[Barrel], fineness: Fineness) -> Barrel | None:
    """The smallest syringe on which this volume is itself a mark and is measurable."""
    for barrel in sorted(barrels, key=lambda b: (b.holds.value, b.mark.value)):
        if measurable(volume, barrel, fineness) and shown(volume, barrel).error_percent == 0:
            return barrel
    return None
