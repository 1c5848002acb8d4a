"""What can go wrong and what guards against it: rows of the hazard table, each with the test that carries its id."""

from __future__ import annotations

from typing import Literal

import msgspec

from spiracle.refusals import BadTable
from spiracle.source import read_table


class Hazard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """`state`: guarded (built and tested), partly (what is missing stands in `guard`), open (a later piece of work).

    `tests` names the tests that carry the id, as file::function; the house test looks them up.
    """

    id: str
    title: str
    harm: str
    guard: str
    state: Literal["guarded", "partly", "open"]
    tests: tuple[str, ...] = ()


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    hazard: tuple[Hazard, ...]


def read_hazards(text: str) -> tuple[Hazard, ...]:
    rows = read_table(text, _File, "hazards").hazard
    for row in rows:
        if row.state == "guarded" and not row.tests:
            raise BadTable(f"hazard {row.id}", "is called guarded, but no test carries it.")
    return rows


def hazards_page(rows: tuple[Hazard, ...]) -> str:
    """docs/hazards.md."""
    counts = {s: sum(r.state == s for r in rows) for s in ("guarded", "partly", "open")}
    lines = [
        "# Hazards and their guards",
        "",
        "Generated from `src/spiracle/source/tables/hazards.toml` by `python3 dev.py docs`, in the manner of ISO 14971: a",
        "hazard, the harm, the guard, and the test that carries its id. Severity S5 death to S1 nuisance is our own judgement.",
        "",
        f"{counts['guarded']} guarded, {counts['partly']} partly, {counts['open']} open.",
        "",
        "| id | hazard | harm | guard | state | tests |",
        "|---|---|---|---|---|---|",
    ]
    for r in rows:
        tests = "<br>".join(f"`{t}`" for t in r.tests)
        lines.append(f"| {r.id} | {r.title} | {r.harm} | {r.guard} | {r.state} | {tests} |")
    return "\n".join(lines) + "\n"
