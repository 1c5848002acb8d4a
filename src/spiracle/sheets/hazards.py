"""What can go wrong and what guards against it: rows of the hazard table, each with the test that carries its id."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import msgspec

from spiracle.refusals import BadTable
from spiracle.source import read_table


class Hazard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """`state`: guarded (built and tested), partly (what is missing stands in `lacks`), open (a later piece of work)."""

    id: str
    title: str
    cause: str
    harm: str
    guard: str
    state: Literal["guarded", "partly", "open"]
    lacks: str = ""


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    hazard: tuple[Hazard, ...]


def read_hazards(text: str) -> tuple[Hazard, ...]:
    """The table; ids are unique, and what is only partly guarded says what it lacks."""
    rows = read_table(text, _File, "hazards").hazard
    seen: set[str] = set()
    for row in rows:
        if row.id in seen:
            raise BadTable(f"hazard {row.id}", "stands twice.")
        if row.state == "partly" and not row.lacks:
            raise BadTable(f"hazard {row.id}", "is called partly guarded, but does not say what is lacking.")
        seen.add(row.id)
    return rows


def hazards_page(rows: tuple[Hazard, ...], carried: Mapping[str, tuple[str, ...]]) -> str:
    """docs/hazards.md. `carried` says which tests carry which id."""
    counts = {s: sum(r.state == s for r in rows) for s in ("guarded", "partly", "open")}
    lines = [
        "# Hazards and their guards",
        "",
        "Generated from `src/spiracle/source/tables/hazards.toml` and the tests by `python3 dev.py docs`, in the manner of",
        "ISO 14971: a hazard, its harm, the guard, and the tests whose description begins with its id. Severity (S5 death to S1",
        "nuisance) and probability before control (P5 weekly to P1 very rare) are first guesses, to be revised by field data.",
        "",
        f"{counts['guarded']} guarded, {counts['partly']} partly, {counts['open']} open.",
        "",
        "| id | hazard | harm | guard | state | tests |",
        "|---|---|---|---|---|---|",
    ]
    for r in rows:
        tests = "<br>".join(f"`{t}`" for t in carried.get(r.id, ()))
        state = r.state + (f": {r.lacks}" if r.lacks else "")
        lines.append(f"| {r.id} | {r.title} | {r.harm} | {r.guard} | {state} | {tests} |")
    return "\n".join(lines) + "\n"
