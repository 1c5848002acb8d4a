"""The first choice in place, as places along one line: millimetres from the incisors, inward counts up. Geometry, no picture.

Each place says how it is known. What is not known has no place, and a picture leaves a gap there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from spiracle.airway.lay_out import AirwayChoice
from spiracle.airway.seating import Seat
from spiracle.airway.sizing import Tube

How = Literal["measured", "predicted", "memory", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where something lies [mm from the incisors] and how that is known; `at_mm` None means that nobody knows."""

    at_mm: float | None
    how: How


UNKNOWN = Place(at_mm=None, how="unknown")
INCISORS = Place(at_mm=0.0, how="measured")


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeDrawing:
    """The tube cut so that its connector stands at the incisors, what of it is cut away, and the stylet inside it.

    `cuff_top` is the end of the cuff nearest the larynx. `uncut_end` is where the tube would end uncut, outside the mouth and so
    below zero. `trachea_mm` is the bore where it was measured. `fork` is where the trachea may end, predicted, as a span.
    """

    id_text: str
    id_mm: float
    od_mm: float
    od_how: How
    cuffed: bool
    trachea_mm: float | None
    incisors: Place
    larynx: Place
    inlet: Place
    tip: Place
    cuff_top: Place
    cuff_bottom: Place
    side_hole: Place
    has_side_hole: bool
    connector: Place
    cut_end: Place
    uncut_end: Place
    stylet_tip: Place
    fork: tuple[float, float] | None
    questions: tuple[str, ...]


def drawn(choice: AirwayChoice) -> TubeDrawing | None:
    """The first choice of a plan in place; None without a measured depth, for then there is no scale to draw to."""
    seat = next((s for s in choice.seats if s.tube == choice.first), None)
    depth = choice.measured.incisors_to_inlet
    if seat is None or depth is None:
        return None
    tube, measured = seat.tube, choice.measured
    bore = measured.tracheal_diameter or measured.ultrasound_diameter
    fork = None
    if choice.tracheal_length is not None and measured.larynx_depth is not None:
        larynx = float(measured.larynx_depth.number("mm"))
        fork = (larynx + choice.tracheal_length.low_mm, larynx + choice.tracheal_length.high_mm)
    return TubeDrawing(
        id_text=tube.id_text, id_mm=float(tube.id_mm), od_mm=float(tube.od_mm), od_how="memory" if tube.od_memory else "measured",
        cuffed=tube.cuffed, trachea_mm=None if bore is None else float(bore.number("mm")),
        incisors=INCISORS,
        larynx=UNKNOWN if measured.larynx_depth is None else _measured(float(measured.larynx_depth.number("mm"))),
        inlet=_measured(float(depth.number("mm"))),
        tip=_measured(seat.tip_mm), cuff_top=_from_tip(seat, tube.tip_to_cuff_top_mm), cuff_bottom=_cuff_bottom(seat),
        side_hole=_from_tip(seat, tube.side_hole_mm or None), has_side_hole=tube.side_hole_mm != 0,
        connector=INCISORS, cut_end=INCISORS, uncut_end=_uncut(tube, seat.tip_mm), stylet_tip=_stylet_tip(choice, seat),
        fork=fork, questions=tuple(dict.fromkeys((*seat.questions, *choice.stylet.questions))),
    )  # fmt: skip


def _measured(at_mm: float) -> Place:
    return Place(at_mm=at_mm, how="measured")


def _from_tip(seat: Seat, back_mm: object) -> Place:
    return UNKNOWN if back_mm is None else _measured(seat.tip_mm - float(str(back_mm)))


def _cuff_bottom(seat: Seat) -> Place:
    top, length = seat.tube.tip_to_cuff_top_mm, seat.tube.cuff_length_mm
    return UNKNOWN if top is None or length is None else _measured(seat.tip_mm - float(top - length))


def _uncut(tube: Tube, tip_mm: float) -> Place:
    if tube.length_mm is None:
        return UNKNOWN
    return Place(at_mm=tip_mm - float(tube.length_mm), how="memory" if tube.length_memory else "measured")


def _stylet_tip(choice: AirwayChoice, seat: Seat) -> Place:
    """The setback rests on memory, so the place does too."""
    if choice.stylet.bend_at is None:
        return UNKNOWN
    return Place(at_mm=seat.tip_mm - float(choice.stylet.tip_behind.value.number("mm")), how="memory")
