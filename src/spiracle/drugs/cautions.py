"""What speaks against a drug in this animal. They are advice to show, not a complete list."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from spiracle.drugs.table import CautionFacts, Severity

if TYPE_CHECKING:
    from spiracle.drugs.formulary import Formulary

_RANK = {"never": 0, "avoid": 1, "care": 2}


@dataclass(frozen=True, slots=True)
class CautionHit:
    """One caution. `matched`: it names something this animal has; otherwise it is about the drug at large."""

    id: str
    drug: str
    severity: Severity
    condition: str
    statement: str
    sources: tuple[str, ...]
    memory: bool
    matched: bool
    about: Literal["this patient", "this drug"]
    because: tuple[str, ...] = ()


def cautions(
    drug: str,
    species: str,
    conditions: Iterable[str],
    formulary: Formulary,
    conditions_in: Callable[[str], frozenset[str]] | None = None,
) -> tuple[CautionHit, ...]:
    """Every caution of a drug for a species: those this animal has first, then the most serious.

    `conditions` are condition ids of the animal and the moment. `conditions_in` reads further ids out of a caution's
    own words, where the caller has a table of conditions.
    """
    have = frozenset(conditions)
    hits = [_hit(c, drug, have, conditions_in) for c in formulary.cautions_of(drug, species)]
    return tuple(sorted(hits, key=lambda h: (not h.matched, _RANK[h.severity], h.id)))


def _hit(
    facts: CautionFacts, drug: str, have: frozenset[str], conditions_in: Callable[[str], frozenset[str]] | None
) -> CautionHit:
    spoken = frozenset(facts.when) | (conditions_in(facts.condition) if conditions_in else frozenset())
    because = tuple(sorted(have & spoken))
    return CautionHit(
        id=facts.id,
        drug=drug,
        severity=facts.severity,
        condition=facts.condition,
        statement=facts.statement,
        sources=facts.sources,
        memory=facts.memory,
        matched=bool(because),
        about="this patient" if because else "this drug",
        because=because,
    )


def stop_for(drug: str, species: str, conditions: Iterable[str], formulary: Formulary) -> CautionFacts | None:
    """The first caution that stops this drug in this animal: only a named veterinarian with a reason passes it."""
    have = frozenset(conditions)
    stops = (c for c in formulary.cautions_of(drug, species) if c.stops and have & frozenset(c.when))
    return next(stops, None)
