"""Blood: how much there is, how much may go, and what a transfusion does. The linear form rules every alarm."""

from __future__ import annotations

import math
from decimal import Decimal

from spiracle.circulation.rows import BloodVolume, LossRule, TransfusionRule
from spiracle.quantity import Quantity, figure, nearest, unit
from spiracle.refusals import AskAgain, OutOfRange
from spiracle.source import Input, Mark, Worked, Working

_ONE = Decimal(1)


def _ml(value: Decimal) -> Quantity:
    """Millilitres rounded to a tenth under 10 mL, else to a whole one: no sponge shows more."""
    return Quantity(nearest(value, Decimal("0.1") if abs(value) < 10 else _ONE), unit("mL"))


def _pcv(value: Decimal, name: str) -> Decimal:
    if not 3 <= value <= 80:
        raise OutOfRange(name, f"{figure(value)} % is no PCV.", "Give the PCV in per cent, 3 to 80.")
    return value


def volume(row: BloodVolume, kg: Decimal) -> Worked[Quantity]:
    """Circulating volume = mL/kg x weight [mL]."""
    working = Working(
        f"{figure(row.ml_per_kg)} mL/kg x {figure(kg)} kg",
        (Input("weight", f"{figure(kg)} kg", Mark.TYPED), Input("blood volume", f"{figure(row.ml_per_kg)} mL/kg")),
        held=(f"sources give {figure(row.low)} to {figure(row.high)} mL/kg",),
        sources=row.source,
        memory=row.memory,
        estimated=True,
    )
    return Worked(_ml(row.ml_per_kg * kg), working)


def linear_loss(blood_ml: Decimal, start: Decimal, lowest: Decimal) -> Decimal:
    """Loss that brings the PCV from `start` to `lowest`: volume x (start - lowest) / start [mL]. The cautious form.

    Source: row F5; its worked human example, 3900 mL from 45 to 30 %, gives 1300 mL.
    >>> linear_loss(Decimal(3900), Decimal(45), Decimal(30))
    Decimal('1300')
    """
    return blood_ml * (start - lowest) / start


def logarithmic_loss(blood_ml: Decimal, start: Decimal, lowest: Decimal) -> Decimal:
    """The form for a loss replaced as it happens: volume x ln(start / lowest) [mL]. Larger: for checks, never an alarm."""
    return blood_ml * Decimal(math.log(start / lowest))


def mean_pcv_loss(blood_ml: Decimal, start: Decimal, lowest: Decimal) -> Decimal:
    """The form that divides by the mean PCV [mL]. For checks only; its source was not read."""
    return blood_ml * (start - lowest) / ((start + lowest) / 2)


def hand_loss(blood_ml: Decimal, start: Decimal, lowest: Decimal) -> Decimal:
    """The logarithmic form as worked by hand, PCV as fractions: volume x fall x (3 - true mean) [mL]. For checks only."""
    return blood_ml * (start - lowest) * (3 - (start + lowest) / 2)


def allowable_loss(row: BloodVolume, rule: LossRule, kg: Decimal, pcv: Decimal, lowest: Decimal) -> Worked[Quantity]:
    """The linear allowable loss of this animal; a start at or under the lowest allows nothing, and says so."""
    start, floor = _pcv(pcv, "PCV"), _pcv(lowest, "lowest PCV")
    blood_ml = row.ml_per_kg * kg
    loss = linear_loss(blood_ml, start, floor) if start > floor else Decimal(0)
    says = f"{figure(nearest(blood_ml, _ONE))} mL x ({figure(start)} - {figure(floor)}) / {figure(start)}, linear form"
    if start <= floor:
        says = f"PCV {figure(start)} % is not above the lowest {figure(floor)} %: nothing may be lost"
    working = Working(
        says,
        (
            Input("weight", f"{figure(kg)} kg", Mark.TYPED),
            Input("PCV", f"{figure(start)} %", Mark.TYPED),
            Input("lowest PCV", f"{figure(floor)} %"),
            Input("blood volume", f"{figure(row.ml_per_kg)} mL/kg"),
        ),
        held=("the logarithmic form allows more and is not used",),
        sources=(*row.source, "v_abl_page"),
        memory=row.memory or floor == rule.lowest_pcv,
        estimated=True,
    )
    return Worked(_ml(loss), working)


def loss_percent(row: BloodVolume, rule: LossRule, kg: Decimal, lost_ml: Decimal) -> Worked[Quantity]:
    """What has been lost, in per cent of the circulating volume."""
    share = lost_ml / (row.ml_per_kg * kg) * 100
    words = f"notice at {figure(rule.warn_percent)} %, blood thought of at {figure(rule.blood_percent)} %"
    working = Working(
        f"{figure(lost_ml)} mL of {figure(row.ml_per_kg)} mL/kg x {figure(kg)} kg",
        (Input("lost", f"{figure(lost_ml)} mL", Mark.TYPED), Input("weight", f"{figure(kg)} kg", Mark.TYPED)),
        held=(words,),
        sources=(*row.source, *rule.source),
        memory=True,
        estimated=True,
    )
    return Worked(Quantity(nearest(share, Decimal("0.1")), unit("%")), working)


def transfusion_ml(kg: Decimal, ml_per_kg: Decimal, current: Decimal, target: Decimal, donor: Decimal) -> Decimal:
    """Volume of blood = blood volume x (target - current) / donor PCV [mL]. Source: row F7 (the line from memory)."""
    return ml_per_kg * kg * (target - current) / donor


def cat_rise(ml: Decimal, kg: Decimal, ml_per_kg_a_point: Decimal = Decimal(2)) -> Decimal:
    """PCV points a cat gains from whole blood: mL / (2 x kg). Source: row F8, the best of five formulas, still wide.

    >>> cat_rise(Decimal(60), Decimal(4))
    Decimal('7.5')
    """
    return ml / (ml_per_kg_a_point * kg)


def transfusion(
    row: BloodVolume, rule: TransfusionRule, kg: Decimal, pcvs: tuple[Decimal, Decimal, Decimal], confirmed: bool
) -> Worked[Quantity]:
    """The formula's volume; above the table's top it asks, because the formula can ask for far more than is given."""
    current, target, donor = (_pcv(v, n) for v, n in zip(pcvs, ("PCV", "PCV aimed at", "donor PCV"), strict=True))
    if target <= current:
        raise OutOfRange("PCV aimed at", f"{figure(target)} % is not above the present {figure(current)} %.",
                         "Give a higher one.")  # fmt: skip
    wanted = transfusion_ml(kg, row.ml_per_kg, current, target, donor)
    per_kg = wanted / kg
    if per_kg > rule.ask_above_ml_per_kg and not confirmed:
        raise AskAgain("transfusion volume", f"The formula asks for {figure(nearest(per_kg, _ONE))} mL/kg.",
                       f"A table gives at most {figure(rule.ask_above_ml_per_kg)} mL/kg of whole blood; confirm to see it.")  # fmt: skip
    working = Working(
        f"{figure(row.ml_per_kg)} mL/kg x {figure(kg)} kg x ({figure(target)} - {figure(current)}) / {figure(donor)}",
        (Input("weight", f"{figure(kg)} kg", Mark.TYPED), Input("PCV", f"{figure(current)} %", Mark.TYPED)),
        held=(f"asks above {figure(rule.ask_above_ml_per_kg)} mL/kg",),
        sources=(*rule.source, *row.source),
        memory=True,
        estimated=True,
    )
    return Worked(_ml(wanted), working)
