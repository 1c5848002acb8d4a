"""Fluids: the rate to begin with, the first step of a bolus, what is left of the total. A ceiling stops, never clamps."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal

from spiracle.circulation.rows import FluidRow, FluidWith
from spiracle.quantity import Quantity, down_to, figure, nearest, unit
from spiracle.refusals import OutOfRange, OverLimit
from spiracle.source import Input, Mark, Worked, Working

_KG = unit("kg")


def _weight(kg: Decimal) -> Input:
    return Input("weight", f"{figure(kg)} kg", Mark.TYPED)


def _low(value: Decimal) -> Decimal:
    """Rounded toward less: to 0.1 under 10, to a whole one above."""
    return down_to(value, Decimal("0.1") if value < 10 else Decimal(1))


@dataclass(frozen=True, slots=True)
class Bolus:
    """A fluid bolus: the first step, the largest step, over how many minutes, and what all steps may come to."""

    first: Worked[Quantity]
    largest: Worked[Quantity]
    minutes: tuple[int, int]
    in_all: Worked[Quantity]
    says: str
    between: str


@dataclass(frozen=True, slots=True)
class FluidTotal:
    """Boluses so far against what all of them may come to."""

    total: Quantity
    per_kg: Quantity
    limit: Quantity
    left: Quantity
    percent: Decimal
    over: bool
    sentence: str


def start_rate(row: FluidRow, kg: Decimal, hours_done: int, lower: Iterable[FluidWith]) -> Worked[Quantity]:
    """The rate under anaesthesia [mL/h]: mL/kg/h x weight, a quarter less for each full hour, never under the condition's row.

    Source: the 2013 table (row F12): 5 in dogs, 3 in cats, always under 10, a quarter less each hour if stable.
    """
    if hours_done < 0:
        raise OutOfRange("hours", f"{hours_done} is under zero.", "Give full hours since the start.")
    strict = min(lower, key=lambda w: w.rate_high, default=None)
    per_kg, memory, held = row.rate_ml_per_kg_h, row.memory, f"never {figure(row.rate_ceiling_ml_per_kg_h)} mL/kg/h"
    sources, note = row.source, ""
    if strict is not None and strict.rate_high <= per_kg:
        per_kg, memory, sources = strict.rate_high, memory or strict.memory, (*sources, *strict.source)
        note = f"{strict.condition}: {figure(strict.rate_low)} to {figure(strict.rate_high)} mL/kg/h"
    kept = (1 - row.hourly_cut_percent / 100) ** hours_done
    cut = f", less {figure(row.hourly_cut_percent)} % for each of {hours_done} h" if hours_done else ""
    working = Working(
        f"{figure(per_kg)} mL/kg/h x {figure(kg)} kg{cut}",
        (_weight(kg), Input("rate", f"{figure(per_kg)} mL/kg/h", note=note)),
        held=(held,),
        sources=sources,
        memory=memory,
    )
    return Worked(Quantity(_low(per_kg * kg * kept), unit("mL/h")), working)


def rate_ceiling(row: FluidRow, kg: Decimal) -> Worked[Quantity]:
    """The ceiling of a running rate [mL/h]: of a rate, not of a bolus."""
    working = Working(f"{figure(row.rate_ceiling_ml_per_kg_h)} mL/kg/h x {figure(kg)} kg", (_weight(kg),),
                      held=("a rate, not a bolus",), sources=row.source, memory=row.memory)  # fmt: skip
    return Worked(Quantity(_low(row.rate_ceiling_ml_per_kg_h * kg), unit("mL/h")), working)


def daily_maintenance(k: Decimal, kg: Decimal) -> Decimal:
    """k x kg^0.75 [mL in 24 h]; k is 132 in dogs, 80 in cats. Source: row F13.

    >>> round(daily_maintenance(Decimal(80), Decimal(4)), 2)
    Decimal('226.27')
    """
    return k * kg ** Decimal("0.75")


def maintenance(row: FluidRow, kg: Decimal) -> Worked[Quantity]:
    working = Working(f"{figure(row.maintenance_k)} x {figure(kg)} kg^0.75", (_weight(kg),),
                      sources=row.source, memory=row.memory)  # fmt: skip
    return Worked(Quantity(nearest(daily_maintenance(row.maintenance_k, kg), Decimal(1)), unit("mL/day")), working)


def bolus(row: FluidRow, kg: Decimal) -> Bolus:
    """The first step, the largest step and the total of boluses for this weight [mL], all rounded toward less."""

    def step(per_kg: Decimal, words: str) -> Worked[Quantity]:
        working = Working(f"{figure(per_kg)} mL/kg x {figure(kg)} kg", (_weight(kg),), held=(words,),
                          sources=row.source, memory=row.memory)  # fmt: skip
        return Worked(Quantity(_low(per_kg * kg), unit("mL")), working)

    span = f"{figure(row.bolus_low)} to {figure(row.bolus_high)} mL/kg"
    minutes = f"over {row.bolus_minutes[0]} to {row.bolus_minutes[1]} min"
    return Bolus(
        first=step(row.bolus_low, f"first step {span}"),
        largest=step(row.bolus_high, f"first step {span}"),
        minutes=row.bolus_minutes,
        in_all=step(row.bolus_in_all, "all boluses together"),
        says=f"{span} {minutes}, {figure(row.bolus_in_all)} mL/kg in all, then a fresh order",
        between=row.between,
    )


def bolus_total(row: FluidRow, kg: Decimal, given_ml: Iterable[Decimal]) -> FluidTotal:
    """Boluses so far. `over` only past the total: at it, the next one is refused, this one was not."""
    total = sum(given_ml, Decimal(0))
    limit = row.bolus_in_all * kg
    left = max(limit - total, Decimal(0))
    ml = unit("mL")
    per_kg = nearest(total / kg, Decimal("0.1"))
    says = f"{figure(total)} mL in boluses, {figure(per_kg)} of {figure(row.bolus_in_all)} mL/kg"
    return FluidTotal(Quantity(total, ml), Quantity(per_kg, unit("mL/kg")), Quantity(limit, ml), Quantity(left, ml),
                      nearest(total / limit * 100, Decimal(1)), total > limit, says)  # fmt: skip


def check_bolus(row: FluidRow, total: FluidTotal, volume_ml: Decimal, said: tuple[str, str], emergency: bool) -> None:
    """Refuses a bolus that would pass the total, unless a veterinarian said so with a reason. Never in an emergency."""
    if not volume_ml.is_finite() or volume_ml <= 0:
        raise OutOfRange("volume", f"{volume_ml} mL is no bolus.", "Give the volume in mL.")
    would = total.total.value + volume_ml
    if would <= total.limit.value or emergency or all(said):
        return
    raise OverLimit("volume", f"This would make {figure(would)} mL of boluses; {figure(row.bolus_in_all)} mL/kg in all is "
                    f"{figure(total.limit.value)} mL. {row.between}",
                    f"Give at most {figure(_low(total.left.value))} mL, or name the veterinarian and the reason.")  # fmt: skip


def running_total(kg: Decimal, volumes_ml: Collection[Decimal]) -> Worked[Quantity]:
    """Everything that went into the animal, flushes and diluent too [mL/kg]."""
    total = sum(volumes_ml, Decimal(0))
    working = Working(
        f"{figure(total)} mL in {len(volumes_ml)} volumes / {figure(kg)} kg", (_weight(kg),), sources=("v_derived",)
    )
    return Worked(Quantity(nearest(total / kg, Decimal("0.1")), unit("mL/kg")), working)
