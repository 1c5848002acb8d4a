"""The tube in the patient for print, to scale, from the incisors to the thoracic inlet and a little beyond."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from spiracle.airway.drawing import How, Place, TubeDrawing
from spiracle.sheets.print_marks import (
    BODY,
    DASH,
    EDGE,
    GLYPH,
    HATCH,
    INK,
    ROW,
    SMALL,
    WIDTH,
    figure_of,
    line,
    lines_of,
    picture,
    text,
)


@dataclass(frozen=True, slots=True)
class Scale:
    """From millimetres along the tube to the page, the same both ways, so that the picture is to scale."""

    low_mm: float
    per_mm: float

    def x(self, at_mm: float) -> float:
        return EDGE + (at_mm - self.low_mm) * self.per_mm


def tube_svg(drawing: TubeDrawing) -> str:
    """The first choice in the patient, to scale, incisors at zero."""
    scale = _scale(drawing)
    wall = max(13.0, (drawing.trachea_mm or drawing.od_mm / 0.7) * scale.per_mm / 2)
    seated = _seated(_named(drawing, scale))
    axis = wall + 34 + ROW * (1 + max(n.row for n in seated))
    low = axis + wall + 16
    parts = [
        HATCH,
        *_throat(drawing, scale, axis, wall),
        *_cut_away(drawing, scale, axis),
        *_tube(drawing, scale, axis, wall),
        *_connector(scale, axis, drawing),
        *_stylet(drawing, scale, axis),
        *_names(seated, axis - wall - 8),
        *_ruler(drawing, scale, low),
        *_legend(drawing, low + 70),
    ]
    height = low + 70 + 20 * len(_lines(drawing)) + 4
    return picture(
        parts, height, f"{drawing.id_text} in the patient, {_cm(drawing.inlet)} from incisors to thoracic inlet"
    )


def _scale(drawing: TubeDrawing) -> Scale:
    ends = [drawing.inlet.at_mm or 0.0, drawing.tip.at_mm or 0.0, *(drawing.fork or ())]
    low = min(-22.0, drawing.uncut_end.at_mm or 0.0)
    return Scale(low, (WIDTH - 2 * EDGE) / (max(ends) + 6 - low))


def _throat(drawing: TubeDrawing, scale: Scale, axis: float, wall: float) -> list[str]:
    """Incisors, larynx, trachea, thoracic inlet. An unmeasured larynx leaves the walls open, with a question mark."""
    inlet, incisors = scale.x(drawing.inlet.at_mm or 0), scale.x(0)
    parts = [
        line(incisors, axis - wall - 6, incisors, axis + wall + 6, 2.4),
        line(inlet, axis - wall - 6, inlet, axis + wall + 6, 2.4),
        f'<path d="M{incisors - 7:.1f} {axis - wall - 6:.1f}h14l-7 13z" fill="{INK}"/>',
    ]
    how: How = "unknown" if drawing.trachea_mm is None else "measured"
    end = scale.x(drawing.fork[1]) if drawing.fork else min(WIDTH - 6, inlet + 24)
    if drawing.larynx.at_mm is not None:
        start = scale.x(drawing.larynx.at_mm)
        parts += [_lips(start, axis, wall)]
    else:
        known = drawing.cuff_top.at_mm if drawing.cuff_top.at_mm is not None else (drawing.tip.at_mm or 0) * 0.6
        start = scale.x(known)
        middle = (incisors + start) / 2
        parts += [text(middle, axis - wall + 2, "?", 22, "middle", bold=True)]
    for y in (axis - wall, axis + wall):
        parts.append(line(start, y, end, y, 1.6, how))
    if drawing.fork:
        left = scale.x(drawing.fork[0])
        parts.append(f'<rect x="{left:.1f}" y="{axis - wall:.1f}" width="{end - left:.1f}" height="{2 * wall:.1f}" '
                     'fill="url(#hatch)" opacity="0.55"/>')  # fmt: skip
    return parts


def _lips(x: float, axis: float, wall: float) -> str:
    """The larynx: two facing lips."""
    r = wall * 1.25
    return (f'<path d="M{x - 5:.1f} {axis - r:.1f}q-9 {r:.1f} 0 {2 * r:.1f}M{x + 5:.1f} {axis - r:.1f}q9 {r:.1f} 0 {2 * r:.1f}" '
            f'fill="none" stroke="{INK}" stroke-width="2.4"/>')  # fmt: skip


def _tube(drawing: TubeDrawing, scale: Scale, axis: float, wall: float) -> list[str]:
    """Wall and bore to scale, the tip cut on the slant; cuff and side hole only where they are known."""
    outside, inside = drawing.od_mm * scale.per_mm / 2, drawing.id_mm * scale.per_mm / 2
    start, tip = scale.x(0), scale.x(drawing.tip.at_mm or 0)
    slant = min(outside * 0.9, (tip - start) / 4)
    shape = (f"M{start:.1f} {axis - outside:.1f}H{tip - slant:.1f}Q{tip:.1f} {axis - outside:.1f} {tip:.1f} {axis + outside:.1f}"
             f"H{start:.1f}Z")  # fmt: skip
    parts = [f'<path d="{shape}" fill="#fff" stroke="{INK}" stroke-width="1.8"{DASH[drawing.od_how]}/>']
    for y in (axis - inside, axis + inside):
        parts.append(line(start, y, tip - slant, y, 0.7))
    parts += _cuff(drawing, scale, axis, outside, wall)
    hole = drawing.side_hole.at_mm
    if hole is not None and drawing.has_side_hole:
        parts.append(f'<ellipse cx="{scale.x(hole) + 3:.1f}" cy="{axis - outside:.1f}" rx="4.5" ry="3" fill="{INK}"/>')
    return parts


def _cuff(drawing: TubeDrawing, scale: Scale, axis: float, outside: float, wall: float) -> list[str]:
    if drawing.cuff_top.at_mm is None:
        return []
    top = scale.x(drawing.cuff_top.at_mm)
    if drawing.cuff_bottom.at_mm is None:
        return [line(top, axis - wall, top, axis + wall, 2)]
    bottom, bulge = scale.x(drawing.cuff_bottom.at_mm), max(4.0, wall - outside - 1)
    found = []
    for side, y in ((-1, axis - outside), (1, axis + outside)):
        out = y + side * bulge
        found.append(f'<path d="M{top:.1f} {y:.1f}C{top:.1f} {out:.1f} {top:.1f} {out:.1f} {(top + bottom) / 2:.1f} {out:.1f}'
                     f'S{bottom:.1f} {out:.1f} {bottom:.1f} {y:.1f}Z" fill="#fff" stroke="{INK}" stroke-width="1.8"/>')  # fmt: skip
    return found


def _stylet(drawing: TubeDrawing, scale: Scale, axis: float) -> list[str]:
    if drawing.stylet_tip.at_mm is None:
        return []
    start, tip = scale.x(0) - 24, scale.x(drawing.stylet_tip.at_mm)
    return [
        line(start, axis, tip, axis, 3.2),
        f'<circle cx="{tip:.1f}" cy="{axis:.1f}" r="4" fill="{INK}"/>',
        f'<path d="M{start:.1f} {axis:.1f}v-16" fill="none" stroke="{INK}" stroke-width="3.2" stroke-linecap="round"/>',
    ]  # fmt: skip


def _connector(scale: Scale, axis: float, drawing: TubeDrawing) -> list[str]:
    """Its flange stands at the incisors; 15 mm outside by the standard, its length not to scale."""
    high = max(11.0, drawing.od_mm * scale.per_mm / 2 + 4)
    x = scale.x(0)
    return [f'<path d="M{x - 3:.1f} {axis - high:.1f}v{2 * high:.1f}h-4v-{high - 7:.1f}h-11v-14h11v-{high - 7:.1f}z" '
            f'fill="#fff" fill-opacity="0.6" stroke="{INK}" stroke-width="1.6"/>']  # fmt: skip


def _cut_away(drawing: TubeDrawing, scale: Scale, axis: float) -> list[str]:
    """What of the uncut tube would stand outside the mouth."""
    end = drawing.uncut_end
    if end.at_mm is None or end.at_mm >= 0:
        return []
    outside = drawing.od_mm * scale.per_mm / 2
    left, right = scale.x(end.at_mm), scale.x(0) - 26
    if right - left < 8:
        return []
    return [f'<rect x="{left:.1f}" y="{axis - outside:.1f}" width="{right - left:.1f}" height="{2 * outside:.1f}" fill="none" '
            f'stroke="{INK}" stroke-width="1.1"{DASH[end.how]}/>',
            f'<path d="M{left:.1f} {axis - outside:.1f}L{right:.1f} {axis + outside:.1f}" stroke="{INK}" stroke-width="0.9"/>']  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Name:
    """Words over a place: to the right or the left of their stem or about it, in a row counted upward."""

    stem: float
    words: str
    side: Literal["start", "middle", "end"]
    row: int = 0

    @property
    def span(self) -> tuple[float, float]:
        wide = len(self.words) * SMALL * GLYPH + 8
        left = {"start": self.stem, "middle": self.stem - wide / 2, "end": self.stem - wide}[self.side]
        return left, left + wide

    def clear_of(self, other: _Name) -> bool:
        """Whether neither's words lie on the other's, nor on the other's stem where it passes."""
        left, right = self.span
        a, b = other.span
        if self.row == other.row:
            return right < a or left > b
        upper, (low, high) = (self, other.span) if self.row > other.row else (other, self.span)
        return upper.side == "middle" or not low < upper.stem < high


def _named(drawing: TubeDrawing, scale: Scale) -> list[_Name]:
    """What is named over the picture: in the mouth's half words run inward, in the other half outward, so that stems stay free."""
    tip = drawing.tip.at_mm or 0.0
    found: list[_Name] = []
    if drawing.larynx.at_mm is None:
        known = drawing.cuff_top.at_mm if drawing.cuff_top.at_mm is not None else tip * 0.6
        found.append(_Name(scale.x(known / 2), "larynx not measured", "middle"))
    found.append(_Name(scale.x(0), "incisors, connector", "start"))
    inward = [
        (drawing.larynx, f"larynx {_cm(drawing.larynx)}"),
        (drawing.cuff_top, f"cuff top {_cm(drawing.cuff_top)}"),
    ]
    if drawing.has_side_hole:
        inward.append((drawing.side_hole, f"side hole {_cm(drawing.side_hole)}"))
    behind = tip - (drawing.stylet_tip.at_mm or 0)
    inward += [
        (drawing.stylet_tip, f"stylet tip {behind:.0f} mm inside"),
        (drawing.inlet, f"thoracic inlet {_cm(drawing.inlet)}"),
    ]
    places = sorted((place.at_mm, words) for place, words in inward if place.at_mm is not None)
    found += [_Name(scale.x(at), words, "end") for at, words in places]
    if drawing.fork:
        low, high = drawing.fork
        found.append(_Name(scale.x(high), f"≈ fork, {low / 10:.0f} to {high / 10:.0f} cm", "end"))
    return found


def _seated(names: Iterable[_Name]) -> list[_Name]:
    """Each name in the lowest row where it is clear of all before it; in the next free row where none is."""
    seated: list[_Name] = []
    for name in names:
        rows = [replace(name, row=row) for row in range(len(seated) + 1)]
        seated.append(next((n for n in rows if all(n.clear_of(other) for other in seated)), rows[-1]))
    return seated


def _names(seated: Iterable[_Name], base: float) -> list[str]:
    parts = []
    for name in seated:
        y = base - 8 - name.row * ROW
        if name.side != "middle":
            parts.append(line(name.stem, y + 4, name.stem, base + 2, 0.8))
        parts.append(text(name.stem, y, name.words, SMALL, name.side))
    return parts


def _ruler(drawing: TubeDrawing, scale: Scale, y: float) -> list[str]:
    """Centimetres from the incisors, and under them the length to cut to."""
    inlet, tip = drawing.inlet.at_mm or 0.0, drawing.tip.at_mm or 0.0
    parts = [line(scale.x(0), y, scale.x(inlet), y, 1)]
    for cm in range(int(inlet // 10) + 1):
        x, long = scale.x(cm * 10.0), cm % 5 == 0
        parts.append(line(x, y, x, y + (8 if long else 4), 1))
        if long:
            parts.append(text(x, y + 20, str(cm) if cm else "0 cm", SMALL, "middle"))
    low, said = y + 32, _cut_words(drawing)
    half = len(said) * (BODY + 2) * GLYPH / 2
    middle = min(max((scale.x(0) + scale.x(tip)) / 2, half), WIDTH - half)
    parts += [
        line(scale.x(0), low, scale.x(tip), low, 2), line(scale.x(0), low - 5, scale.x(0), low + 5, 2),
        line(scale.x(tip), low - 5, scale.x(tip), low + 5, 2),
        text(middle, low + 20, said, BODY + 2, "middle", bold=True),
    ]  # fmt: skip
    return parts


def _cut_words(drawing: TubeDrawing) -> str:
    long = f"{figure_cm(drawing.tip.at_mm or 0)} cm"
    end = drawing.uncut_end.at_mm
    if end is None:
        return f"{drawing.id_text}: if it is longer, cut to {long}, tip to connector"
    if end >= 0:
        return f"{drawing.id_text}: do not cut, {long} long"
    return f"{drawing.id_text}: cut to {long}, tip to connector"


def _legend(drawing: TubeDrawing, y: float) -> list[str]:
    return [text(EDGE, y + 14 + 20 * i, told, SMALL) for i, told in enumerate(_lines(drawing))]


def _lines(drawing: TubeDrawing) -> list[str]:
    """What stands under the picture: how to read it, what is cut away, and what to measure."""
    key = "to scale, connector not: solid measured, dashed from memory"
    key += "" if drawing.trachea_mm else ", dotted width not measured"
    key += ", hatched predicted" if drawing.fork else ""
    end = drawing.uncut_end
    typical = ": the uncut length is typical, from memory" if end.how == "memory" else ""
    away = [f"{-end.at_mm:.0f} mm come away{typical}"] if end.at_mm is not None and end.at_mm < 0 else []
    told = [key, *away, *(f"? {question}" for question in drawing.questions)]
    return [one for said in told for one in lines_of(said, SMALL)]


def figure_cm(mm: float) -> str:
    """Centimetres with the one decimal that a ruler shows.

    >>> figure_cm(130), figure_cm(88.4)
    ('13', '8.8')
    """
    return figure_of(mm / 10)


def _cm(place: Place) -> str:
    return "not known" if place.at_mm is None else f"{figure_cm(place.at_mm)} cm"
