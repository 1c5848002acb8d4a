"""Where the tube lies: how long the trachea may be, whether cuff and side hole lie past the larynx, how far back the stylet.

A length that was not measured is asked for. A predicted one is a span, marked as predicted, and is never shown as a figure.
"""

from __future__ import annotations

from dataclasses import dataclass

from spiracle.airway.bore import trachea_length_cm_from_back
from spiracle.airway.measured import BACK, INCISORS, INLET_RATIO, LARYNX, Measured
from spiracle.airway.placing import Lie
from spiracle.airway.sizing import Tube
from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, figure
from spiracle.source import Input, Mark, Worked, Working


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A predicted length: between these two, in about 95 of 100 animals like those it was found in [mm]."""

    low_mm: float
    high_mm: float
    working: Working

    @property
    def text(self) -> str:
        return f"{self.low_mm / 10:.0f} to {self.high_mm / 10:.0f} cm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """One tube in place, in mm from the incisors. None is "not known", and `questions` says what to measure.

    `cuff_fits`: the whole cuff lies past the larynx. `least_depth_mm`: with less than this in, the cuff lies in the larynx.
    """

    tube: Tube
    tip_mm: float
    larynx_to_tip_mm: float | None
    room_above_cuff_mm: float | None
    least_depth_mm: float | None
    cuff_fits: bool | None
    side_hole_fits: bool | None
    questions: tuple[str, ...]
    cautions: tuple[str, ...]
    working: Working


@dataclass(frozen=True, slots=True, kw_only=True)
class Stylet:
    """How far its tip stays behind the tube's, and the length to bend it over at, once the tube's length is known.

    `usable` False: the tube is too short to hold a stylet safely.
    """

    tip_behind: Worked[Quantity]
    bend_at: Worked[Quantity] | None
    usable: bool
    questions: tuple[str, ...]


def tracheal_length_span(
    facts: AirwayTables, species: str, measured: Measured, *, adult: bool | None = None, brachycephalic: bool = False
) -> Span | None:
    """Length of the trachea, larynx to fork: dogs from the back's length, grown cats with usual heads from CT; else None."""
    facts.reach(species)
    sds = facts.setting("span-sds")
    if species == "dog":
        back = measured.occiput_to_tail
        if back is None or brachycephalic:
            return None
        short, spread = facts.setting("trachea-length-shortfall"), facts.setting("trachea-length-sd")
        middle = trachea_length_cm_from_back(float(back.number("cm"))) + short.number
        half = sds.number * spread.number
        says = f"0.346 x {figure(back.number('cm'))} - 3.773 + {short.value} (it read low) = {middle:.1f} cm, give or take {half:.1f} cm"
        return Span(low_mm=(middle - half) * 10, high_mm=(middle + half) * 10,
                    working=Working(says, (Input(BACK, str(back), Mark.MEASURED),), sources=short.source, estimated=True))  # fmt: skip
    if adult is not True or brachycephalic:
        return None
    row, spread = facts.setting("cat-trachea-length"), facts.setting("cat-trachea-length-sd")
    half = sds.number * spread.number
    return Span(low_mm=row.number - half, high_mm=row.number + half, working=Working(
        f"grown cats, heads of usual shape: {row.quantity}, give or take {half:.0f} mm", sources=row.source, estimated=True))  # fmt: skip


def seat(tube: Tube, tip: Quantity, measured: Measured, span: Span | None = None) -> Seat:
    """Whether cuff and side hole lie past the larynx when the tip lies `tip` from the incisors."""
    tip_mm = float(tip.number("mm"))
    larynx = None if measured.larynx_depth is None else float(measured.larynx_depth.number("mm"))
    top = None if tube.tip_to_cuff_top_mm is None else float(tube.tip_to_cuff_top_mm)
    hole = None if tube.side_hole_mm is None else float(tube.side_hole_mm)
    below = None if larynx is None else tip_mm - larynx
    room = None if below is None or top is None else below - top
    cautions = []
    if room is not None and room < 0:
        cautions.append(
            f"{tube.id_text}: the cuff would reach {-room:.0f} mm into the larynx. Take a tube with a shorter tip and cuff, "
            "or one without a cuff; never push the tip past the thoracic inlet for it."
        )
    hole_fits = None if below is None or hole is None else below > hole
    if hole_fits is False:
        cautions.append(f"{tube.id_text}: the side hole would lie in the larynx.")
    if below is not None and span is not None and below > span.low_mm:
        cautions.append(
            f"{tube.id_text}: {below:.0f} mm below the larynx may reach the fork of a trachea of {span.text} (predicted): "
            "listen on both sides."
        )
    inputs = [Input(INCISORS, str(measured.incisors_to_inlet), Mark.MEASURED)] if measured.incisors_to_inlet else []
    inputs += [Input(LARYNX, str(measured.larynx_depth), Mark.MEASURED)] if measured.larynx_depth else []
    return Seat(
        tube=tube, tip_mm=tip_mm, larynx_to_tip_mm=below, room_above_cuff_mm=room,
        least_depth_mm=None if larynx is None or top is None else larynx + top,
        cuff_fits=None if room is None else room >= 0, side_hole_fits=hole_fits,
        questions=_asked(tube, larynx, top, hole), cautions=tuple(cautions),
        working=Working(_seat_says(below, top, room), tuple(inputs), sources=("a_worked",)),
    )  # fmt: skip


def _seat_says(below: float | None, top: float | None, room: float | None) -> str:
    if below is None:
        return "The larynx was not measured: where the cuff lies is not known."
    if room is None or top is None:
        return f"{below:.0f} mm of tube below the larynx; where its cuff ends is not known."
    return f"{below:.0f} mm of tube below the larynx, cuff top {top:.0f} mm from the tip: {room:.0f} mm of room."


def _asked(tube: Tube, larynx: float | None, top: float | None, hole: float | None) -> tuple[str, ...]:
    asked = []
    if larynx is None:
        asked.append("Lay the tube beside the head: how many cm from the incisors to the larynx?")
    if tube.cuffed and top is None:
        asked.append(f"{tube.id_text}: how many mm from its tip to the top of its cuff?")
    if hole is None:
        asked.append(f"{tube.id_text}: how many mm from its tip to its side hole's upper edge (0 if it has none)?")
    return tuple(asked)


def stylet(facts: AirwayTables, tube: Tube, length: Quantity | None) -> Stylet:
    """Set back by a centimetre, and past the side hole where one is known; bent over where the tube ends at its connector."""
    row, margin = facts.setting("stylet-setback"), facts.setting("side-hole-margin")
    behind = row.quantity
    says = f"The stylet's tip stays {behind} inside the tube's tip: stylets have torn tracheas."
    asked: tuple[str, ...] = ()
    if tube.side_hole_mm is None:
        asked = (f"{tube.id_text}: how many mm from its tip to its side hole's upper edge (0 if it has none)?",)
    else:
        past = Quantity.of(tube.side_hole_mm, "mm") + margin.quantity
        if past > behind:
            behind = past
            says = (f"The stylet's tip stays {behind} inside the tube's tip: {margin.quantity} behind the side hole, "
                    "which it must not come through.")  # fmt: skip
    tip_behind = Worked(behind, Working(says, sources=row.source, memory=row.memory or margin.memory))
    if length is None:
        return Stylet(tip_behind=tip_behind, bend_at=None, usable=True, questions=asked)
    if length <= behind:
        return Stylet(tip_behind=tip_behind, bend_at=None, usable=False, questions=asked)
    at = (length.to("mm") - behind.to("mm")).to("cm")
    bend = Worked(at, Working(
        f"{length} of tube less {behind.to('cm')}: bend the stylet over where the tube meets its connector, {at} from its tip.",
        (Input("tube, tip to connector", str(length), Mark.WORKED),), sources=row.source, memory=row.memory))  # fmt: skip
    return Stylet(tip_behind=tip_behind, bend_at=bend, usable=True, questions=asked)


def mark_at_incisors(lie: Lie | None) -> Worked[Quantity] | None:
    """The centimetre mark, counted from the tip, that stands at the incisors: cut there or not to be cut, the connector does."""
    if lie is None:
        return None
    at = lie.inside.value
    where = (
        "Cut there, the connector does."
        if lie.cut is not None
        else "If the tube reaches so far: cut there, the connector does."
    )
    if lie.uncut:
        where = "The tube is not cut; its connector does."
    return Worked(at, Working(f"The {at} mark stands at the incisors: marks count from the tip. {where}",
                              lie.inside.working.inputs, sources=("a_tubetypes",), memory=lie.inside.working.memory))  # fmt: skip


def narrow_trachea(facts: AirwayTables, species: str, measured: Measured) -> tuple[str, ...]:
    """What a ratio of trachea to thoracic inlet says, where published cut-offs exist: dogs, and mainly bulldogs."""
    ratio = measured.trachea_to_inlet
    if ratio is None:
        return ()
    rows = [r for r in facts.narrows if r.species == species]
    if not rows:
        return (f"{INLET_RATIO} {ratio}: not known for a {species}, and not used.",)
    under = [r for r in rows if ratio <= r.at_most]
    if not under:
        return ()
    listed = ", ".join(str(r.at_most) for r in rows)
    return (
        f"Narrow trachea? {INLET_RATIO} {ratio} is at or under {len(under)} of {len(rows)} cut-offs published for bulldogs "
        f"({listed}), on which observers agreed poorly. Have the two next smaller tubes in reach.",
    )
