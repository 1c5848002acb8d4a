"""Which breathing system and which bag, from what the hospital has: the first, the others, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from spiracle.breathing.flows import bag_ml
from spiracle.breathing.tables import BreathingTables, CircuitRow
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Missing
from spiracle.source import Input, Mark, Worked, Working


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitReason:
    """One system that is there: whether it serves this animal, whether it stands first, and why."""

    id: str
    name: str
    serves: bool
    first: bool
    says: str


def ranked(
    facts: BreathingTables, kg: Decimal, stock: Sequence[CircuitRow], ventilated: bool
) -> tuple[CircuitRow, ...]:
    """Systems that may serve this weight, the one shown first in front.

    Under the band only non-rebreathing systems, above it only circles; within it both, turned at the middle opinion.
    """
    low, turn, high = (Decimal(facts.setting(i).value) for i in ("band-low", "band-turn", "band-high"))
    fit = [c for c in stock if Decimal(c.from_kg) <= kg < Decimal(c.below_kg) and (c.ventilate or not ventilated)]
    if kg < low:
        fit = [c for c in fit if not c.rebreathing]
    if kg >= high:
        fit = [c for c in fit if c.rebreathing] or fit
    circle_first = kg >= turn
    return tuple(sorted(fit, key=lambda c: (c.rebreathing != circle_first, c.rank)))


def reasons(
    facts: BreathingTables, kg: Decimal, stock: Sequence[CircuitRow], ventilated: bool
) -> tuple[CircuitReason, ...]:
    """Every system that is there, those that serve first, each with its reason."""
    order = ranked(facts, kg, stock, ventilated)
    rest = [c for c in stock if c not in order]
    return tuple(
        CircuitReason(id=c.id, name=c.name, serves=c in order, first=c == order[0] if order else False,
                      says=_reason(facts, kg, c, order, ventilated))
        for c in dict.fromkeys((*order, *rest)))  # fmt: skip


def systems(
    facts: BreathingTables, weight: Quantity, circuits: Sequence[str] | None, ventilated: bool
) -> tuple[CircuitReason, ...]:
    """The same from names; None means not told, and all that are known are spoken of. Raises Unknown (system)."""
    stock = facts.circuits if circuits is None else tuple(facts.circuit(c) for c in circuits)
    return reasons(facts, weight.number("kg"), stock, ventilated)


def _reason(
    facts: BreathingTables, kg: Decimal, circuit: CircuitRow, order: Sequence[CircuitRow], ventilated: bool
) -> str:
    low, turn, high = (facts.setting(i) for i in ("band-low", "band-turn", "band-high"))
    if circuit not in order:
        return _why_not(facts, kg, circuit, ventilated)
    kind = "a circle: gas and agent are saved" if circuit.rebreathing else "no absorbent and little resistance"
    if Decimal(low.value) <= kg < Decimal(high.value):
        circles = kg >= Decimal(turn.value)
        side = f"from {turn.quantity} on" if circles else f"under {turn.quantity}"
        place = "comes first" if circuit.rebreathing == circles else "is the other choice"
        return f"{kind}; sources differ at this weight: {side} this kind {place}"
    agreed = circuit.rebreathing == (kg >= Decimal(high.value))
    return f"{kind}; every source takes this kind at this weight" if agreed else kind


def _why_not(facts: BreathingTables, kg: Decimal, circuit: CircuitRow, ventilated: bool) -> str:
    if kg < Decimal(circuit.from_kg):
        return f"taken from {circuit.from_kg} kg on"
    if kg >= Decimal(circuit.below_kg):
        return f"taken under {circuit.below_kg} kg"
    if ventilated and not circuit.ventilate:
        return "not for a ventilator"
    if not circuit.rebreathing:
        return f"from {facts.setting('band-high').quantity} on every source takes a circle"
    return "rebreathes, at a weight at which no source takes a circle"


def bag(
    facts: BreathingTables, weight: Quantity, stock: Sequence[int] | None
) -> tuple[Worked[Quantity], list[str], list[Missing]]:
    """The smallest bag that holds six tidal volumes, from stock when it was told; what is to be said; and a refusal by name.

    Where no bag in stock is large enough the size to fetch is shown, with a refusal: a smaller one is never put in its place.
    """
    row = facts.setting("bag-need")
    need = Decimal(str(bag_ml(float(weight.number("kg")), float(row.value) / 6, 6)))
    ladder = sorted(b.ml for b in facts.bags)
    usual = next((ml for ml in ladder if ml >= need), ladder[-1])
    shown = f"6 tidal volumes: {row.quantity} x {weight.to('kg')} = {figure(round_significant(need, 3))} mL"
    words: list[str] = []
    refusals: list[Missing] = []
    sizes = ladder if stock is None else sorted(stock)
    fits = [ml for ml in sizes if ml >= need]
    chosen, says = (
        (fits[0], f"{shown}, next bag up: {fits[0]} mL") if fits else (usual, f"{shown}; the largest bag is {usual} mL")
    )
    if stock is not None and not fits:
        says = f"{shown}, next bag up: {usual} mL, not in stock"
        has = ", ".join(f"{ml} mL" for ml in sizes) or "none"
        refusals.append(Missing("bag", f"no bag of {figure(round_significant(need, 3))} mL or more is in stock (there: {has}).",
                                f"Fetch {usual} mL."))  # fmt: skip
    if usual < need and not (stock is not None and fits):
        words.append(
            f"The largest bag ({usual} mL) is smaller than six tidal volumes: watch that it does not collapse."
        )
    if chosen > usual:
        words.append(f"The smallest bag in stock that will do ({chosen} mL) is larger than the {usual} mL for this weight: "
                     "small breaths hardly move it.")  # fmt: skip
    working = Working(
        says,
        (Input("weight", str(weight), Mark.TYPED),),
        held=(facts.stated["B19"].says,),
        sources=row.source,
    )
    return Worked(Quantity.of(chosen, "mL"), working), words, refusals
