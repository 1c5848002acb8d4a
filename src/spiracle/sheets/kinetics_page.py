"""docs/kinetics-rows.md: every set of constants with its quality, what is worked out from it beside its print, and how far it misses."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from spiracle.kinetics.recomputed import Recomputed, Verified, recompute, verify
from spiracle.kinetics.rows import ModelRow, Printed
from spiracle.kinetics.tables import KineticsTables
from spiracle.source import Sources

QUALITIES = ("full", "derived", "approximate", "weak", "partial")
NAMES = {"v1": "V1", "cl": "CL", "q2": "Q2", "v2": "V2", "q3": "Q3", "v3": "V3"}


def kinetics_page(tables: KineticsTables, sources: Sources) -> str:
    within = tables.settings["recomputed-within"].number
    found, checked = recompute(tables), verify(tables)
    off = [r for r in found if r.disagrees(within)]
    whole = [m for m in tables.models if m.runs]
    counts = ", ".join(f"{sum(m.quality == q for m in tables.models)} {q}" for q in QUALITIES)
    lines = [
        "# Sets of constants",
        "",
        "Generated from `src/spiracle/source/tables/kinetics*.toml` by `python3 dev.py docs`. A set that may be run stands with its",
        "constants; every printed figure that follows from a set or from other printed figures was worked out again by the solver.",
        "A partial set is never run. What nobody published is named as ours. Choices: [kinetics](kinetics.md).",
        "",
        f"{len(tables.models)} sets: {counts}. {len(found)} printed figures worked out again, {len(off)} of them disagree by more than",
        f"{within:g} % or are impossible; {sum(v.row.published is not None for v in checked)} measured levels compared.",
        "",
        "## Disagreements",
        "",
        "*At least* is a bound: no set cleared from its centre can have a shorter terminal half-life.",
        "",
        "| set | figure | printed | worked out | off |",
        "|---|---|---|---|---|",
        *(_recomputed(r) for r in off),
        "",
        "## Measured levels",
        "",
        "*Used* levels made the set and prove little. The tolerance is the row's own: how far set and print lie apart, rounded up.",
        "",
        "| row | set | at | measured mg/L | by the set mg/L | off | tolerance |",
        "|---|---|---|---|---|---|---|",
        *(_verified(v) for v in checked if v.row.published is not None),
        "",
        "## Events",
        "",
        "Levels that sets have at published moments where no level was measured: sisters should lie together.",
        "",
        "| row | set | at | event | by the set mg/L |",
        "|---|---|---|---|---|",
        *(_event(v) for v in checked if v.row.published is None),
    ]
    for model in whole:
        lines += _set(model, [r for r in found if r.row == model.id], sources)
    lines += ["", "## Partial sets", "", "Facts alone. Each says what keeps it from being run.", ""]
    lines += ["| set | animals | printed | lacks | source, as seen |", "|---|---|---|---|---|"]
    lines += [_partial(m, sources) for m in tables.models if not m.runs]
    return "\n".join(lines) + "\n"


def _set(row: ModelRow, found: Iterable[Recomputed], sources: Sources) -> list[str]:
    runs = row.runs.named() if row.runs else {}
    constants = ", ".join(f"{NAMES[k]} {v}" for k, v in runs.items())
    spread = ", ".join(f"{NAMES[k]} {v}{'' if k in row.spread_printed else ' (ours)'}" for k, v in row.spread.items())
    many = f", n = {row.n}" if row.n else ""
    lines = [
        "",
        f"## {row.id}",
        "",
        f"{row.drug}, {row.species}: {_cell(row.says)}. {_cell(row.population)}{many}.",
        "",
        f"- Constants (L/kg, L/kg/min): {constants}.{_memory(row)}",
        f"- For an animal {' or '.join(_under(b) for b in row.background)}; {' and '.join(row.use)}; "
        f"from {row.adult_from_months} months and {row.weight_from_kg} kg on, physical status up to {row.asa_at_most}; "
        f"not for {', '.join(row.not_for)}." + (f" Ours: {', '.join(row.ours)}." if row.ours else ""),
        f"- Spread between animals (CV %): {spread}. {_cell(row.spread_says)}".rstrip(),
        f"- Residual (SD of the logarithm) {row.residual_log_sd}: {_cell(row.residual_says)}.",
    ]
    if row.given:
        lines.append(f"- As given: {_cell(row.given)}.")
    if row.saturating:
        lines.append(f"- Saturates: Vmax {row.saturating.vmax} mg/kg/min, Km {row.saturating.km} mg/L.")
    if row.widen_with:
        lines.append(f"- Other ends of the band: {', '.join(row.widen_with)}.")
    if row.formula:
        lines.append(f"- Made by: {_cell(row.formula)}.")
    lines += [f"- {_cell(row.note)}", f"- {_cited(row, sources)}"]
    table = [_recomputed(r) for r in found]
    if table:
        lines += ["", "| set | figure | printed | worked out | off |", "|---|---|---|---|---|", *table]
    return lines


def _under(background: str) -> str:
    return {"awake": "awake", "any": "under the drug itself"}.get(background, f"under {background}")


def _recomputed(r: Recomputed) -> str:
    off = "impossible" if r.bound and r.got > r.printed else "possible" if r.bound else f"{r.off_percent:+.1f} %"
    return f"| `{r.row}` | {_cell(r.what)} | {_number(r.printed)} {r.unit} | {_number(r.got)} {r.unit} | {off} |"


def _verified(v: Verified) -> str:
    row, off = v.row, v.off_percent or 0.0
    used = " (used)" if row.fit else ""
    return (f"| `{row.id}`{used} | `{row.model}` | {row.minute} min; {_cell(row.dosing)} | {row.published} | {_number(v.got)} | "
            f"{off:+.1f} % | {row.within_percent} % |")  # fmt: skip


def _event(v: Verified) -> str:
    row = v.row
    used = " (used)" if row.fit else ""
    site = ", effect site" if row.site == "effect" else ""
    return f"| `{row.id}`{used} | `{row.model}` | {row.minute} min; {_cell(row.dosing)} | {_cell(row.event)} | {_number(v.got)}{site} |"


def _partial(row: ModelRow, sources: Sources) -> str:
    animals = f"{row.drug}, {row.species}: {_cell(row.population)}" + (f" ({_cell(row.given)})" if row.given else "")
    printed = _cell("; ".join(_printed(p) for p in row.printed))
    return f"| `{row.id}` | {animals} | {printed} | {_cell(row.lacks)}. {_cell(row.note)} | {_cited(row, sources)} |"


def _printed(p: Printed) -> str:
    sd = f" (SD {', '.join(map(str, p.sd))})" if p.sd else f" (SEM {', '.join(map(str, p.sem))})" if p.sem else ""
    return f"{p.what} {', '.join(map(str, p.figures))}{sd} {p.unit}".rstrip() + (" from memory" if p.memory else "")


def _cited(row: ModelRow, sources: Sources) -> str:
    cited = "; ".join(f"{sources[s].citation} ({sources[s].seen})" for s in row.source)
    return _cell(f"{cited}; row: {row.seen}{_memory(row)}")


def _memory(row: ModelRow) -> str:
    return " *From memory.*" if row.memory else ""


def _number(value: float) -> str:
    """Four figures, never an exponent."""
    return f"{Decimal(f'{value:.4g}'):f}"


def _cell(words: str) -> str:
    return " ".join(words.split()).replace("|", "\\|").replace("<", "&lt;")
