"""How the oxygen goes down between two readings of the gauge. Everything here is predicted, never a reading.

A countdown starts at a reading and takes away what the charted flows used since. The next reading ends it; when the two
differ much, one of them is wrong and that is asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

from spiracle.breathing.oxygen import CONTENTS, FULL, Cylinder, check_cylinder, floored, litres_left
from spiracle.breathing.tables import BreathingTables
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import AskAgain, Contradiction, Missing, NotOneOf, OutOfRange
from spiracle.source import Input, Mark, Worked, Working

SupplyKind = Literal["cylinder", "concentrator", "pipeline"]
SUPPLIES: tuple[SupplyKind, ...] = ("cylinder", "concentrator", "pipeline")
FLOW, WATER = "oxygen flow", "cylinder, water capacity"


def used_litres(steps: Sequence[tuple[Decimal, Decimal]], since_min: Decimal, until_min: Decimal) -> Decimal:
    """Oxygen used between two minutes [L]: each step (minute, L/min) holds until the next one.

    Refused: a flow below nothing, an end before the beginning, and minutes at which no flow is known yet.
    >>> used_litres([(Decimal(0), Decimal(2)), (Decimal(30), Decimal(1))], Decimal(0), Decimal(60))
    Decimal('90')
    """
    if until_min < since_min:
        raise Contradiction(FLOW, "the end lies before the reading.", "Look at the two times.")
    ordered = sorted(steps, key=lambda step: step[0])
    if any(not 0 <= flow < Decimal("Infinity") for _, flow in ordered):
        raise OutOfRange(FLOW, "a flow is not a figure of 0 or more.", "Give L/min, like 2 L/min.")
    if until_min > since_min and (not ordered or ordered[0][0] > since_min):
        raise Missing(
            FLOW, "no flow is charted at the time of the reading.", "Chart the flow that was set, or 0 L/min."
        )
    used = Decimal(0)
    for place, (start, flow) in enumerate(ordered):
        end = ordered[place + 1][0] if place + 1 < len(ordered) else until_min
        minutes = min(end, until_min) - max(start, since_min)
        if minutes > 0:
            used += minutes * flow
    return used


def drive_gas_l_min(tidal_ml: Decimal, rate_per_min: Decimal, share: Decimal) -> Decimal:
    """Gas that drives a bellows ventilator [L/min]: a share of the minute volume. Source: teaching, from memory, share 1.

    >>> drive_gas_l_min(Decimal(250), Decimal(12), Decimal(1))
    Decimal('3')
    """
    return tidal_ml * rate_per_min * share / 1000


def litres_of_water_capacity(water_l: Decimal, full_bar: Decimal) -> Decimal:
    """Contents of a full cylinder [L] from the water it would hold and its full pressure [bar]: one times the other.

    Source: Boyle's law, as printed on a page of metric cylinders (row O9).
    >>> litres_of_water_capacity(Decimal("4.7"), Decimal(137))
    Decimal('643.9')
    """
    return water_l * full_bar


@dataclass(frozen=True, slots=True)
class Step:
    """From `at` on the supply gives so many litres a minute: fresh oxygen and drive gas together."""

    at: datetime
    l_min: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What is predicted to be left at a time. Minutes and times are None when nothing flows."""

    litres: Worked[Quantity]
    used: Quantity
    fraction: Decimal
    flow: Quantity
    at: datetime
    read_at: datetime
    minutes_to_reserve: int | None
    minutes_to_empty: int | None
    reserve_at: datetime | None
    empty_at: datetime | None
    short: bool
    mark: Mark
    cautions: tuple[str, ...]


def left(facts: BreathingTables, cylinder: Cylinder, read_at: datetime, steps: Sequence[Step], now: datetime) -> Left:
    """What is left of a cylinder at `now`, from its last reading and the flows since; at the reading itself it is the reading.

    Raises what the cylinder itself is refused for, Missing (no flow charted), Contradiction (`now` before the reading).
    """
    cautions = list(check_cylinder(facts, cylinder))
    plain = [(_minutes(read_at, step.at), step.l_min) for step in steps]
    until = _minutes(read_at, now)
    used = used_litres(plain, Decimal(0), until)
    unit, full = str(cylinder.full_pressure.unit), cylinder.full_pressure.value
    contents = cylinder.contents.number("L")
    reserve_row = facts.setting("oxygen-reserve")
    then = litres_left(contents, full, cylinder.gauge.number(unit))
    now_left = max(then - used, Decimal(0))
    above = now_left - litres_left(contents, full, reserve_row.quantity.number(unit))
    flow = _flow_at(plain, until)
    to_reserve, to_empty = _lasts(max(above, Decimal(0)), flow), _lasts(now_left, flow)
    short = above <= 0 or (to_reserve is not None and to_reserve < facts.setting("oxygen-short").value)
    if above <= 0:
        cautions.append(
            f"By this count the gauge is at or under {reserve_row.quantity}: read it and change the cylinder."
        )
    if used > then:
        cautions.append("By this count the cylinder is empty: read the gauge now.")
    whole = Quantity.of(floored(now_left), "L")
    spent = Quantity.of(round_significant(used, 4), "L")
    inputs = (Input("gauge", str(cylinder.gauge), Mark.MEASURED), Input("used since", str(spent), Mark.PREDICTED, "from charted flows"),
              Input("flow now", f"{figure(flow)} L/min", Mark.TYPED))  # fmt: skip
    return Left(
        litres=Worked(whole, Working(f"{floored(then)} L at the reading less {spent} = {whole}, predicted", inputs,
                                     held=(f"changed at {reserve_row.quantity} ({reserve_row.note})",),
                                     sources=("b_shouman2004", *reserve_row.source), memory=reserve_row.memory,
                                     estimated=until > 0)),
        used=spent,
        fraction=round_significant(now_left / contents, 4),
        flow=Quantity.of(flow, "L/min"),
        at=now,
        read_at=read_at,
        minutes_to_reserve=to_reserve,
        minutes_to_empty=to_empty,
        reserve_at=_after(now, to_reserve),
        empty_at=_after(now, to_empty),
        short=short,
        mark=Mark.PREDICTED if until > 0 else Mark.MEASURED,
        cautions=tuple(cautions),
    )  # fmt: skip


def _minutes(since: datetime, at: datetime) -> Decimal:
    return Decimal(str((at - since).total_seconds())) / 60


def _flow_at(plain: Sequence[tuple[Decimal, Decimal]], minute: Decimal) -> Decimal:
    begun = [flow for start, flow in sorted(plain, key=lambda step: step[0]) if start <= minute]
    return begun[-1] if begun else Decimal(0)


def _lasts(litres: Decimal, flow: Decimal) -> int | None:
    """Whole minutes, rounded down: an animal is not promised the last part of a minute."""
    return int(floored(litres / flow)) if flow > 0 else None


def _after(now: datetime, minutes: int | None) -> datetime | None:
    return None if minutes is None else now + timedelta(minutes=minutes)


def gauge_question(facts: BreathingTables, predicted: Left, cylinder: Cylinder) -> str:
    """What is asked when a new reading does not fit the countdown; empty when it fits. Neither figure is put right."""
    row = facts.setting("reading-off")
    check_cylinder(facts, cylinder)
    contents = cylinder.contents.number("L")
    read = litres_left(contents, cylinder.full_pressure.value,
                       cylinder.gauge.number(str(cylinder.full_pressure.unit)))  # fmt: skip
    off = read - predicted.litres.value.number("L")
    if abs(off) <= contents * Decimal(row.value) / 100:
        return ""
    said = f"The gauge says {floored(read)} L, the charted flows leave {predicted.litres.value}."
    if off < 0:
        return f"{said} Is there a leak, a flow that was not charted, or another cylinder's label?"
    return f"{said} Was the cylinder changed, or a flow turned down and not charted?"


def drive_gas(facts: BreathingTables, tidal: Quantity, rate: Quantity) -> Worked[Quantity]:
    """What a bellows ventilator uses [L/min] when nobody measured it: taught as the minute volume, and marked so.

    A piston or turbine uses none; the caller says which machine it is.
    """
    row = facts.setting("drive-share")
    flow = drive_gas_l_min(tidal.number("mL"), rate.number("/min"), Decimal(row.value))
    value = Quantity.of(round_significant(flow, 2), "L/min")
    return Worked(value, Working(
        f"{tidal} x {rate} x {row.value} = {value}",
        (Input("tidal volume", str(tidal), Mark.TYPED), Input("rate", str(rate), Mark.TYPED)),
        held=(row.note,), sources=row.source, memory=row.memory, estimated=True))  # fmt: skip


def contents_from_water(facts: BreathingTables, water: Quantity | None, full: Quantity) -> Worked[Quantity]:
    """Contents of a full cylinder [L] whose label gives water capacity instead of litres of gas. Raises Missing, OutOfRange."""
    if water is None:
        raise Missing(WATER, "was not given, and no cylinder is assumed.", "Read it off the shoulder, like 4.7 L.")
    most = facts.setting("water-litres-high").quantity
    if not 0 < water.number("L") <= most.number("L"):
        raise OutOfRange(WATER, f"{water} is not a cylinder's water capacity; were litres of gas meant?",
                         f"Give up to {most}, or {CONTENTS.removeprefix('oxygen, ')}.")  # fmt: skip
    low, high = (facts.setting(f"cylinder-full-{end}").quantity for end in ("low", "high"))
    if not low <= full <= high:
        raise OutOfRange(FULL, f"{full} is not the pressure of a full cylinder; was another unit meant?",
                         "Read the printed one, like 137 bar.")  # fmt: skip
    litres = floored(litres_of_water_capacity(water.number("L"), full.number("bar")))
    value = Quantity.of(litres, "L")
    return Worked(value, Working(
        f"{water} of water x {figure(full.number('bar'), 4)} bar = {value}",
        (Input("water capacity", str(water), Mark.TYPED), Input("printed full pressure", str(full), Mark.TYPED)),
        sources=facts.stated["O9"].source, estimated=True))  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """Where the oxygen comes from. A concentrator has a largest flow and a percentage; neither is ever assumed."""

    kind: SupplyKind
    max_flow: Quantity | None = None
    percent: Quantity | None = None

    @staticmethod
    def read(
        facts: BreathingTables, kind: str, *, max_flow: Quantity | None = None, percent: Quantity | None = None,
        confirmed: bool = False,
    ) -> Supply:  # fmt: skip
        """Checked at the door. Raises NotOneOf (kind), Missing (a concentrator's figures), OutOfRange, AskAgain (weak oxygen)."""
        if kind not in SUPPLIES:
            raise NotOneOf("oxygen supply", f"{kind!r} is not a supply.", "Say cylinder, concentrator or pipeline.")
        if kind == "concentrator":
            for name, figure_, example in (("largest flow", max_flow, "5 L/min"), ("oxygen", percent, "93 %")):
                if figure_ is None:
                    raise Missing(f"concentrator, {name}", "was not given and is not assumed.",
                                  f"Read it off the machine or its book, like {example}.")  # fmt: skip
        if max_flow is not None and not 0 < max_flow.number("L/min") <= Decimal(100):
            raise OutOfRange(
                "oxygen supply, largest flow", f"{max_flow} is not a supply's flow.", "Give L/min, like 5 L/min."
            )
        if percent is not None:
            _check_percent(facts, percent, confirmed)
        return Supply(kind=next(s for s in SUPPLIES if s == kind), max_flow=max_flow, percent=percent)


def _check_percent(facts: BreathingTables, percent: Quantity, confirmed: bool) -> None:
    number, ask = percent.number("%"), facts.setting("concentrator-percent-ask")
    if not Decimal(21) <= number <= Decimal(100):
        raise OutOfRange("oxygen supply, oxygen", f"{percent} is not what a supply gives.", "Give 21 to 100 %.")
    if number < ask.value and not confirmed:
        raise AskAgain(
            "oxygen supply, oxygen", f"{percent} is under {ask.quantity}.", "Read the machine again, or confirm."
        )


def supply_words(
    supply: Supply, flow: Quantity, *, drive: Quantity | None = None, ventilated: bool = False, standby: bool = False
) -> tuple[str, ...]:
    """What is to be said of a supply at the flow that is wanted [L/min] and a ventilator's drive gas.

    `ventilated`: a ventilator breathes, which is taken for a bellows until its drive is known to be none. `standby`: minutes of a
    cylinder that stands by are shown beside these words.
    """
    if supply.kind == "cylinder":
        return ()
    wanted = flow if drive is None else flow.to("L/min") + drive.to("L/min")
    words = []
    if supply.kind == "pipeline":
        words.append(
            "Pipeline: it has no gauge and no minutes. Those shown are of the cylinder that stands by."
            if standby
            else "Pipeline: no minutes are shown. A full cylinder stands by, and its minutes are known."
        )
    else:
        words.append(
            f"Concentrator: it needs power and gives {supply.percent}. "
            + ("The minutes shown are of the cylinder that stands by." if standby else "A full cylinder stands by.")
        )
        if ventilated if drive is None else drive.value > 0:
            words.append("A concentrator does not drive a bellows ventilator: drive it from a cylinder, or by hand.")
    if supply.max_flow is not None and wanted > supply.max_flow:
        words.append(f"{wanted} is wanted and the supply gives {supply.max_flow}: rebreathing, or too little oxygen.")
    return tuple(words)
