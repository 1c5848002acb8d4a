"""Syringes that exist: the smallest that holds a volume and can show it, rounded down to one of its marks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from spiracle.drugs.table import BarrelFacts, ToleranceFacts
from spiracle.quantity import Quantity, down_to, figure
from spiracle.refusals import BadTable

_PER_ML = {"units of U-100": Decimal(100), "units of U-40": Decimal(40)}
_HUNDRED = Decimal(100)
_HALF = Decimal(2)
_IU = "IU"
_U40 = "units of U-40"
_NONE = Quantity.of(0, "mL")


@dataclass(frozen=True, slots=True)
class Barrel:
    """`dead`: what nozzle and hub hold besides what the scale shows, the needle not counted."""

    id: str
    name: str
    holds: Quantity
    mark: Quantity
    scale: str = "mL"
    sources: tuple[str, ...] = ()
    memory: bool = False
    common: bool = True
    note: str = ""
    dead: Quantity = _NONE
    dead_sources: tuple[str, ...] = ()
    dead_memory: bool = False

    def __hash__(self) -> int:
        """By its id alone: rows of recipes are kept by the syringes they are made with."""
        return hash(self.id)

    @property
    def marks(self) -> int:
        return int(self.holds.value / self.mark.value)

    @property
    def units_per_ml(self) -> Decimal | None:
        """How many units of its scale are one mL; None where the scale is in mL."""
        return _PER_ML.get(self.scale)

    @property
    def size(self) -> tuple[Decimal, Decimal]:
        """To sort by: the smaller and finer first."""
        return self.holds.value, self.mark.value

    def on_scale(self, volume: Quantity) -> str:
        """A volume as the scale is numbered: "12 units (0.12 mL)", or the mL alone."""
        per_ml = self.units_per_ml
        return str(volume) if per_ml is None else f"{figure(volume.number('mL') * per_ml)} units ({volume})"


@dataclass(frozen=True, slots=True)
class Fineness:
    """How finely volumes are measured; every number comes from the table of measures. `largest_error` is the hospital's
    error limit: nothing is drawn or run beyond it; `error_limit` is what a finer syringe is looked for above."""

    least_volume: Quantity
    least_marks: Decimal
    error_limit: Decimal
    largest_error: Decimal
    pump_step: Quantity
    least_rate: Quantity
    most_syringes: Decimal = Decimal(1)

    def within(self, error_percent: Decimal) -> bool:
        """Whether what rounding down took away is within the hospital's limit."""
        return -error_percent <= self.largest_error


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
        dead=Quantity.of(facts.dead_ml, "mL"),
        dead_sources=facts.dead_sources,
        dead_memory=facts.dead_memory,
    )


def usable(barrels: Iterable[Barrel], concentration: Quantity | None) -> tuple[Barrel, ...]:
    """The syringes whose scale cannot be misread with this strength, the smaller and finer first.

    A scale in units stands for its own insulin: a drug in IU of another strength would be drawn by its IU and be wrong, so it
    gets a scale in mL. U-40 is for insulin of 40 IU/mL and for nothing else; U-100 (a unit is 0.01 mL) serves drugs not in IU.
    """
    in_iu = concentration is not None and concentration.unit.parts[0][0] == _IU
    own = concentration.number("IU/mL") if in_iu and concentration is not None else None
    return _usable(tuple(barrels), own)


@lru_cache(maxsize=1024)
def _usable(barrels: tuple[Barrel, ...], iu_per_ml: Decimal | None) -> tuple[Barrel, ...]:
    """`iu_per_ml`: the strength of what is in IU; None for a drug that is not."""
    found = []
    for barrel in barrels:
        per_ml = barrel.units_per_ml
        foreign = iu_per_ml != per_ml and (iu_per_ml is not None or barrel.scale == _U40)
        if per_ml is None or not foreign:
            found.append(barrel)
    return by_size(tuple(found))


@lru_cache(maxsize=1024)
def by_size(barrels: tuple[Barrel, ...]) -> tuple[Barrel, ...]:
    """The smaller and finer first."""
    return tuple(sorted(barrels, key=lambda b: b.size))


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
    able = [shown(volume, b) for b in by_size(tuple(barrels)) if measurable(volume, b, fineness)]
    for found in able:
        if -found.error_percent <= fineness.error_limit:
            return found
    return max(able, key=lambda m: m.error_percent, default=None)


def exact(volume: Quantity, barrels: Iterable[Barrel], fineness: Fineness) -> Barrel | None:
    """The smallest syringe on which this volume is itself a mark and is measurable."""
    for barrel in by_size(tuple(barrels)):
        if measurable(volume, barrel, fineness) and shown(volume, barrel).error_percent == 0:
            return barrel
    return None


def shared(volume: Quantity, barrels: Iterable[Barrel], fineness: Fineness) -> tuple[Measured, ...]:
    """A volume in the fewest syringes of one kind, each near the same and on a mark, the whole within the error limit.

    None at all: it takes more syringes than are filled for one dose, and is drawn from a bag or a bottle.
    """
    ml = volume.number("mL")
    sizes = by_size(tuple(barrels))
    for count in range(2, int(fineness.most_syringes) + 1):
        for barrel in sizes:
            step = barrel.mark.value
            drawn = down_to(ml, step)
            each = down_to(drawn / count, step)
            over = int((drawn - each * count) / step)
            if ml > barrel.holds.value * count or not measurable(Quantity.of(each, "mL"), barrel, fineness):
                continue
            error = percent(drawn, ml)
            if not fineness.within(error):
                continue
            parts = (each + step if n < over else each for n in range(count))
            return tuple(Measured(barrel, Quantity.of(part, "mL"), error) for part in parts)
    return ()


def tolerance(volume: Quantity, barrel: Barrel, rows: Iterable[ToleranceFacts]) -> Quantity | None:
    """How far the barrel itself may be off at this volume [mL, either way], by the row of its capacity.

    Under half of the capacity: a share of the capacity and one of the volume; from half on: a share of the volume. None where no
    row covers it (a scale in units is another standard's). Source: the rows of `[[tolerance]]`; their page works 4 mL in a 10 mL
    syringe as 0.15 + 0.04 = 0.19 mL.
    """
    holds, ml = barrel.holds.value, volume.number("mL")
    if barrel.units_per_ml is not None:
        return None
    for row in rows:
        if row.from_ml <= holds and (row.below_ml is None or holds < row.below_ml):
            if ml * _HALF >= holds:
                return Quantity.of(ml * row.from_half_percent / _HUNDRED, "mL")
            return Quantity.of((holds * row.of_capacity_percent + ml * row.of_volume_percent) / _HUNDRED, "mL")
    return None
