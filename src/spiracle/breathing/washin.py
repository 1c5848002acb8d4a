"""How long a turn of the dial takes to reach the animal's circle: at most volume over flow, and shorter as measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from spiracle.breathing.flows import time_constant_min, wash_in_minutes
from spiracle.breathing.tables import BreathingTables, CircuitRow
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Contradiction, OutOfRange
from spiracle.source import Input, Mark, Worked, Working


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Minutes to a share of a change: the upper bound, and what the one measured circle took."""

    share: Quantity
    at_most: Worked[Quantity]
    measured: Worked[Quantity]


def reach(
    facts: BreathingTables, circuit: CircuitRow, flow: Quantity, *, shares: Sequence[int] = (50, 90),
    volume: Quantity | None = None,
) -> tuple[Reach, ...]:  # fmt: skip
    """Minutes to each share [%] of a change of the dial on a circle; empty for a system that does not rebreathe.

    `volume` is the circle's own, if the hospital measured it; else the larger of the printed span is taken.
    """
    litres = volume.number("L") if volume is not None else circuit.volume_high_l
    if not circuit.rebreathing or litres is None:
        return ()
    return tuple(_reach(facts, circuit, flow, Decimal(litres), Decimal(share), volume is None) for share in shares)


def minutes_to_set(
    facts: BreathingTables, circuit: CircuitRow, flow: Quantity, *, now: Quantity, wanted: Quantity, dial: Quantity,
    volume: Quantity | None = None,
) -> tuple[Reach, ...]:  # fmt: skip
    """Minutes until the gas in a circle goes from `now` to `wanted` [%] with the dial at `dial`. One row, or none (as `reach`).

    Raises Contradiction when the dial never brings it there: it has to lie beyond what is wanted.
    """
    start, aim, end = (q.number("%") for q in (now, wanted, dial))
    if end == start or not 0 <= (aim - start) / (end - start) < 1:
        raise Contradiction(
            "agent, dial", f"{dial} never brings {now} to {wanted}.", "Set the dial beyond what is wanted."
        )
    share = (aim - start) / (end - start) * 100
    litres = volume.number("L") if volume is not None else circuit.volume_high_l
    if not circuit.rebreathing or litres is None:
        return ()
    return (_reach(facts, circuit, flow, Decimal(litres), share, volume is None),)


def _reach(
    facts: BreathingTables, circuit: CircuitRow, flow: Quantity, litres: Decimal, percent: Decimal, printed: bool
) -> Reach:
    if litres <= 0:
        raise OutOfRange("system's volume", f"{figure(litres)} L holds nothing.", "Give litres, like 5 L.")
    row = facts.setting("wash-in-measured")
    tau = time_constant_min(float(litres), float(flow.number("L/min")))
    longest = Decimal(str(wash_in_minutes(tau, float(percent) / 100)))
    most = Quantity.of(round_significant(longest, 2), "min")
    seen = Quantity.of(round_significant(longest * Decimal(row.value) / 100, 2), "min")
    said = f"{figure(percent, 3)} % of a change"
    inputs = (
        Input("system's volume", f"{figure(litres)} L", Mark.TABLE if printed else Mark.MEASURED),
        Input("fresh gas", str(flow)),
    )
    return Reach(
        share=Quantity.of(round_significant(percent, 3), "%"),
        at_most=Worked(most, Working(f"{said}: -ln(1 - share) x {figure(litres)} L / {flow} = {most}, at most", inputs,
                                     sources=("b_timeconstant", "b_solano2005"), memory=printed and circuit.memory, estimated=True)),
        measured=Worked(seen, Working(f"{row.quantity} of {most} = {seen}, as on the one circle that was measured", inputs,
                                      held=(row.note,), sources=row.source, memory=printed and circuit.memory, estimated=True)),
    )  # fmt: skip
