"""`spiracle checks`: every sourced check, run here and now. Exit 1 if one does not hold."""

from __future__ import annotations

import argparse

import msgspec

from spiracle.doors.tables import table_texts
from spiracle.sheets.checks import KINDS, CheckResult, formulas, read_checks, run_checks


def checks(args: argparse.Namespace) -> int:
    texts = {n: t for n, t in table_texts().items() if n.startswith("checks-")}
    results = run_checks(read_checks(texts), formulas())
    if args.format == "json":
        raw = msgspec.json.Encoder(decimal_format="number").encode(results)
        print(msgspec.json.format(raw, indent=2).decode())
    else:
        print(_text(results))
    return 0 if all(r.passed for r in results) else 1


def _text(results: tuple[CheckResult, ...]) -> str:
    lines = []
    for r in results:
        verdict = "holds" if r.passed else "DOES NOT HOLD"
        lines.append(f"{verdict:14}{r.id}: expected {r.expected} ± {r.tolerance} {r.unit}, got {round(r.got, 6):f}")
        lines.append(f"{'':14}{r.statement} [{r.kind}: {r.source}; {r.seen}]")
    held = sum(r.passed for r in results)
    kinds = ", ".join(f"{sum(r.kind == k for r in results)} {k}" for k in KINDS)
    lines.append(f"{held} of {len(results)} hold ({kinds})")
    return "\n".join(lines)
