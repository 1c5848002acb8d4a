"""What each tube of the set costs a quiet breath: the pressure lost, smooth or in eddies, beside what the bench measured."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.airway.resistance import PA_PER_CMH2O, Gas, Regime, pressure_lost_pa, regime, reynolds
from spiracle.airway.sizing import Tube
from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, round_significant
from spiracle.source import Input, Worked, Working

DISAGREE = "sources differ: tubes of 2.5 to 3.5 mm are called laminar, and were found turbulent at low flow in to-and-fro breathing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Loss measured on the bench at its own flow, in air: the whole tube with its slip joint, and the joint's part of it."""

    flow: Quantity
    tube: Worked[Quantity]
    joint: Worked[Quantity]
    joint_percent: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeBurden:
    """One tube at one length and a quiet breath's flow. `times_first`: against the first choice. `bench` where one was measured."""

    tube: Tube
    lost: Worked[Quantity]
    reynolds: int
    regime: Regime
    times_first: Decimal
    bench: Bench | None


def burdens(facts: AirwayTables, weight: Quantity, tubes: tuple[Tube, ...], length: Quantity) -> tuple[TubeBurden, ...]:
    """Each tube at one length, so that the sizes compare."""
    first = next(t for t in tubes if t.role == "first choice")
    base = resistance(facts, weight, first, length).value.number("cmH2O")
    return tuple(_burden(facts, weight, tube, length, base) for tube in tubes)


def _burden(facts: AirwayTables, weight: Quantity, tube: Tube, length: Quantity, base: Decimal) -> TubeBurden:
    lost = resistance(facts, weight, tube, length)
    re = reynolds(float(tube.id_mm), _quiet_flow_l_min(facts, weight), _gas(facts))
    return TubeBurden(
        tube=tube, lost=lost, reynolds=round(re), regime=regime(re),
        times_first=round_significant(lost.value.number("cmH2O") / base, 2), bench=bench(facts, tube),
    )  # fmt: skip


def resistance(facts: AirwayTables, weight: Quantity, tube: Tube, length: Quantity) -> Worked[Quantity]:
    """Pressure lost along one tube at a quiet breath's flow [cmH2O]; ranks sizes, is no measurement."""
    flow = weight.to("kg") * facts.setting("quiet-flow").quantity
    l_min, gas = _quiet_flow_l_min(facts, weight), _gas(facts)
    lost = pressure_lost_pa(float(tube.id_mm), float(length.number("mm")), l_min, gas) / PA_PER_CMH2O
    value = Quantity.of(round_significant(Decimal(str(lost)), 2), "cmH2O")
    how = regime(reynolds(float(tube.id_mm), l_min, gas))
    return Worked(value, Working(
        f"straight smooth tube, {tube.id_text}, {length}, oxygen at {flow.to('L/min')}, {how}: {value}",
        (Input("flow of a quiet breath in", str(flow.to("L/min"))), Input("length", str(length))),
        held=(facts.setting("quiet-flow").note, DISAGREE),
        sources=("memory", "a_futagawa2017", "a_jarreau1999", "a_perez1985"), memory=True, estimated=True))  # fmt: skip


def bench(facts: AirwayTables, tube: Tube) -> Bench | None:
    """What a tube of this bore lost on the bench; None between the measured sizes, for nothing is drawn between them."""
    row = next((b for b in facts.benches if b.id_mm == tube.id_mm), None)
    if row is None:
        return None
    flow = facts.setting("bench-flow").quantity
    share = round_significant(row.joint_pa / row.tube_pa * 100, 2)

    def shown(pa: Decimal, what: str) -> Worked[Quantity]:
        value = Quantity(round_significant(Quantity.of(pa, "Pa").number("cmH2O"), 2), Quantity.of(0, "cmH2O").unit)
        return Worked(value, Working(f"{what}, {tube.id_text}, {flow} of air, on the bench: {pa} Pa = {value}",
                                     held=("nasal tubes for people, with their bend",), sources=row.source))  # fmt: skip

    return Bench(flow=flow, tube=shown(row.tube_pa, "whole tube"), joint=shown(row.joint_pa, "slip joint alone"),
                 joint_percent=share)  # fmt: skip


def _quiet_flow_l_min(facts: AirwayTables, weight: Quantity) -> float:
    return float((weight.to("kg") * facts.setting("quiet-flow").quantity).number("L/min"))


def _gas(facts: AirwayTables) -> Gas:
    return Gas(facts.setting("gas-viscosity").number * 1e-6, facts.setting("gas-density").number)
