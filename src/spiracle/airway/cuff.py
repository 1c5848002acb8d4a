"""Cuff pressure, air in the cuff, and the pressure at which it may leak."""

from __future__ import annotations

from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity
from spiracle.source import Guardrail, Worked, Working


def cuff_band(facts: AirwayTables, species: str) -> Guardrail:
    """Pressure to aim for [cmH2O]. No published hard stop was found for animals."""
    row = facts.cuff(species)
    return Guardrail("cuff pressure", Quantity.of(row.low, "cmH2O"), Quantity.of(row.high, "cmH2O"), sources=row.source)


def cuff_volume_limit(facts: AirwayTables, species: str) -> Guardrail | None:
    """Air in the cuff [mL] where a figure is known: cats. None is "not known", not "any amount"."""
    row = facts.cuff(species)
    if row.air_usual_ml is None or row.air_hard_ml is None:
        return None
    return Guardrail("air in the cuff", Quantity.of(0, "mL"), Quantity.of(row.air_usual_ml, "mL"),
                     Quantity.of(row.air_hard_ml, "mL"), sources=("a_hardie1999",))  # fmt: skip


def leak_band(facts: AirwayTables, species: str) -> Guardrail:
    """Airway pressure at which a first leak is wanted [cmH2O]; weak sources and memory, and marked so."""
    row = facts.cuff(species)
    return Guardrail("leak pressure", Quantity.of(row.leak_low, "cmH2O"), Quantity.of(row.leak_high, "cmH2O"),
                     sources=(*row.source, "memory"), memory=row.leak_memory)  # fmt: skip


def cuff_words(facts: AirwayTables, species: str) -> tuple[str, ...]:
    facts.cuff(species)
    return tuple(w.says for w in facts.words if w.species in {species, "any"})


def cuff_recheck_minutes(facts: AirwayTables) -> Worked[Quantity]:
    row = facts.setting("cuff-recheck")
    says = f"Measure the cuff again after {row.quantity}. {row.note}"
    return Worked(row.quantity, Working(says, sources=row.source))


def larynx_wait(facts: AirwayTables) -> Worked[Quantity]:
    row = facts.setting("larynx-wait")
    return Worked(row.quantity, Working(f"Wait {row.quantity} after lidocaine on the larynx.", held=(row.note,),
                                        sources=row.source))  # fmt: skip
