"""The leak test held against the published limits, which disagree: they are shown side by side.

A leak is read as a flow that holds the pressure, or worked from how fast the pressure falls. The second needs the volume
that gives way: the same fall in the same time is a twentyfold leak once a bag is on.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from math import log
from typing import Literal

from spiracle.breathing.tables import BreathingTables
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Contradiction, Missing, OutOfRange
from spiracle.source import Input, Mark, Worked, Working

Verdict = Literal["passes", "sources differ", "fault"]
VOLUME, WALL, SECONDS = "leak test, volume", "leak test, hoses and bag", "leak test, time"


@dataclass(frozen=True, slots=True)
class LeakVerdict:
    """`passes` under every limit, `fault` over every one, else the sources differ and the stricter is named."""

    verdict: Verdict
    words: str
    working: Working


def leak_verdict(facts: BreathingTables, leak: Quantity, at: Quantity) -> LeakVerdict:
    """A leak [mL/min] found at a test pressure [cmH2O]. A test under 20 or over 30 cmH2O is refused: no limit speaks of it."""
    low, high = facts.setting("leak-pressure-low").quantity, facts.setting("leak-pressure-high").quantity
    if not low <= at <= high:
        raise OutOfRange(
            "leak test, pressure", f"{at} is not a pressure the limits speak of.", f"Test at {low} to {high}."
        )
    flow = leak.number("mL/min")
    if not 0 <= flow <= 20_000:
        raise OutOfRange(
            "leak test, flow", f"{leak} is not a leak flow.", "Give the flow that holds the pressure, like 150 mL/min."
        )
    # The leak grows with pressure: a test at or above a limit's pressure can pass it, one below it cannot.
    passing = [row for row in facts.leaks if flow <= row.most and at.number("cmH2O") >= row.at]
    failing = [row for row in facts.leaks if flow > row.most]
    held = tuple(f"at most {row.most} mL/min at {row.at} cmH2O: {row.says}{' (from memory)' if row.memory else ''}"
                 for row in facts.leaks)  # fmt: skip
    working = Working(f"{leak} at {at}", (Input("leak", str(leak), Mark.MEASURED), Input("pressure", str(at), Mark.MEASURED)),
                      held=held, sources=tuple(dict.fromkeys(s for row in facts.leaks for s in row.source)),
                      memory=any(row.memory for row in facts.leaks))  # fmt: skip
    if not passing:
        return LeakVerdict("fault", f"{leak} at {at} is over every limit: find the leak before use.", working)
    if not failing:
        return LeakVerdict("passes", f"{leak} at {at} is within the limits for this pressure.", working)
    return LeakVerdict(
        "sources differ", f"{leak} at {at} passes one limit and fails another: find and mend it.", working
    )


def circuit_compliance_ml_cmh2o(gas_litres: float, wall_ml_cmh2o: float, atmosphere_cmh2o: float) -> float:
    """How much a closed system takes up per step of pressure [mL/cmH2O]: its gas by Boyle's law, and its walls and bag.

    Source: Boyle's law at one temperature, d(volume at one atmosphere)/d(pressure) = volume / atmosphere.
    >>> round(circuit_compliance_ml_cmh2o(1.5, 0, 1033.2), 2), round(circuit_compliance_ml_cmh2o(1.5, 30, 1033.2), 2)
    (1.45, 31.45)
    """
    if not 0 < gas_litres < float("inf"):
        raise OutOfRange(VOLUME, f"{gas_litres:g} L is not a breathing system's volume.", "Give litres, like 1.5 L.")
    if not 0 <= wall_ml_cmh2o < float("inf"):
        raise OutOfRange(WALL, f"{wall_ml_cmh2o:g} mL/cmH2O is not a compliance.", "Give 0 or more, like 2 mL/cmH2O.")
    return gas_litres * 1000 / atmosphere_cmh2o + wall_ml_cmh2o


def leak_from_drop_ml_min(compliance_ml_cmh2o: float, from_cmh2o: float, to_cmh2o: float, seconds: float) -> float:
    """The leak at the first pressure [mL/min], from a fall of pressure in a closed system with the flow off.

    The leak is taken to grow with the pressure, so that the fall is exponential: compliance x pressure x ln(from/to) / time.
    Source: first-order emptying of a compliant vessel. Refused when the pressure rose, or fell to nothing.
    >>> round(leak_from_drop_ml_min(1500 / 1033.2, 30, 25, 30), 1)
    15.9
    """
    if seconds <= 0:
        raise OutOfRange(SECONDS, f"{seconds:g} s is no time.", "Give the seconds between the two readings.")
    if to_cmh2o <= 0:
        raise OutOfRange(
            "leak test, pressure after", "it fell to nothing, which tells no rate.", "Mend it, or time a shorter fall."
        )
    if to_cmh2o > from_cmh2o:
        raise Contradiction("leak test, pressure after", f"it rose from {from_cmh2o:g} to {to_cmh2o:g} cmH2O.",
                            "Shut off all flow and read again.")  # fmt: skip
    return compliance_ml_cmh2o * from_cmh2o * log(from_cmh2o / to_cmh2o) * 60 / seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class DropLeak:
    """A leak worked from a fall of pressure: the flow, at which pressure, and how it stands against the limits."""

    flow: Worked[Quantity]
    at: Quantity
    compliance: Worked[Quantity]
    verdict: LeakVerdict
    cautions: tuple[str, ...]


def leak_from_drop(
    facts: BreathingTables, *, volume: Quantity | None, bag_on: bool | None, before: Quantity, after: Quantity,
    seconds: Decimal | int, wall: Quantity | None = None,
) -> DropLeak:  # fmt: skip
    """The leak [mL/min] of a closed system whose pressure fell, and its verdict.

    `volume` is the gas in the system [L]; `wall` how far hoses and bag give way [mL/cmH2O], needed when a bag was on.
    Raises Missing (volume, bag, wall), OutOfRange (pressures, time, volume), Contradiction (a pressure that rose).
    """
    if volume is None:
        raise Missing(VOLUME, "was not given, and a fall of pressure alone is no leak rate.",
                      "Give hoses, canister and bag in litres, like 1.5 L, or measure the flow that holds the pressure.")  # fmt: skip
    if bag_on is None:
        raise Missing("leak test, bag", "it was not said whether a bag was on.", "Say on or off: a bag gives way.")
    if bag_on and wall is None:
        raise Missing(WALL, "a bag was on and how far it gives way was not given.",
                      "Take the bag off, or give hoses and bag in mL/cmH2O, or measure the flow that holds the pressure.")  # fmt: skip
    low, high = (facts.setting(f"drop-seconds-{end}").value for end in ("low", "high"))
    if not low <= seconds <= high:
        raise OutOfRange(SECONDS, f"{seconds} s is not a time to watch a fall.", f"Watch for {low} to {high} s.")
    atmosphere = facts.setting("atmosphere")
    gives = 0.0 if wall is None else float(wall.number("mL/cmH2O"))
    compliance = circuit_compliance_ml_cmh2o(
        float(volume.number("L")), gives, float(atmosphere.quantity.number("cmH2O"))
    )
    start, end = (float(p.number("cmH2O")) for p in (before, after))
    # Up to the next whole millilitre: a leak is never made to look smaller than it was worked.
    flow = Decimal(str(leak_from_drop_ml_min(compliance, start, end, float(seconds))))
    leak = Quantity.of(flow.quantize(Decimal("0.1"), rounding=ROUND_CEILING), "mL/min")
    cautions = []
    if wall is None:
        cautions.append("Hoses taken as stiff: the true leak is larger. Their compliance in mL/cmH2O would tell.")
    if before.equals(after):
        cautions.append("No fall was seen: the leak is under what this gauge and this time can show.")
    inputs = (Input("volume", str(volume), Mark.TYPED), Input("walls and bag", "taken as stiff" if wall is None else str(wall), Mark.TYPED),
              Input("pressure before", str(before), Mark.MEASURED), Input("pressure after", str(after), Mark.MEASURED),
              Input("time", f"{seconds} s", Mark.MEASURED))  # fmt: skip
    shown = Quantity.of(round_significant(Decimal(str(compliance)), 3), "mL/cmH2O")
    return DropLeak(
        flow=Worked(leak, Working(f"{shown} x {before} x ln({figure(before.value)} / {figure(after.value)}) / {seconds} s = {leak}",
                                  inputs, sources=("b_definition",), estimated=wall is None)),
        at=before,
        compliance=Worked(shown, Working(f"{volume} / 1 atmosphere + walls = {shown}", inputs[:2], sources=atmosphere.source)),
        verdict=leak_verdict(facts, leak, before),
        cautions=tuple(cautions),
    )  # fmt: skip
