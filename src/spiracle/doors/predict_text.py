"""A prediction on a terminal, and as a sheet of comma-separated values (RFC 4180: a head line, CRLF, no comments)."""

from __future__ import annotations

from collections.abc import Iterator

from spiracle.doors.text_rows import plain, row, title
from spiracle.quantity import reading
from spiracle.refusals import Missing
from spiracle.sheets.cautions import MEMORY_SIGN, MEMORY_WORDS, PREDICTED_SIGN, PREDICTED_WORDS, STANDING
from spiracle.sheets.predict_band import round_step
from spiracle.sheets.predict_shapes import Band, Percentiles, Predicted
from spiracle.sheets.predicted import moment, shown, sums_words

LINES = 40
QUALITIES = {
    "given": "given in the file, without a source",
    "full": "full: every constant is printed by its source",
    "derived": "derived: worked out from what its source prints",
    "approximate": "APPROXIMATE: fitted to a few printed figures",
    "weak": "WEAK: sources disagree, or a constant is an assumption",
}


def predict_text(made: Predicted, working: bool = False) -> str:
    """The table, then what follows from it; with `working`, sums and sources under it."""
    parts = (_head(made), _table(made), _facts(made), _given(made, working), _model(made, working), _foot(made))
    return "\n".join(line for part in parts for line in (*part, "")).rstrip() + "\n"


def predict_csv(made: Predicted) -> bytes:
    """Every moment in a line of its own; refused where the curve is withheld.

    Where the band was worked out at fewer moments its cells are empty in between.
    """
    if made.withheld:
        raise Missing("csv", made.withheld, "The text and the json show the sums.")
    unit = made.plasma.unit
    names = ["time (min)", f"plasma ({unit})"]
    columns: list[tuple[float | None, ...]] = [made.times.values, made.plasma.values]
    if made.effect is not None:
        names.append(f"effect site ({unit})")
        columns.append(made.effect.values)
    step = 1 if made.band is None else made.band.every
    for site, percentiles in _bands(made.band):
        for name in ("p10", "p50", "p90"):
            names.append(f"{site} {name} ({unit})")
            columns.append(_spaced(getattr(percentiles, name), step, len(made.times.values)))
    lines = [
        ",".join(names),
        *(",".join("" if v is None else f"{v:.10g}" for v in cells) for cells in zip(*columns, strict=True)),
    ]
    return ("\r\n".join(lines) + "\r\n").encode()


def _spaced(values: tuple[float, ...], step: int, count: int) -> tuple[float | None, ...]:
    """Each value at its own moment and nothing in between."""
    return tuple(values[i // step] if i % step == 0 else None for i in range(count))


def _bands(band: Band | None) -> Iterator[tuple[str, Percentiles]]:
    if band is not None:
        yield "plasma", band.plasma
        if band.effect is not None:
            yield "effect site", band.effect


def _head(made: Predicted) -> Iterator[str]:
    patient, model = made.patient, made.model
    yield from title(f"Prediction: {model.drug or 'drug not named'}", "predicted, not measured")
    yield from plain(made.says)
    yield ""
    name = f"{patient.name}, " if patient.name else ""
    yield from row("patient", f"{name}{patient.species}, {patient.weight.text}")
    of = (
        f"{model.population}, n = {model.n if model.n is not None else 'not known'}"
        if model.population
        else "parameters of the file"
    )
    yield from row("model", f"{model.id}: {of}{_sign(made)}")
    yield from row("quality", QUALITIES.get(model.quality, model.quality))
    yield from row("given", sums_words(made))
    for words in made.cautions:
        if words not in STANDING:  # of this very prediction: seen before the figures are
            yield from row("CAUTION", words)


def _sign(made: Predicted) -> str:
    return f" {MEMORY_SIGN}" if made.model.memory else ""


# ---- the table


def _table(made: Predicted) -> Iterator[str]:
    yield from title("Levels", f"{made.plasma.unit} {PREDICTED_SIGN}")
    if made.withheld:
        yield from row("WITHHELD", made.withheld)
        return
    times = made.times.values
    step = round_step(len(times), times[1], LINES)
    if step > 1:
        yield from plain(f"Every {shown(times[step], 4)} min of {len(times):,} moments; csv and json hold all.")
    heads = ["min", "plasma", *(["10 to 90 %"] if made.band else [])]
    if made.effect is not None:
        heads += ["effect site", *(["10 to 90 %"] if made.band and made.band.effect else [])]
    lines: list[tuple[list[str], str]] = [(heads, "given")]
    places = 0 if times[step if step < len(times) else 1] >= 1 else 2
    for i in range(0, len(times), step):
        end = times[min(i + step, len(times) - 1)] if i + step < len(times) else float("inf")
        lines.append((_cells(made, i, places), _at(made, times[i], end)))
    wide = [max(len(cells[n]) for cells, _ in lines) for n in range(len(heads))]
    for cells, given in lines:
        yield _line(cells, wide, given)


def _cells(made: Predicted, i: int, places: int) -> list[str]:
    from decimal import Decimal

    time = made.times.values[i]
    cells = [reading(Decimal(str(time)), places if time == int(time) or places else 1), shown(made.plasma.values[i])]
    if made.band:
        cells.append(_spread(made.band.plasma, made.band.every, i))
    if made.effect is not None:
        cells.append(shown(made.effect.values[i]))
        if made.band and made.band.effect:
            cells.append(_spread(made.band.effect, made.band.every, i))
    return cells


def _spread(of: Percentiles, every: int, i: int) -> str:
    if i % every:
        return ""
    low, high = shown(of.p10[i // every], 2), shown(of.p90[i // every], 2)
    return low if low == high else f"{low} to {high}"


def _line(cells: list[str], wide: list[int], given: str) -> str:
    """Right under each other, three spaces apart whatever the figures are."""
    put = "   ".join(f"{c:>{w}}" for c, w in zip(cells, (max(5, wide[0]), *wide[1:]), strict=True))
    return f"  {put}" + (f"   {given}" if given else "")


def _at(made: Predicted, start: float, end: float) -> str:
    """What begins or ends from this line to the next, with its minute where that is not the line's own."""
    found: list[tuple[float, str]] = []
    for g in made.given:
        if start <= g.start_min < end:
            found.append((g.start_min, g.per_kg.text))
        if g.kind == "infusion" and start <= g.stop_min < end:
            found.append((g.stop_min, "stops"))
    if len(found) < 3:
        return ", ".join(words if m == start else f"{words} at {shown(m, 6)} min" for m, words in sorted(found))
    first, last = min(found)[0], max(found)[0]
    when = f"at {shown(first, 6)} min" if first == last else f"{shown(first, 6)} to {shown(last, 6)} min"
    return f"{len(found)} changes {when}, below"


# ---- what follows


def _facts(made: Predicted) -> Iterator[str]:
    yield from title("What follows from the model", PREDICTED_SIGN)
    for peak in made.peaks:
        yield from row("peak", f"{_site(peak.site)} {peak.level.text} at {moment(peak.at_min)}")
    if made.now is not None:
        effect = f", effect site {made.now.effect.text}" if made.now.effect else ""
        yield from row("now", f"{shown(made.now.at_min, 4)} min: plasma {made.now.plasma.text}{effect}")
    for fall in made.falls:
        yield from row("falling", fall.says)
    facts = made.facts
    if facts.half_lives:
        yield from row("half-lives", ", ".join(h.text for h in facts.half_lives))
    for label, value in (("clearance", facts.clearance), ("Vss", facts.vss), ("residence", facts.mean_residence)):
        if value is not None:
            yield from row(label, value.text)
    if made.model.saturable:
        yield from row("half-lives", "none: elimination saturates, so the fall depends on the level")
    for note in made.notes:
        yield from row("note", note)


def _site(site: str) -> str:
    return {"effect": "effect site"}.get(site, site)


def _given(made: Predicted, working: bool) -> Iterator[str]:
    yield from title("Given in the file", made.total.text)
    for g in made.given:
        when = f"{shown(g.start_min, 6)} min"
        if g.stop_min > g.start_min:
            when = f"{shown(g.start_min, 6)} to {shown(g.stop_min, 6)} min"
        yield from row(g.field, f"{when}: {g.per_kg.text}, {g.for_animal.text} for {made.patient.weight.text}")
        if working:
            yield from plain(f"= {g.working}", 14)


def _model(made: Predicted, working: bool) -> Iterator[str]:
    model = made.model
    yield from title("Model", model.id if model.id == model.quality else f"{model.id}, {model.quality}")
    yield from plain(model.says)
    for p in model.parameters:
        written = f" (written {p.as_written})" if p.as_written and p.as_written != p.text else ""
        yield from row(p.name, f"{p.text}{written}")
    if made.band is not None:
        yield from row("band", made.band.says)
    for words in model.cautions:
        yield from row("CAUTION", words)
    for cite in model.sources if working else ():
        yield from row("source", f"{cite.citation} ({cite.seen})")
    if model.sources and not working:
        many = len(model.sources)
        yield from plain(f"{many} source{'' if many == 1 else 's'}: --working shows {'it' if many == 1 else 'them'}.")


def _foot(made: Predicted) -> Iterator[str]:
    yield from title("Marks and cautions")
    if made.model.memory:
        yield from row(MEMORY_SIGN, MEMORY_WORDS)
    yield from row(PREDICTED_SIGN, PREDICTED_WORDS)
    for words in STANDING:
        yield from plain(words)
