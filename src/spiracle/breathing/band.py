"""What each source has for fresh gas, side by side: the band is drawn, and why it is a band is said."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.breathing.tables import BreathingTables, OpinionRow, Phase
from spiracle.quantity import Quantity, round_significant
from spiracle.source import Seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """One source's fresh gas [mL/kg/min], and the same for the animal [L/min]. No ends: the figure could not be read."""

    id: str
    low: Quantity | None
    high: Quantity | None
    low_l_min: Quantity | None
    high_l_min: Quantity | None
    says: str
    sources: tuple[str, ...]
    seen: Seen
    measured: bool
    memory: bool


def opinions(
    facts: BreathingTables, circuit: str, species: str, *, phase: Phase = "maintenance", weight: Quantity | None = None
) -> tuple[Opinion, ...]:
    """Every opinion on a system for a species, lowest first, those without a figure last. Raises Unknown (system, species)."""
    facts.span(species)
    system = facts.circuit(circuit).id
    rows = [r for r in facts.opinions if system in r.circuits and species in r.species and r.phase == phase]
    return tuple(_opinion(row, weight) for row in sorted(rows, key=lambda r: (r.low is None, r.low or 0, r.high or 0)))


def _opinion(row: OpinionRow, weight: Quantity | None) -> Opinion:
    def rate(value: Decimal | int | None) -> Quantity | None:
        return None if value is None else Quantity.of(value, "mL/kg/min")

    def flow(value: Decimal | int | None) -> Quantity | None:
        if value is None or weight is None:
            return None
        return Quantity.of(round_significant(weight.number("kg") * value / 1000, 3), "L/min")

    return Opinion(id=row.id, low=rate(row.low), high=rate(row.high), low_l_min=flow(row.low), high_l_min=flow(row.high),
                   says=row.says, sources=row.source, seen=row.seen, measured=row.measured, memory=row.memory)  # fmt: skip


def why_apart(facts: BreathingTables, circuit: str, species: str) -> str:
    """Why the sources differ, in words; empty where they do not, or where nobody measured."""
    found = [o for o in opinions(facts, circuit, species) if o.low is not None and o.high is not None]
    measured = [o for o in found if o.measured]
    taught = [o for o in found if not o.measured]
    if not measured or not taught:
        return ""
    # Bands that overlap do not differ: only what is taught wholly below what was needed is said.
    top = max(o.low.value for o in measured if o.low is not None)
    under = [o for o in taught if o.high is not None and o.high.value < top]
    if not under:
        return ""
    return (
        f"{max(o.high.value for o in under if o.high is not None)} mL/kg/min and less is taught, "
        f"{top} was needed when CO2 breathed in was measured: go lower only while none is breathed in."
    )
