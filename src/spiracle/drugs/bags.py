"""Drugs added to a bag of fluid, so that one fluid rate gives what is ordered of each: mL of the vial, on a mark, and back.

Everything is rounded toward less: drug down to a mark, fluid taken out down to a mark, the pump's rate down to its step. What is
then really given of each drug is worked again from those marks, and is never over its order.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from spiracle.drugs.infusion import hourly, per_hour
from spiracle.drugs.rows import amount_of, in_unit
from spiracle.drugs.syringe import Barrel, Fineness, measure, percent
from spiracle.quantity import Quantity, down_to, figure, unit
from spiracle.refusals import NotMeasurable, OutOfRange, UnlikeUnits
from spiracle.source import Input, Mark, Working

_HUNDRED = Decimal(100)
_ML_H = unit("mL/h")
_ML = unit("mL")
_NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A drug to be added: the ordered dose rate (its top) and the vial it comes from."""

    drug: str
    name: str
    dose: Quantity
    vial: Quantity


@dataclass(frozen=True, slots=True)
class Added:
    """A drug in the bag. `gives` is what it gives at the bag's rate, in the ordered unit; `error_percent` against the order."""

    wanted: Wanted
    volume: Quantity
    barrel: Barrel
    fills: int
    amount: Quantity
    strength: Quantity
    gives: Quantity
    error_percent: Decimal


@dataclass(frozen=True, slots=True)
class Bag:
    """A recipe: take `remove` out of the bag first (None: nothing), add each drug, run it at `rate`."""

    holds: Quantity
    remove: Quantity | None
    remove_barrel: Barrel | None
    parts: tuple[Added, ...]
    total: Quantity
    rate: Quantity
    hours: Decimal
    working: Working


def in_the_bag(vial: Quantity, added_ml: Decimal, total_ml: Decimal) -> Quantity:
    """What each mL of a bag holds, once a volume of the vial is in it.

    >>> str(in_the_bag(Quantity.of(100, "mg/mL"), Decimal("0.6"), Decimal(1000)))
    '0.06 mg/mL'
    """
    if total_ml <= 0 or added_ml < 0:
        raise OutOfRange("volume", f"{figure(added_ml)} mL in {figure(total_ml)} mL is no mixture.", "Look again.")
    return Quantity(vial.value * added_ml / total_ml, vial.unit)


def adds_up(bag_ml: Decimal, removed_ml: Decimal, added_ml: Iterable[Decimal]) -> Decimal:
    """What the bag holds when all is in: what it held, less what was taken out, and what went in [mL].

    >>> adds_up(Decimal(500), Decimal(20), [Decimal(15), Decimal(5)])
    Decimal('500')
    """
    return bag_ml - removed_ml + sum(added_ml, _NONE)


def bag_rate(fluid_rate: Quantity, kg: Decimal, fineness: Fineness) -> Quantity:
    """The pump's rate for a fluid order: mL/kg/h times the weight, down to a step of the pump.

    >>> from types import SimpleNamespace
    >>> str(bag_rate(Quantity.of(10, "mL/kg/h"), Decimal("8.4"), SimpleNamespace(pump_step=Quantity.of("0.1", "mL/h"))))
    '84 mL/h'
    """
    rate = hourly(amount_of(fluid_rate, kg)).to(_ML_H)
    return Quantity(down_to(rate.value, fineness.pump_step.value), _ML_H)


def mix(
    wanted: Iterable[Wanted],
    rate: Quantity,
    holds: Quantity,
    kg: Decimal,
    barrels: tuple[Barrel, ...],
    fineness: Fineness,
    share: Decimal,
) -> Bag:
    """A bag that gives each dose at this rate.

    `rate` mL/h, `holds` mL, `kg` 0.1 to 100; `share` per cent of the bag above which as much fluid is taken out first as drug
    goes in (common practice, a row of the tables). Refused: a rate of zero, a vial too weak, a volume no syringe shows.

    Worked by hand: ketamine 10 mcg/kg/min at 10 mL/kg/h: 0.6 mg/kg/h in 10 mL/kg/h is 0.06 mg in each mL, so 60 mg, 0.6 mL of
    100 mg/mL, in 1 L.
    """
    doses = tuple(wanted)
    if rate.value <= 0:
        raise OutOfRange("rate", f"{rate} carries no drug.", "Give a fluid rate above 0 mL/h.")
    per_ml = [_per_ml(w, rate, kg) for w in doses]
    parts_of_vial = [s.number(w.vial.unit) / w.vial.value for w, s in zip(doses, per_ml, strict=True)]
    filled = sum(parts_of_vial, _NONE)  # how much of the finished bag is drug as it came from the vials
    if filled >= 1:
        raise NotMeasurable("bag", f"{holds} cannot take it: at {rate} the vials alone are more than the fluid.",
                            "Run the fluid faster, or give each drug from a syringe of its own.")  # fmt: skip
    swap = filled * _HUNDRED > share
    total = holds.value if swap else holds.value / (1 - filled)
    drawn = [_drawn(w, total * f, barrels, fineness) for w, f in zip(doses, parts_of_vial, strict=True)]
    out, out_of = _taken_out(sum((v for v, _ in drawn), _NONE), barrels) if swap else (_NONE, None)
    volumes = _never_over(holds.value - out, drawn, doses, per_ml)
    total = adds_up(holds.value, out, volumes)
    parts = tuple(_added(w, v, b, total, rate, kg, barrels) for w, v, (_, b) in zip(doses, volumes, drawn, strict=True))
    hours = total / rate.value
    remove = Quantity(out, _ML) if out else None
    working = _working(holds, remove, parts, Quantity(total, _ML), rate, kg, hours)
    return Bag(holds, remove, out_of, parts, Quantity(total, _ML), rate, hours, working)


def _per_ml(w: Wanted, rate: Quantity, kg: Decimal) -> Quantity:
    """How much of the drug each mL must hold: the dose of an hour in the fluid of an hour."""
    amount = hourly(amount_of(w.dose, kg))
    top = amount.unit.parts[0][0]
    try:
        return Quantity(amount.value / rate.value, unit(f"{top}/mL")).to(w.vial.unit)
    except UnlikeUnits as unlike:
        raise UnlikeUnits(
            "strength", f"{w.vial} of {w.name} does not measure what {w.dose} is written in.", "Give both in one kind."
        ) from unlike


def _drawn(w: Wanted, ml: Decimal, barrels: tuple[Barrel, ...], fineness: Fineness) -> tuple[Decimal, Barrel]:
    """The volume down to a mark; more than the largest syringe holds goes in by several fills of it."""
    largest = max(barrels, key=lambda b: b.holds.value)
    if ml > largest.holds.value:
        return down_to(ml, largest.mark.value), largest
    found = measure(Quantity(ml, _ML), barrels, fineness)
    if found is None or -found.error_percent > fineness.largest_error:
        raise NotMeasurable("volume", f"{figure(ml, 3)} mL of {w.name} {w.vial} is too small to measure into this bag.",
                            "Take a larger bag or a slower fluid rate, or run the drug from a syringe.")  # fmt: skip
    return found.volume.value, found.barrel


def _taken_out(ml: Decimal, barrels: tuple[Barrel, ...]) -> tuple[Decimal, Barrel | None]:
    """As much as goes in, down to a mark of the smallest syringe that holds it: taking out less makes the bag weaker, not stronger."""
    able = sorted(barrels, key=lambda b: (b.holds.value, b.mark.value))
    barrel = next((b for b in able if b.holds.value >= ml), able[-1])
    return down_to(ml, barrel.mark.value), barrel


def _never_over(
    left: Decimal, drawn: list[tuple[Decimal, Barrel]], doses: tuple[Wanted, ...], per_ml: list[Quantity]
) -> list[Decimal]:
    """The volumes, a mark less of whichever would be too strong because another one was rounded down."""
    volumes = [v for v, _ in drawn]
    while True:
        total = left + sum(volumes, _NONE)
        over = [
            i
            for i, (w, v) in enumerate(zip(doses, volumes, strict=True))
            if v > 0 and w.vial.value * v > per_ml[i].value * total
        ]
        if not over:
            return volumes
        for i in over:
            volumes[i] -= drawn[i][1].mark.value
            if volumes[i] <= 0:
                raise NotMeasurable("volume", f"{doses[i].name} is too little to measure into this bag.",
                                    "Take a larger bag, or run the drug from a syringe.")  # fmt: skip


def _added(
    w: Wanted, ml: Decimal, barrel: Barrel, total: Decimal, rate: Quantity, kg: Decimal, barrels: tuple[Barrel, ...]
) -> Added:
    strength = in_the_bag(w.vial, ml, total)
    top = w.dose.unit.parts[0][0]
    gives = in_unit(per_hour(rate, strength, top), w.dose.unit, kg)
    amount = (Quantity(ml, _ML) * w.vial).to(w.vial.unit.parts[0][0])
    fills = int((ml / barrel.holds.value).to_integral_value(rounding=ROUND_CEILING))
    return Added(
        w, Quantity(ml, _ML), barrel, max(1, fills), amount, strength, gives, percent(gives.value, w.dose.value)
    )


def _working(
    holds: Quantity, remove: Quantity | None, parts: tuple[Added, ...], total: Quantity, rate: Quantity, kg: Decimal,
    hours: Decimal,
) -> Working:  # fmt: skip
    lines = [f"{holds} − {figure(remove.value)} mL taken out" if remove else f"{holds}"]
    for p in parts:
        lines.append(
            f"{p.wanted.name}: {p.volume} of {p.wanted.vial} = {p.amount}; {p.amount} ÷ {_short(total)} = {_short(p.strength)}; "
            f"{rate} × {_short(p.strength)} ÷ {figure(kg)} kg = {_short(p.gives)} "
            f"({figure(p.error_percent)} % of {p.wanted.dose})"
        )
    lines.append(f"{_short(total)} ÷ {rate} = {figure(hours, 3)} h")
    inputs = (
        Input("weight", f"{figure(kg)} kg"),
        Input("fluid rate", str(rate), Mark.WORKED),
        *(Input(f"{p.wanted.name} ordered", str(p.wanted.dose)) for p in parts),
        *(Input(f"{p.wanted.name} vial", str(p.wanted.vial)) for p in parts),
    )
    return Working(says="; ".join(lines), inputs=inputs)


def _short(q: Quantity) -> str:
    return f"{figure(q.value, 4)} {q.unit}"
