"""A recording of CO2 on a terminal: the whole in four lines, then what it shows, then its breaths."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median
from textwrap import wrap

from spiracle.doors.text_rows import WIDTH, row, title
from spiracle.sheets.capnogram_shapes import BreathPart, CapnogramPart, FindingPart, Value
from spiracle.sheets.cautions import MEMORY_SIGN, STANDING

MOST_ROWS = 60  # breaths told one by one; longer recordings are told by the minute
PLACES = {"mmHg": 0, "kPa": 1, "%": 1}


def clock(seconds: float) -> str:
    """Minutes and seconds, hours where there are any.

    >>> clock(83.4), clock(3725)
    ('1:23', '1:02:05')
    """
    whole = int(seconds + 1e-9)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def shown(value: Value | None) -> str:
    """A pressure or share as people read it."""
    return "-" if value is None else f"{value.value:z.{PLACES.get(value.unit, 1)}f}"


def capnogram_text(made: CapnogramPart) -> str:
    """Summary, notes, findings, breaths, cautions."""
    parts = (_head(made), _findings(made), _troubles(made), _breaths(made), _foot())
    return "\n\n".join(text for part in parts if (text := "\n".join(part))) + "\n"


def _head(made: CapnogramPart) -> Iterator[str]:
    yield from title("Capnogram", made.file[-50:])
    yield from row("recording", f"{clock(made.duration.value)} at {made.sampling_rate.value:g} Hz, in {made.unit}")
    yield from row(
        "breaths", f"{len(made.breaths)}, rate {'-' if made.rate is None else f'{made.rate.value:.0f}'} /min (median)"
    )
    if made.etco2 is not None:
        told = sorted(b.etco2.value for b in made.breaths)
        places = PLACES.get(made.unit, 1)
        spread = f"{told[0]:z.{places}f} to {told[-1]:z.{places}f}"
        yield from row("end-tidal", f"{shown(made.etco2)} {made.unit} (median), {spread}")
        yield from row("inspired", f"{shown(made.fico2)} {made.unit} (median)" if made.fico2 else "not seen")
    for note in made.notes:
        yield from row("note", note)


def span(f: FindingPart) -> str:
    return f"{clock(f.from_s)} to {clock(f.to_s)}{' (still standing)' if f.standing else ''}"


def _findings(made: CapnogramPart) -> Iterator[str]:
    yield from title("What it shows")
    if not made.findings:
        yield "  Nothing that lasted long enough to be told."
    for f in made.findings:
        degree = "" if f.name == "normal" else f", {f.degree}"
        yield f"  {f.title}{degree}: {span(f)}"
        yield from _wrapped(f.why)
        if f.name == "normal":
            continue
        for check in f.checks:
            yield from _wrapped(f"- {check.says}{f' {MEMORY_SIGN}' if any(s.memory for s in check.sources) else ''}")
        if f.causes:
            yield from _wrapped(f"may be: {', '.join(f.causes)}")


def _wrapped(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="    ", subsequent_indent="    ")


def _troubles(made: CapnogramPart) -> Iterator[str]:
    if made.troubles:
        yield from title("Signal not read")
        told = [t for t in made.troubles if t.to_s - t.from_s >= 1.0]
        for t in told[:20]:
            yield f"  {t.kind}: {clock(t.from_s)} to {clock(t.to_s)}"
        if len(told) < len(made.troubles):
            yield f"  {len(made.troubles) - len(told)} shorter than a second"
        if len(told) > 20:
            yield f"  and {len(told) - 20} more; the json has all"


def _breaths(made: CapnogramPart) -> Iterator[str]:
    if not made.breaths:
        return
    if len(made.breaths) <= MOST_ROWS:
        yield from title("Breaths", f"CO2 in {made.unit}")
        yield f"  {'starts':>8} {'ends':>8} {'end-tidal':>10} {'inspired':>9} {'/min':>6}  quality"
        for b in made.breaths:
            rate = "-" if b.rate is None else f"{b.rate.value:.0f}"
            doubts = f" ({', '.join(b.doubts)})" if b.doubts else ""
            yield (f"  {b.expiration_start_s:8.2f} {b.expiration_end_s:8.2f} {shown(b.etco2):>10} {shown(b.fico2):>9} {rate:>6}"
                   f"  {b.quality}{doubts}")  # fmt: skip
        return
    yield from title("Breaths, minute by minute", f"median of each, CO2 in {made.unit}")
    yield f"  {'minute':>8} {'breaths':>8} {'end-tidal':>10} {'inspired':>9} {'/min':>6}  doubtful"
    minutes: dict[int, list[BreathPart]] = {}
    for b in made.breaths:
        minutes.setdefault(int((b.expiration_start_s - made.start_s) // 60), []).append(b)
    for minute, group in minutes.items():
        doubtful = sum(b.quality != "good" for b in group)
        rates = [b.rate for b in group if b.rate is not None]
        inspired = _middle([b.fico2 for b in group if b.fico2 is not None])
        told = f"{len(group):>8} {_middle([b.etco2 for b in group]):>10} {inspired:>9} {_middle(rates, 0):>6}  {doubtful or ''}"
        yield f"  {clock(made.start_s + 60 * minute):>8} {told}".rstrip()
    yield "  Every breath with all its figures: --format json"


def _middle(values: Sequence[Value], places: int | None = None) -> str:
    if not values:
        return "-"
    return f"{median(v.value for v in values):z.{PLACES.get(values[0].unit, 1) if places is None else places}f}"


def _foot() -> Iterator[str]:
    for line in STANDING:
        yield from wrap(line, WIDTH)
