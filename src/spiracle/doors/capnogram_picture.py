"""A recording of CO2 as a picture: the trace as measured in ink, breaths and findings as worked out beside it, gaps hatched.

Long recordings are drawn in strips, twelve at most; where a strip holds more samples than the paper has places, each place shows the
whole span between the lowest and the highest sample that fell on it, so that no breath is lost.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spiracle.doors.capnogram_text import PLACES, clock, shown, span
from spiracle.sheets.capnogram_shapes import CapnogramPart, FindingPart
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.level_svg import level_ticks, round_top

PIXELS_PER_INCH = 160.0
WIDTH, LEFT, RIGHT, PLOT, LANE, UNDER, APART = 1000.0, 34.0, 6.0, 66.0, 15.0, 24.0, 9.0
STRIPS = 12
SPANS_S = (10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
TICKS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)
INK, QUIET, FAINT, TEAL, AMBER, AMBER_INK, PALE = (
    "#1A221E",
    "#414A44",
    "#CFC6B3",
    "#0C5A53",
    "#F0B42A",
    "#6B5600",
    "#F4EFE2",
)
SANS = "'Source Sans 3'"
LETTER = 5.6  # width of a letter of the findings' words, on the generous side
MOST_TOLD = 14

Floats = NDArray[np.float64]
HATCH = (f'<defs><pattern id="gap" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
         f'<path d="M0 0V6" stroke="{FAINT}" stroke-width="1.6"/></pattern></defs>')  # fmt: skip


@dataclass(frozen=True, slots=True)
class Strip:
    """Where a moment and a value of one strip lie on the paper."""

    first: float
    last: float
    top: float
    ceiling: float

    def x(self, moment: float) -> float:
        inside = min(max(moment, self.first), self.last)
        return LEFT + (WIDTH - LEFT - RIGHT) * (inside - self.first) / (self.last - self.first)

    def y(self, value: float) -> float:
        return self.top + PLOT * (1 - min(max(value / self.ceiling, -0.04), 1.0))


def capnogram_png(made: CapnogramPart, samples: Floats) -> bytes:
    """One page, as high as it needs. `samples` are the file's own, in its unit."""
    import typst

    from spiracle.doors.pdf import _fonts

    folder = files("spiracle.doors") / "print"
    png: bytes = typst.compile(
        str(folder / "capnogram.typ"), root=str(folder), font_paths=_fonts(), ignore_system_fonts=True, format="png",
        ppi=PIXELS_PER_INCH, sys_inputs={"data": json.dumps(_data(made, samples), ensure_ascii=False, sort_keys=True)},
    )  # fmt: skip
    return png


def _data(made: CapnogramPart, samples: Floats) -> dict[str, Any]:
    rate = "-" if made.rate is None else f"{made.rate.value:.0f}"
    facts = [
        f"{clock(made.duration.value)} at {made.sampling_rate.value:g} Hz",
        f"{len(made.breaths)} breaths, {rate} /min",
    ]
    if made.etco2 is not None:
        facts.append(f"end-tidal {shown(made.etco2)} {made.unit}, inspired {shown(made.fico2)} {made.unit} (median)")
    told = [f for f in made.findings if f.name != "normal"]
    return {
        "title": "Capnogram",
        "subtitle": made.file,
        "facts": facts,
        "svg": capnogram_svg(made, samples),
        "findings": [_told(f) for f in told[:MOST_TOLD]],
        "more": max(0, len(told) - MOST_TOLD),
        "calm": not told,
        "normal": any(f.name == "normal" for f in made.findings),
        "notes": list(made.notes),
        "cautions": list(STANDING),
    }


def _told(f: FindingPart) -> dict[str, str]:
    return {"title": f.title, "degree": f.degree, "when": span(f), "why": f.why,
            "check": f.checks[0].says if f.checks else ""}  # fmt: skip


def capnogram_svg(made: CapnogramPart, samples: Floats) -> str:
    """All strips, 1000 units wide."""
    seconds = len(samples) / made.sampling_rate.value
    long = _long(seconds)
    seen = samples[np.isfinite(samples)]
    highest = float(np.quantile(seen, 0.9995)) if seen.size else 0.0
    ceiling = round_top(max(highest, 1.0 if made.unit != "mmHg" else 8.0))
    parts, top, first = [HATCH], 4.0, 0.0
    while first < seconds - 1e-6:
        lanes = _lanes(made, made.start_s + first, made.start_s + first + long)
        strip = Strip(made.start_s + first, made.start_s + first + long, top + LANE * len(lanes) + 3, ceiling)
        parts += [*_frame(strip, made.unit, made.start_s + seconds), *_gaps(strip, made, samples), *_line(strip, made, samples),
                  *_breaths(strip, made)]  # fmt: skip
        for n, lane in enumerate(lanes):
            parts += [piece for f in lane for piece in _bar(strip, f, top + LANE * n)]
        top, first = strip.top + PLOT + UNDER + APART, first + long
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {top:g}" font-family="{SANS}" font-size="11" '
            f'fill="{INK}">{"".join(parts)}</svg>')  # fmt: skip


def _long(seconds: float) -> float:
    """Seconds in a strip: a round span, drawn out by a fiftieth rather than leave a crumb for one strip more."""
    if seconds <= SPANS_S[0]:
        return max(seconds, 1.0)
    span = float(next((s for s in SPANS_S if seconds <= s * STRIPS * 1.02), seconds / STRIPS))
    strips = max(1, round(seconds / span))
    return seconds / strips if 1.0 < seconds / (strips * span) <= 1.02 else span


# ---- findings


def _lanes(made: CapnogramPart, first: float, last: float) -> list[list[FindingPart]]:
    """Bars that would touch, with their words, lie in lanes one above the other."""
    lanes: list[list[FindingPart]] = []
    ends: list[float] = []
    per_unit = (last - first) / (WIDTH - LEFT - RIGHT)
    for f in sorted(made.findings, key=lambda f: (f.name == "normal", f.from_s)):
        if f.to_s <= first or f.from_s >= last:
            continue
        begin = max(f.from_s, first)
        end = max(min(f.to_s, last), begin + (len(_words(f)) * LETTER + 8) * per_unit)
        begin = min(begin, last - (len(_words(f)) * LETTER + 8) * per_unit)
        n = next((n for n, e in enumerate(ends) if e <= begin), len(ends))
        if n == len(ends):
            ends.append(end)
            lanes.append([f])
        else:
            ends[n] = end
            lanes[n].append(f)
    return lanes


def _words(f: FindingPart) -> str:
    return f.title if f.name == "normal" else f"{f.title}, {f.degree}"


def _bar(strip: Strip, f: FindingPart, top: float) -> Iterator[str]:
    left, right = strip.x(f.from_s), max(strip.x(f.to_s), strip.x(f.from_s) + 2)
    if f.name == "normal":
        yield f'<path d="M{left:.1f} {top + LANE - 3:.1f}H{right:.1f}" stroke="{FAINT}" stroke-width="1.5"/>'
    else:
        fill, edge = {"severe": (AMBER, AMBER_INK), "moderate": ("#FBE6B0", AMBER_INK)}.get(f.degree, ("none", QUIET))
        yield (f'<rect x="{left:.1f}" y="{top + 1:.1f}" width="{right - left:.1f}" height="{LANE - 3:.1f}" fill="{fill}" '
               f'stroke="{edge}" stroke-width="0.8"/>')  # fmt: skip
    words, at = _words(f), left + 4
    at = min(at, WIDTH - RIGHT - len(words) * LETTER)
    ink = QUIET if f.name == "normal" else INK
    yield f'<text x="{at:.1f}" y="{top + LANE - 5:.1f}" font-size="10" font-weight="600" fill="{ink}">{escape(words)}</text>'


# ---- the trace


def _frame(strip: Strip, unit: str, end: float) -> Iterator[str]:
    right, foot = strip.x(min(strip.last, end)), strip.y(0)
    ticks = level_ticks(strip.ceiling)
    for tick in ticks[:: 1 if len(ticks) <= 4 else 2]:
        y = strip.y(tick)
        yield f'<path d="M{LEFT} {y:.1f}H{right:.1f}" stroke="{FAINT}" stroke-width="{1 if tick == 0 else 0.5}"/>'
        yield f'<text x="{LEFT - 5}" y="{y + 3.5:.1f}" font-size="9.5" text-anchor="end" fill="{QUIET}">{tick:g}</text>'
    yield f'<text x="3" y="{strip.top - 3:.1f}" font-size="8.5" fill="{QUIET}">{escape(unit)}</text>'
    long = strip.last - strip.first
    step = next((s for s in TICKS_S if long / s <= 12), TICKS_S[-1])
    first = int(np.ceil(strip.first / step - 1e-9))
    for n in range(first, int((min(strip.last, end) + 1e-6) // step) + 1):
        x = strip.x(n * step)
        yield f'<path d="M{x:.1f} {foot:.1f}v3" stroke="{QUIET}" stroke-width="0.7"/>'
        where = "start" if x < LEFT + 8 else "end" if x > WIDTH - 20 else "middle"
        yield (f'<text x="{x:.1f}" y="{foot + UNDER - 6:.1f}" font-size="9.5" text-anchor="{where}" fill="{QUIET}">'
               f'{clock(n * step)}</text>')  # fmt: skip


def _part(strip: Strip, made: CapnogramPart, samples: Floats) -> tuple[int, Floats]:
    rate = made.sampling_rate.value
    i, j = round((strip.first - made.start_s) * rate), round((strip.last - made.start_s) * rate) + 1
    return i, samples[i : min(j, len(samples))]


def _gaps(strip: Strip, made: CapnogramPart, samples: Floats) -> Iterator[str]:
    """Stretches without samples that can be seen at this scale."""
    i, part = _part(strip, made, samples)
    lost = np.flatnonzero(np.diff(np.isnan(part), prepend=False, append=False)).reshape(-1, 2)
    for a, b in lost.tolist():
        left, right = (strip.x(made.start_s + (i + n) / made.sampling_rate.value) for n in (a, b))
        if right - left >= 2:
            yield (
                f'<rect x="{left:.1f}" y="{strip.top:.1f}" width="{right - left:.1f}" height="{PLOT:.1f}" fill="url(#gap)"/>'
            )
            if right - left >= 56:
                yield (f'<text x="{(left + right) / 2:.1f}" y="{strip.top + PLOT / 2:.1f}" font-size="10" text-anchor="middle" '
                       f'fill="{QUIET}">no signal</text>')  # fmt: skip


def _line(strip: Strip, made: CapnogramPart, samples: Floats) -> Iterator[str]:
    """The trace in ink; broken where samples are missing."""
    i, part = _part(strip, made, samples)
    moments = made.start_s + (i + np.arange(len(part))) / made.sampling_rate.value
    x = LEFT + (WIDTH - LEFT - RIGHT) * (moments - strip.first) / (strip.last - strip.first)
    y = strip.top + PLOT * (1 - np.clip(part / strip.ceiling, -0.04, 1.0))
    bucket = np.floor(x * 1.6).astype(np.int64)
    pieces: list[str] = []
    pen_up = True
    edges = np.flatnonzero(np.diff(bucket, prepend=bucket[:1] - 1)) if len(bucket) else np.array([], dtype=np.int64)
    for a, b in zip(edges.tolist(), [*edges[1:].tolist(), len(part)], strict=True):
        inside = y[a:b]
        seen = np.flatnonzero(np.isfinite(inside))
        if not seen.size:
            pen_up = True
            continue
        order = sorted({int(seen[0]), int(np.nanargmin(inside)), int(np.nanargmax(inside)), int(seen[-1])})
        if pen_up or (a and np.isnan(part[a - 1])):
            pieces.append("M")
        pieces += [f"{x[a + k]:.1f} {inside[k]:.1f} " for k in order]
        pen_up = bool(np.isnan(inside[-1]))
    if pieces:
        yield f'<path d="{"".join(pieces)}" fill="none" stroke="{INK}" stroke-width="1" stroke-linejoin="round"/>'


def _breaths(strip: Strip, made: CapnogramPart) -> Iterator[str]:
    """Each expiration as a bar under the trace, its end-tidal value as a point; hollow where it is doubtful."""
    foot = strip.y(0) + 5.5
    inside = [b for b in made.breaths if b.expiration_start_s < strip.last and b.expiration_end_s > strip.first]
    wide = (WIDTH - LEFT) / max(1, len(inside))
    every = max(1, int(np.ceil(26 / wide)))
    for n, b in enumerate(inside):
        left, right = strip.x(b.expiration_start_s), strip.x(b.expiration_end_s)
        good = b.quality == "good"
        yield f'<path d="M{left:.1f} {foot:.1f}H{max(right, left + 0.6):.1f}" stroke="{TEAL}" stroke-width="{2.4 if good else 1}"/>'
        if wide < 5 or b.expiration_end_s > strip.last:
            continue
        y = strip.y(b.etco2.value)
        yield (f'<circle cx="{right:.1f}" cy="{y:.1f}" r="{2 if wide > 12 else 1.5}" fill="{TEAL if good else "#FFFFFF"}" '
               f'stroke="{TEAL}" stroke-width="0.7"/>')  # fmt: skip
        if n % every == 0:
            text = f"{b.etco2.value:z.{PLACES.get(made.unit, 1)}f}"
            yield (f'<text x="{max(right - 3, LEFT + 16):.1f}" y="{max(y - 4, strip.top - 1):.1f}" font-size="8.5" text-anchor="end" '
                   f'fill="{TEAL}">{text}</text>')  # fmt: skip
