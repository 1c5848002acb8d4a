"""What the vaporiser uses: vapour from a millilitre of liquid, liquid per hour, and its cost at the hospital's own price.

The animal's own uptake is left out: at these flows nearly all of it leaves with the surplus gas.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from spiracle.breathing.flows import liquid_agent_ml_h, vapour_ml_per_ml
from spiracle.breathing.tables import BreathingTables
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Missing, OutOfRange
from spiracle.source import Input, Mark, Worked, Working


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """A bottle as the hospital buys it. There is no price of ours."""

    amount: Decimal
    currency: str
    bottle_ml: Decimal

    def __post_init__(self) -> None:
        if not self.currency.strip():
            raise Missing("price, currency", "was not given.", "Write it as the bill does, like EUR.")
        for name, value in (("amount", self.amount), ("bottle", self.bottle_ml)):
            if not 0 < value < Decimal("Infinity"):
                raise OutOfRange(
                    f"price, {name}", f"{value} is not a positive figure.", "Give price and mL of one bottle."
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentUse:
    """Liquid used in an hour at one dial and flow. `by_rule` is the taught rule beside it; `cost` None without a price."""

    agent: str
    percent: Quantity
    flow: Quantity
    vapour: Worked[Quantity]
    liquid: Worked[Quantity]
    by_rule: Quantity
    cost_per_hour: Decimal | None
    currency: str
    note: str


def agent_use(
    facts: BreathingTables, agent: str, percent: Quantity, flow: Quantity, *, price: Price | None = None
) -> AgentUse:
    """Liquid [mL/h] at a dial [%] and a fresh gas flow. Raises Unknown (agent) and OutOfRange (dial, flow)."""
    row = facts.agent(agent)
    dial, l_min = percent.number("%"), flow.number("L/min")
    last = facts.last_mark(row.name)
    if dial < 0 or (last is not None and dial > last):
        raise OutOfRange("agent, dial", f"{percent} is not on a dial of {row.name}.", f"Give 0 to {last} %.")
    if l_min <= 0:
        raise OutOfRange("fresh gas", f"{flow} is no flow.", "Give L/min, like 2 L/min.")
    molar = facts.setting("molar-volume")
    exact = vapour_ml_per_ml(float(row.density_g_ml), float(row.molar_g), molar.number)
    vapour = Quantity.of(round_significant(Decimal(str(exact)), 3), "mL")
    per_hour = Decimal(str(liquid_agent_ml_h(float(dial), float(l_min) * 1000, exact)))
    liquid = Quantity.of(round_significant(per_hour, 2), "mL/h")
    rule = Quantity.of(round_significant(Decimal(row.taught_ml) * l_min * dial, 2), "mL/h")
    return AgentUse(
        agent=row.name,
        percent=percent,
        flow=flow,
        vapour=Worked(vapour, Working(
            f"1 mL x {row.density_g_ml} g/mL / {row.molar_g} g/mol x {molar.value} L/mol = {vapour} of vapour",
            held=(row.note, molar.note), sources=(*row.source, *molar.source), memory=row.memory)),
        liquid=Worked(liquid, Working(
            f"{percent} of {flow} / {vapour} per mL = {liquid}",
            (Input("dial", str(percent), Mark.TYPED), Input("fresh gas", str(flow), Mark.TYPED)),
            held=(f"the taught rule, {row.taught_ml} x flow x per cent, gives {rule}", "the animal's own uptake is left out", row.note),
            sources=(*row.source, *facts.stated["B23"].source), memory=row.memory, estimated=True)),
        by_rule=rule,
        cost_per_hour=None if price is None else cost_per_hour(per_hour, price),
        currency="" if price is None else price.currency,
        note="" if price is not None else "No price was given, so no cost is shown.",
    )  # fmt: skip


def cost_per_hour(liquid_ml_h: Decimal, price: Price) -> Decimal:
    """Cost of an hour in the price's own currency, to its hundredth.

    >>> cost_per_hour(Decimal("6.15"), Price(amount=Decimal(40), currency="EUR", bottle_ml=Decimal(250)))
    Decimal('0.98')
    """
    return (liquid_ml_h * price.amount / price.bottle_ml).quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class WasteLimit:
    """A limit of vapour in the room's air, in both units."""

    ppm: Decimal
    mg_m3: Decimal
    says: str
    sources: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Waste:
    """What leaves with the surplus gas, and the limits that are held for the room."""

    agent: str
    limits: tuple[WasteLimit, ...]
    vapour_ml_min: Quantity | None
    words: str


def waste(
    facts: BreathingTables, agent: str, *, nitrous: bool = False, percent: Quantity | None = None, flow: Quantity | None = None
) -> Waste:  # fmt: skip
    """Limits for the room's air with this agent, the strictest that applies first. Raises Unknown (agent)."""
    row = facts.agent(agent)
    room = Decimal(facts.setting("molar-volume-room").value)
    applying = sorted((w for w in facts.wastes if nitrous or not w.nitrous), key=lambda w: Decimal(w.ppm))
    limits = tuple(
        WasteLimit(ppm=Decimal(w.ppm), mg_m3=round_significant(Decimal(w.ppm) * Decimal(row.molar_g) / room, 3), says=w.says,
                   sources=w.source, note=w.note) for w in applying)  # fmt: skip
    spilled = None
    if percent is not None and flow is not None:
        spilled = Quantity.of(round_significant(percent.number("%") / 100 * flow.number("mL/min"), 2), "mL/min")
    lost = "" if spilled is None else f" About {spilled} of vapour leaves with the surplus gas."
    first = limits[0]
    return Waste(
        agent=row.name,
        limits=limits,
        vapour_ml_min=spilled,
        words=f"Waste gas: at most {figure(first.ppm)} ppm of {row.name} ({figure(first.mg_m3)} mg/m3), {first.says}.{lost} "
        "Scavenge, check for leaks, fill with the room aired.",
    )
