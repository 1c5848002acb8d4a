"""How long the oxygen lasts: printed contents, printed full pressure and gauge, and never an assumed cylinder."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from spiracle.breathing.tables import BreathingTables
from spiracle.quantity import Quantity, figure, read, round_significant
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAQuantity, OutOfRange
from spiracle.source import Input, Mark, Worked, Working

CONTENTS, FULL, GAUGE = "oxygen, printed contents", "oxygen, printed full pressure", "oxygen, gauge"
_CYLINDER_UNITS = ("bar", "psi", "MPa", "kPa")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """The three figures that belong together: what the label says it holds, at which pressure, and what the gauge says now."""

    contents: Quantity
    full_pressure: Quantity
    gauge: Quantity

    @staticmethod
    def read(contents: object, full_pressure: object, gauge: object) -> Cylinder:
        """From text, each with its unit; a missing one is refused, because cylinders of one letter hold 622 to 680 L.

        >>> Cylinder.read("680 L", "137 bar", "85 bar").gauge.unit
        Unit(parts=(('bar', 1),))
        """
        for text, field, accepts in (
            (contents, CONTENTS, "Read it off the cylinder, like 680 L."),
            (full_pressure, FULL, "Read it off the cylinder, like 137 bar or 2200 psi."),
            (gauge, GAUGE, "Read the gauge with its unit, like 85 bar or 1200 psi."),
        ):
            if text is None or text == "":
                raise Missing(field, "was not given, and no cylinder is assumed.", accepts)
        return Cylinder(contents=read(contents, CONTENTS, "volume"), full_pressure=gauge_pressure(full_pressure, FULL),
                        gauge=gauge_pressure(gauge, GAUGE))  # fmt: skip


def gauge_pressure(text: object, field: str) -> Quantity:
    """A pressure in a unit that stands on a cylinder's gauge. Raises NotAQuantity.

    >>> str(gauge_pressure("1200 psi", "gauge"))
    '1200 psi'
    """
    try:
        value = read(text, field, "pressure")
    except NotAQuantity as why:
        raise NotAQuantity(field, why.says, "Write bar, psi, MPa or kPa, like 85 bar.") from why
    if str(value.unit) not in _CYLINDER_UNITS:
        raise NotAQuantity(
            field, f"{value.unit} is not on a cylinder's gauge.", "Write bar, psi, MPa or kPa, like 85 bar."
        )
    return value


def litres_left(contents_l: Decimal, full: Decimal, gauge: Decimal) -> Decimal:
    """Oxygen left [L]: contents times gauge over full pressure, both in one unit.

    Source: Boyle's law at room temperature; Shouman 2004, Anesth Analg 99:307. Does not hold for nitrous oxide.
    >>> litres_left(Decimal(680), Decimal(137), Decimal("68.5"))
    Decimal('340.0')
    """
    if full <= 0:
        raise OutOfRange(FULL, f"{full} is not a pressure.")
    return contents_l * gauge / full


def minutes_of(litres: Decimal, flow_l_min: Decimal) -> Decimal:
    """Minutes that so many litres last at a flow.

    >>> minutes_of(Decimal(280), Decimal(5))
    Decimal('56')
    """
    if flow_l_min <= 0:
        raise OutOfRange("oxygen flow", f"{flow_l_min} L/min uses none.", "Give the flow that is set, like 2 L/min.")
    return litres / flow_l_min


def litres_by_factor(psi: Decimal, litres_per_psi: Decimal) -> Decimal:
    """Oxygen left by a taught factor [L]. One factor fits one kind of cylinder: shown beside the printed pair, never for it.

    Source: a teaching page, 0.28 L/psi for an E cylinder (row O3); 0.347 follows from another page's pair (row O2).
    >>> litres_by_factor(Decimal(1000), Decimal("0.28"))
    Decimal('280.00')
    """
    return psi * litres_per_psi


def hours_by_rule(psi: Decimal, l_min: Decimal, divisor: Decimal) -> Decimal:
    """Hours an E cylinder is taught to last: psi over (200 x L/min). Shown beside the printed pair, never for it.

    Source: a revision page (row O10). Refused at no flow.
    >>> hours_by_rule(Decimal(2200), Decimal("0.5"), Decimal(200))
    Decimal('22')
    """
    if l_min <= 0:
        raise OutOfRange("oxygen flow", f"{l_min} L/min uses none.", "Give the flow that is set, like 2 L/min.")
    return psi / (divisor * l_min)


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenLeft:
    """Litres, minutes to an empty cylinder, and minutes to the gauge at which it is changed."""

    litres: Worked[Quantity]
    minutes: Worked[Quantity]
    minutes_above_reserve: Worked[Quantity]
    reserve: Quantity
    fraction: Decimal
    enough: bool | None
    cautions: tuple[str, ...]


def oxygen_minutes(
    facts: BreathingTables, cylinder: Cylinder, flow: Quantity, *, planned_minutes: int | None = None,
    drive_gas: Quantity | None = None,
) -> OxygenLeft:  # fmt: skip
    """How long this cylinder lasts at a flow (and a ventilator's drive gas), against the planned minutes.

    `enough` asks for the planned minutes above the reserve; None when no length of the case was given.
    Raises OutOfRange (contents, pressures, flow) and Contradiction (a gauge far over the full pressure).
    """
    unit = str(cylinder.full_pressure.unit)
    gauge, full = cylinder.gauge.number(unit), cylinder.full_pressure.value
    cautions = _check(facts, cylinder, gauge, full)
    use = flow.to("L/min") if drive_gas is None else flow.to("L/min") + drive_gas.to("L/min")
    reserve_row = facts.setting("oxygen-reserve")
    reserve = reserve_row.quantity.number(unit)
    litres = litres_left(cylinder.contents.number("L"), full, gauge)
    above = litres_left(cylinder.contents.number("L"), full, max(gauge - reserve, Decimal(0)))
    to_empty, to_reserve = minutes_of(litres, use.value), minutes_of(above, use.value)
    inputs = (
        Input("printed contents", str(cylinder.contents), Mark.TYPED),
        Input("printed full pressure", str(cylinder.full_pressure), Mark.TYPED),
        Input("gauge", str(cylinder.gauge), Mark.TYPED),
        Input("oxygen used", str(use), note="fresh gas" if drive_gas is None else "fresh gas and drive gas"),
    )
    if planned_minutes is not None and to_reserve < planned_minutes:
        cautions.append(
            f"Oxygen reaches the reserve after {_whole(to_reserve)} min; the case is planned for {planned_minutes}."
        )
    if gauge <= reserve:
        cautions.append(f"The gauge is at or under the {reserve_row.quantity} at which a cylinder is changed.")
    held = (f"changed at {reserve_row.quantity} ({reserve_row.note})",)
    shown = f"{cylinder.contents} x {cylinder.gauge} / {cylinder.full_pressure}"
    return OxygenLeft(
        litres=Worked(Quantity.of(floored(litres), "L"), Working(f"{shown} = {floored(litres)} L", inputs,
                                                                sources=("b_shouman2004",))),
        minutes=Worked(Quantity.of(floored(to_empty), "min"), Working(
            f"{floored(litres)} L / {use} = {_whole(to_empty)} min to an empty cylinder", inputs, sources=("b_shouman2004",))),
        minutes_above_reserve=Worked(Quantity.of(floored(to_reserve), "min"), Working(
            f"{floored(above)} L above the reserve / {use} = {_whole(to_reserve)} min", inputs, held=held,
            sources=("b_shouman2004", *reserve_row.source), memory=reserve_row.memory)),
        reserve=reserve_row.quantity,
        fraction=round_significant(gauge / full, 4),
        enough=None if planned_minutes is None else to_reserve >= planned_minutes,
        cautions=tuple(cautions),
    )  # fmt: skip


def _check(facts: BreathingTables, cylinder: Cylinder, gauge: Decimal, full: Decimal) -> list[str]:
    bounds = {
        i: facts.setting(f"cylinder-{i}").quantity for i in ("litres-low", "litres-high", "full-low", "full-high")
    }
    if not bounds["litres-low"] <= cylinder.contents <= bounds["litres-high"]:
        raise OutOfRange(
            CONTENTS, f"{cylinder.contents} is not an oxygen cylinder's contents.", "Give litres, like 680 L."
        )
    if not bounds["full-low"] <= cylinder.full_pressure <= bounds["full-high"]:
        raise OutOfRange(FULL, f"{cylinder.full_pressure} is not the pressure of a full cylinder; was another unit meant?",
                         "Read the printed one, like 137 bar or 2200 psi.")  # fmt: skip
    over = facts.setting("overfill")
    if gauge > full * (1 + Decimal(over.value) / 100):
        raise Contradiction(GAUGE, f"{cylinder.gauge} is over the full pressure of {cylinder.full_pressure}.",
                            "Read gauge and label again, each with its unit.")  # fmt: skip
    return (
        ["The gauge reads over the printed full pressure: warm, or not this cylinder's label."] if gauge > full else []
    )


def check_cylinder(facts: BreathingTables, cylinder: Cylinder) -> tuple[str, ...]:
    """Refuses what no oxygen cylinder holds or shows; else what is to be said of it. Raises OutOfRange, Contradiction."""
    unit_ = cylinder.full_pressure.unit
    return tuple(_check(facts, cylinder, cylinder.gauge.number(unit_), cylinder.full_pressure.value))


def ask_unit(facts: BreathingTables, cylinder: Cylinder) -> None:
    """Asks whether the gauge's unit is right where it is another than the label's and the cylinder would be all but empty.

    85 psi under 137 bar is most likely 85 bar. In the label's own unit a low gauge is only low. Raises AskAgain.
    """
    unit = str(cylinder.full_pressure.unit)
    if str(cylinder.gauge.unit) == unit:
        return
    gauge, times = cylinder.gauge.number(unit), Decimal(facts.setting("gauge-unit-ask").value)
    if gauge * times < cylinder.full_pressure.value:
        said = (
            f"{cylinder.gauge} is {figure(round_significant(gauge, 2))} {unit}, and full is {cylinder.full_pressure}."
        )
        raise AskAgain(GAUGE, said, f"Is {cylinder.gauge.unit} what the gauge shows? Read it again, or confirm.")


def floored(x: Decimal) -> Decimal:
    """Down to a whole litre or minute: oxygen is never promised that is not there."""
    return x.to_integral_value(rounding=ROUND_FLOOR)


def _whole(x: Decimal) -> str:
    return figure(floored(x))
