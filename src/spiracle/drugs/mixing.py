"""What may share a bag. A row says which fluids and drugs a drug is mixed with; what no row says is asked about."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from itertools import combinations
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spiracle.drugs.formulary import Formulary

MEMORY = " [from memory]"


class Clash(Enum):
    """`NEVER`: a row speaks against it. `ASK`: no row speaks for it."""

    NEVER = "never"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class MixFinding:
    how: Clash
    field: str
    says: str


def clashes(fluid: str, drugs: tuple[str, ...], species: str, formulary: Formulary) -> tuple[MixFinding, ...]:
    """What speaks against these drugs in one bag of this fluid, worst first; nothing where rows speak for all of it.

    `fluid` and `drugs` are ids of the formulary. Two drugs may share a bag when the row of either one names the other.
    """
    found = [f for d in dict.fromkeys(drugs) for f in _alone(d, fluid, len(set(drugs)), species, formulary)]
    found += [f for a, b in combinations(dict.fromkeys(drugs), 2) for f in _pair(a, b, formulary)]
    return tuple(sorted(found, key=lambda f: f.how is not Clash.NEVER))


def _alone(drug: str, fluid: str, others: int, species: str, formulary: Formulary) -> tuple[MixFinding, ...]:
    row, name = formulary.mixing.get(drug), formulary.name(drug)
    if row is None:
        return (MixFinding(Clash.ASK, "fluid", f"no row says what {name} may be mixed with."),)
    mark = MEMORY if row.memory else ""
    if species not in row.species:
        return (MixFinding(Clash.NEVER, "drug", f"{name} never goes into a bag for a {species}{mark}."),)
    if row.alone:
        how = Clash.NEVER if others > 1 else Clash.ASK
        return (MixFinding(how, "drug", f"{name} {row.alone}{mark}."),)
    if fluid not in row.fluids:
        able = " or ".join(formulary.name(f) for f in row.fluids) or "none"
        told = f"{name} is not listed in {formulary.name(fluid)}. Listed: {able}{mark}."
        return (MixFinding(Clash.ASK, "fluid", told),)
    return ()


def _pair(one: str, other: str, formulary: Formulary) -> tuple[MixFinding, ...]:
    rows = formulary.mixing.get(one), formulary.mixing.get(other)
    if any(r is not None and want in r.with_ for r, want in zip(rows, (other, one), strict=True)):
        return ()
    told = f"no row says that {formulary.name(one)} and {formulary.name(other)} may share a bag."
    return (MixFinding(Clash.ASK, "drug", told),)


def said_of_bag(drugs: tuple[str, ...], formulary: Formulary) -> tuple[str, ...]:
    """What stands beside a bag of these drugs: light, plastic, mixing, and that all of it is from memory."""
    told: list[str] = []
    for drug in dict.fromkeys(drugs):
        row = formulary.mixing.get(drug)
        if row is None:
            continue
        mark = MEMORY if row.memory else ""
        told += [f"{formulary.name(drug)}: {words}{mark}" for words in (row.turn, row.dark, row.adsorbs) if words]
    return tuple(told)


def no_drops(drug: str, formulary: Formulary) -> str:
    """Why a drug is never counted in drops, or nothing."""
    row = formulary.mixing.get(drug)
    if row is None or not row.no_drops:
        return ""
    return f"{formulary.name(drug)} {row.no_drops}{MEMORY if row.memory else ''}."
