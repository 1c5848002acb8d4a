"""A caution that several drugs share is said once: at the first of them in a plan's list, and once over the plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import msgspec

from spiracle.sheets.shapes import DrugLine, RiskFlag


def said_once(lines: Iterable[DrugLine]) -> tuple[DrugLine, ...]:
    """Lines whose `care` words an earlier line has said keep them among their cautions at large, one touch away.

    What says never or avoid stays on every line it belongs to: it may be the only one that is read.
    """
    said: set[tuple[str, str]] = set()
    found = []
    for line in lines:
        new: list[RiskFlag] = []
        again: list[RiskFlag] = []
        for flag in line.cautions:
            words = (flag.title, flag.changes)
            (again if flag.severity == "care" and words in said else new).append(flag)
            said.add(words)
        found.append(
            msgspec.structs.replace(line, cautions=tuple(new), cautions_at_large=(*again, *line.cautions_at_large))
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Spoken:
    """A caution of one drug of the plan, before drugs that say the same are put together."""

    drug: str
    flag: RiskFlag


def together(spoken: Iterable[Spoken]) -> tuple[RiskFlag, ...]:
    """One flag for the same words about several drugs, with all their names.

    >>> low = RiskFlag(title="newborn", changes="Half of it.")
    >>> [f.title for f in together([Spoken("methadone", low), Spoken("alfaxalone", low), Spoken("methadone", low)])]
    ['methadone, alfaxalone: newborn']
    """
    names: dict[RiskFlag, dict[str, None]] = {}
    for one in spoken:
        names.setdefault(one.flag, {})[one.drug] = None
    return tuple(
        msgspec.structs.replace(flag, title=f"{', '.join(drugs)}: {flag.title}") for flag, drugs in names.items()
    )
