"""The leak test held against the published limits, which disagree: they are shown side by side.

A leak is read as a flow that holds the pressure, or worked from how fast the pressure falls. The second needs the volume
that gives way: the same fall in the same time is a twentyfold leak once a bag is on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from math import log
from typing import Literal

from spiracle.breathing.tables import BreathingTables, LeakRow
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Contradiction, Missing, OutOfRange
from spiracle.source import Input, Mark, Worked, Working

Verdict = Literal["passes", "sources differ", "not known", "fault"]
Held = Literal["kept", "over", "not tested", "not known"]
VOLUME, WALL, SECONDS = "leak test, volume", "leak test, hoses and bag", "leak test, time"


@dataclass(frozen=True, slots=True)
class LeakVerdict:
    """`fault` where no limit could let it pass, `passes` where none that was tested is passed over, `sources differ` where one keeps
    and one breaks, `not known` where the leak is only known to be at least so large. `limits` says it of each limit by its row's id."""

    verdict: Verdict
    words: str
    working: Working
    limits: tuple[tuple[str, Held], ...]

    def of(self, limit: str) -> Held:
        return dict(self.limits)[limit]


def held_against(row: LeakRow, flow: Decimal, at: Decimal, *, at_least: bool) -> Held:
    """One limit by itself. The leak grows with pressure: a test below a limit's pressure can break it and cannot keep it; one above
    it can keep it, and where it is over the figure it stands against it all the same. A least leak keeps nothing."""
    if flow > row.most:
        return "over"
    if at_least:
        return "not known"
    return "kept" if at >= row.at else "not tested"


def leak_verdict(facts: BreathingTables, leak: Quantity, at: Quantity, *, at_least: bool = False) -> LeakVerdict:
    """A leak [mL/min] found at a test pressure [cmH2O]; `at_least`: the true one is this or more, and passes nothing.

    A test under 20 or over 30 cmH2O is refused: no limit speaks of it.
    """
    low, high = facts.setting("leak-pressure-low").quantity, facts.setting("leak-pressure-high").quantity
    if not low <= at <= high:
        raise OutOfRange(
            "leak test, pressure", f"{at} is not a pressure the limits speak of.", f"Test at {low} to {high}."
        )
    flow, pressure = leak.number("mL/min"), at.number("cmH2O")
    if not 0 <= flow <= 20_000:
        raise OutOfRange(
            "leak test, flow", f"{leak} is not a leak flow.", "Give the flow that holds the pressure, like 150 mL/min."
        )
    limits = {row: held_against(row, flow, pressure, at_least=at_least) for row in facts.leaks}
    over = [row for row, held in limits.items() if held == "over"]
    open_ = [row for row in facts.leaks if flow <= row.most and pressure >= row.at]
    held = tuple(f"at most {row.most} mL/min at {row.at} cmH2O: {row.says}{' (from memory)' if row.memory else ''}"
                 for row in facts.leaks)  # fmt: skip
    said = f"at least {leak}" if at_least else str(leak)
    working = Working(f"{said} at {at}", (Input("leak", said, Mark.MEASURED), Input("pressure", str(at), Mark.MEASURED)),
                      held=held, sources=tuple(dict.fromkeys(s for row in facts.leaks for s in row.source)),
                      memory=any(row.memory for row in facts.leaks))  # fmt: skip
    verdict: Verdict = "fault" if not open_ else "not known" if at_least else "sources differ" if over else "passes"
    words = f"{said} at {at} {_limit_words(limits)}{_ENDS[verdict]}"
    return LeakVerdict(verdict, words, working, tuple((row.id, held) for row, held in limits.items()))


_ENDS = {
    "passes": ".",
    "sources differ": ". The limits differ: find and mend it.",
    "not known": ". How far the hoses give was not given: no limit is kept by this.",
    "fault": ": find the leak before use.",
}
_VERBS: dict[Held, str] = {"over": "is over", "kept": "keeps", "not tested": "was not tested at the pressure of",
                           "not known": "is not known against"}  # fmt: skip


def _limit_words(limits: Mapping[LeakRow, Held]) -> str:
    """What holds of which limit: "is over 250 mL/min at 20 cmH2O, was not tested at the pressure of 300 mL/min at 30 cmH2O"."""
    said = []
    for held, verb in _VERBS.items():
        rows = [f"{row.most} mL/min at {row.at} cmH2O" for row, how in limits.items() if how == held]
        if rows:
            said.append(f"{verb} {'every limit' if len(rows) == len(limits) else ' and '.join(rows)}")
    return ", ".join(said)


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


def check_litres(facts: BreathingTables, volume: Quantity, field: str) -> None:
    """A volume no circle holds is refused: a litre read as a millilitre makes any leak look like none."""
    low, high = (facts.setting(f"circle-litres-{end}").quantity for end in ("low", "high"))
    if not low <= volume <= high:
        raise OutOfRange(field, f"{volume} is not a breathing system's volume.", f"Give {low} to {high}, like 1.5 L.")


def check_walls(facts: BreathingTables, wall: Quantity, field: str, *, bag_on: bool) -> None:
    """Hoses that do not give, or a bag that hardly does, are refused: the leak would look many times smaller than it is."""
    low = facts.setting("give-bag-low" if bag_on else "give-hoses-low").quantity
    if wall < low:
        what = "hoses with a bag on" if bag_on else "hoses"
        raise OutOfRange(field, f"{wall} is not a compliance of {what}: they give {low} or more.",
                         "Leave it out and take the bag off, measure it with a syringe and the gauge, or test by flow.")  # fmt: skip


def _check_would_show(facts: BreathingTables, at: Quantity, compliance_ml_cmh2o: float, seconds: Decimal | int) -> None:
    """No fall seen is no leak only where the limits let pass what the gauge cannot show in that time."""
    step, start = facts.setting("gauge-step").quantity, float(at.number("cmH2O"))
    hidden = leak_from_drop_ml_min(compliance_ml_cmh2o, start, start - float(step.number("cmH2O")), float(seconds))
    leak = Quantity.of(Decimal(str(hidden)).quantize(Decimal("0.1"), rounding=ROUND_CEILING), "mL/min")
    if leak_verdict(facts, leak, at).verdict != "passes":
        raise OutOfRange(SECONDS, f"no fall was seen, but a leak of {leak} lowers the gauge by only {step} in {seconds} s.",
                         "Watch for longer, or take the bag off, or test by flow.")  # fmt: skip


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
    Without the give of the walls the leak is the least it can be, and the verdict is never a pass.
    Raises Missing (volume, bag, wall), OutOfRange (pressures, time, volume, wall), Contradiction (a pressure that rose).
    """
    if volume is None:
        raise Missing(VOLUME, "was not given, and a fall of pressure alone is no leak rate.",
                      "Give hoses, canister and bag in litres, like 1.5 L, or measure the flow that holds the pressure.")  # fmt: skip
    if bag_on is None:
        raise Missing("leak test, bag", "it was not said whether a bag was on.", "Say on or off: a bag gives way.")
    if bag_on and wall is None:
        raise Missing(WALL, "a bag was on and how far it gives way was not given.",
                      "Take the bag off, or give hoses and bag in mL/cmH2O, or measure the flow that holds the pressure.")  # fmt: skip
    check_litres(facts, volume, VOLUME)
    if wall is not None:
        check_walls(facts, wall, WALL, bag_on=bag_on)
    low, high = (facts.setting(f"drop-seconds-{end}").value for end in ("low", "high"))
    if not low <= seconds <= high:
        raise OutOfRange(SECONDS, f"{seconds} s is not a time to watch a fall.", f"Watch for {low} to {high} s.")
    atmosphere = facts.setting("atmosphere")
    gives = 0.0 if wall is None else float(wall.number("mL/cmH2O"))
    compliance = circuit_compliance_ml_cmh2o(
        float(volume.number("L")), gives, float(atmosphere.quantity.number("cmH2O"))
    )
    start, end = (float(p.number("cmH2O")) for p in (before, after))
    if wall is not None and before.equals(after):
        _check_would_show(facts, before, compliance, seconds)
    # Up to the next whole millilitre: a leak is never made to look smaller than it was worked.
    flow = Decimal(str(leak_from_drop_ml_min(compliance, start, end, float(seconds))))
    leak = Quantity.of(flow.quantize(Decimal("0.1"), rounding=ROUND_CEILING), "mL/min")
    cautions = []
    if wall is None:
        cautions.append(
            "Hoses taken as stiff: the true leak is larger, and this test passes nothing. Their give in mL/cmH2O would tell."
        )
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
        verdict=leak_verdict(facts, leak, before, at_least=wall is None),
        cautions=tuple(cautions),
    )  # fmt: skip
