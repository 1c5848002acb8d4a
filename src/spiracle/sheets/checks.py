"""Sourced checks: rows of published values, each worked out here and now by the product's own formula.

A row names the value, its source and how it was seen; `compute` names the formula. No expected value was printed by the
code under test. The same rows run in the tests and, by `spiracle checks`, on the user's own machine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import Any, Literal

import msgspec

from spiracle.refusals import BadTable
from spiracle.source import read_table

Kind = Literal["published", "derived", "common_practice", "from_memory"]
KINDS: tuple[Kind, ...] = ("published", "derived", "common_practice", "from_memory")
Formula = Callable[[Mapping[str, Any]], float | Decimal]


class CheckRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One value from outside. `tolerance` is absolute, in `unit`, and `why` says why it is what it is when it is loose."""

    id: str
    topic: str
    statement: str
    inputs: dict[str, Any]
    expected: Decimal
    tolerance: Decimal
    unit: str
    source: str
    seen: str
    compute: str
    why: str = ""

    @property
    def kind(self) -> Kind:
        """What the value rests on: memory if any part of it was not read, common practice if the trade's habit."""
        words = self.seen.lower()
        if "memory" in words:
            return "from_memory"
        if "practice" in words:
            return "common_practice"
        return "derived" if words.startswith(("derived", "computed", "definition")) else "published"


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    check: tuple[CheckRow, ...]


class CheckResult(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    topic: str
    statement: str
    kind: Kind
    source: str
    seen: str
    expected: Decimal
    got: Decimal
    tolerance: Decimal
    unit: str
    passed: bool


def read_checks(texts: Mapping[str, str]) -> tuple[CheckRow, ...]:
    """All rows of the check tables; ids are unique and every row has a source."""
    rows = tuple(row for name, text in sorted(texts.items()) for row in read_table(text, _File, name).check)
    seen: set[str] = set()
    for row in rows:
        if row.id in seen:
            raise BadTable(f"check {row.id}", "stands twice.", "Give each check one id.")
        if not row.source.strip() or not row.seen.strip():
            raise BadTable(f"check {row.id}", "has no source or does not say how it was seen.")
        seen.add(row.id)
    return rows


def formulas() -> dict[str, Formula]:
    """Every formula that a check may name, by room."""
    from spiracle.airway import checks as airway
    from spiracle.breathing import checks as breathing
    from spiracle.capnogram import checks as capnogram
    from spiracle.circulation import checks as circulation
    from spiracle.drugs import checks as drugs
    from spiracle.emergency import checks as emergency
    from spiracle.kinetics import checks as kinetics
    from spiracle.patient import checks as patient
    from spiracle.recovery import checks as recovery
    from spiracle.warmth import checks as warmth

    found: dict[str, Formula] = {}
    for room in (airway, breathing, capnogram, circulation, drugs, emergency, patient, recovery, warmth, kinetics):
        for key, formula in room.CHECKS.items():
            if key in found:
                raise BadTable(f"formula {key}", "stands in two rooms.")
            found[key] = formula
    return found


def run_check(row: CheckRow, known: Mapping[str, Formula]) -> CheckResult:
    """One row against its formula."""
    if row.compute not in known:
        raise BadTable(f"check {row.id}", f"names the formula {row.compute!r}, which no room has.")
    got = Decimal(str(known[row.compute](row.inputs)))
    return CheckResult(
        id=row.id,
        topic=row.topic,
        statement=row.statement,
        kind=row.kind,
        source=row.source,
        seen=row.seen,
        expected=row.expected,
        got=got,
        tolerance=row.tolerance,
        unit=row.unit,
        passed=abs(got - row.expected) <= row.tolerance,
    )


def run_checks(rows: Iterable[CheckRow], known: Mapping[str, Formula]) -> tuple[CheckResult, ...]:
    return tuple(run_check(row, known) for row in rows)


def checks_page(rows: Iterable[CheckRow]) -> str:
    """docs/checks.md: every check with its source and how it was seen."""
    rows = sorted(rows, key=lambda r: (r.topic, r.id))
    counts = {kind: sum(r.kind == kind for r in rows) for kind in KINDS}
    lines = [
        "# Sourced checks",
        "",
        "Generated from `src/spiracle/source/tables/checks-*.toml` by `python3 dev.py docs`. `spiracle checks` runs every row",
        "on your machine; the tests run the same rows. A value marked `from_memory` was not read in a source: it guards",
        "against change, and is no evidence.",
        "",
        f"{len(rows)} checks: {counts['published']} published, {counts['derived']} derived (geometry, definitions, arithmetic),",
        f"{counts['common_practice']} common practice, {counts['from_memory']} from memory.",
    ]
    topic = ""
    for r in rows:
        if r.topic != topic:
            topic = r.topic
            lines += [
                "",
                f"## {topic}",
                "",
                "| id | what | expected | mark | source, as seen |",
                "|---|---|---|---|---|",
            ]
        expected = f"{r.expected} ± {r.tolerance} {r.unit}"
        lines.append(
            f"| `{r.id}` | {_cell(r.statement)} | {expected} | {r.kind} | {_cell(r.source)} ({_cell(r.seen)}) |"
        )
    return "\n".join(lines) + "\n"


def _cell(words: str) -> str:
    return words.replace("|", "\\|").replace("\n", " ")
