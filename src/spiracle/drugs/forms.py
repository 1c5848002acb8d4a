"""Forms of a vial: the same drug with something else beside it (a preservative, a solvent), and what follows from that."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from spiracle.drugs.table import CautionFacts, FormulationFacts

if TYPE_CHECKING:
    from spiracle.drugs.stock import Strength


def formulation_cautions(rows: Iterable[FormulationFacts]) -> tuple[CautionFacts, ...]:
    """Each limit of a form as a caution of its drug, so that it is shown wherever the drug's cautions are."""
    return tuple(_caution(row) for row in rows)


def _caution(row: FormulationFacts) -> CautionFacts:
    where = f" by {' or '.join(row.routes)}" if row.routes else ""
    return CautionFacts(
        id=row.id,
        drug=row.drug,
        species=row.species,
        severity=row.severity,
        condition=f"{row.form} ({row.holds}){where}",
        statement=row.statement,
        sources=row.sources,
        when=row.when,
        stops=row.stops,
        memory=row.memory,
    )


def forms_of(drug: str, rows: Iterable[FormulationFacts]) -> tuple[str, ...]:
    """The forms of a drug that look alike at the shelf and must be told apart, each with what it holds."""
    alike = [r for r in rows if r.drug == drug and r.tell_apart]
    return tuple(dict.fromkeys(f"{r.form}: holds {r.holds}" for r in alike))


def limits_of(drug: str, strength: Strength, rows: Iterable[FormulationFacts]) -> tuple[FormulationFacts, ...]:
    """What is written of the form in the hand: rows of every vial of the drug, and those of this strength's own form."""
    own = {strength.printed, strength.text if not strength.words else strength.printed}
    return tuple(r for r in rows if r.drug == drug and (not r.strengths or own & set(r.strengths)))
