"""The tubes there are: on the hospital's shelf, or the usual ones where no shelf was told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from spiracle.airway.tables import AirwayTables, TubeRow
from spiracle.quantity import printed_size
from spiracle.refusals import Contradiction, Missing

Role = Literal["first choice", "one smaller", "one larger"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeInStock:
    """A tube on the hospital's shelf. The outside diameter and length are those printed on it, if they were written down.

    `tip_to_cuff_top_mm` runs from the tip to the end of the cuff nearest the larynx, `side_hole_mm` from the tip to the upper
    edge of the hole in its side (0: it has none); without them nobody can say where the cuff will lie.
    """

    id_mm: Decimal
    od_mm: Decimal | None = None
    cuffed: bool = True
    length_mm: Decimal | None = None
    tip_to_cuff_top_mm: Decimal | None = None
    cuff_length_mm: Decimal | None = None
    side_hole_mm: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """A tube to lay out. `od_memory`: the outside diameter is a typical one, not read off this tube; same for length."""

    role: Role
    id_mm: Decimal
    od_mm: Decimal
    od_memory: bool
    cuffed: bool
    length_mm: Decimal | None = None
    length_memory: bool = False
    tip_to_cuff_top_mm: Decimal | None = None
    cuff_length_mm: Decimal | None = None
    side_hole_mm: Decimal | None = None

    @property
    def id_text(self) -> str:
        return f"ID {printed_size(self.id_mm)} mm"


def shelf(
    facts: AirwayTables, species: str, stock: Sequence[TubeInStock] | None
) -> tuple[tuple[Tube, ...], tuple[str, ...]]:
    """The tubes that may be used in this species, smallest first, and what is left out by name.

    Two of one bore are both kept if they differ elsewhere. None means that no shelf was told: typical sizes. A tube whose outside
    diameter nobody knows is left out; Missing where nothing else is left.
    """
    reach = facts.reach(species)
    if stock is None:
        tubes = [_typical(t) for t in facts.tubes if reach.id_low_mm <= t.id_mm <= reach.id_high_mm]
        return tuple(sorted(tubes, key=_by_size)), ()
    typical = {t.id_mm: t for t in facts.tubes}
    within = [t for t in stock if reach.id_low_mm <= t.id_mm <= reach.id_high_mm]
    unknown = [t for t in within if t.od_mm is None and t.id_mm not in typical]
    found = dict.fromkeys(_stocked(t, typical.get(t.id_mm)) for t in within if t not in unknown)
    if unknown and not found:
        raise Missing(f"tube ID {printed_size(unknown[0].id_mm)} mm, outside diameter", "is not known for this size.",
                      "Read it off the tube, like 12.1 mm.")  # fmt: skip
    said = tuple(dict.fromkeys(
        f"ID {printed_size(t.id_mm)} mm is left out: its outside diameter is not known. Read it off the tube, like 12.1 mm."
        for t in unknown))  # fmt: skip
    return tuple(sorted(found, key=_by_size)), said


def in_hand(facts: AirwayTables, tube: TubeInStock) -> Tube:
    """One tube that somebody holds. Where its outside is not told and its size not usual, it is worked from the bore."""
    typical = next((t for t in facts.tubes if t.id_mm == tube.id_mm), None)
    if tube.od_mm is not None and tube.od_mm <= tube.id_mm:
        raise Contradiction(f"tube ID {printed_size(tube.id_mm)} mm, outside diameter",
                            f"{tube.od_mm} mm is not larger than the inside.", "Read the tube again.")  # fmt: skip
    if tube.od_mm is None and typical is None:
        worked = round(tube.id_mm * Decimal(str(facts.setting("od-per-id").value)), 1)
        return replace(_stocked(replace(tube, od_mm=worked), None), od_memory=True)
    return _stocked(tube, typical)


def _by_size(tube: Tube) -> tuple[Decimal, Decimal, bool]:
    return tube.id_mm, tube.od_mm, not tube.cuffed


def _typical(row: TubeRow) -> Tube:
    length = None if row.length_mm is None else Decimal(row.length_mm)
    return Tube(role="first choice", id_mm=row.id_mm, od_mm=row.od_mm, od_memory=True, cuffed=row.cuffed,
                length_mm=length, length_memory=length is not None)  # fmt: skip


def _stocked(tube: TubeInStock, typical: TubeRow | None) -> Tube:
    od = tube.od_mm if tube.od_mm is not None else typical.od_mm if typical else tube.id_mm
    length, from_memory = tube.length_mm, False
    if length is None and typical is not None and typical.length_mm is not None:
        length, from_memory = Decimal(typical.length_mm), True
    _check_along(tube)
    return Tube(role="first choice", id_mm=tube.id_mm, od_mm=od, od_memory=tube.od_mm is None, cuffed=tube.cuffed,
                length_mm=length, length_memory=from_memory, tip_to_cuff_top_mm=tube.tip_to_cuff_top_mm,
                cuff_length_mm=tube.cuff_length_mm, side_hole_mm=tube.side_hole_mm)  # fmt: skip


def _check_along(tube: TubeInStock) -> None:
    """Refuse figures that no tube can have: a hole above its cuff, a cuff longer than the way to its top or than the tube."""
    top, cuff, hole, whole = tube.tip_to_cuff_top_mm, tube.cuff_length_mm, tube.side_hole_mm, tube.length_mm
    name = f"tube ID {tube.id_mm} mm"
    if not tube.cuffed and (top is not None or cuff is not None):
        raise Contradiction(name, "has no cuff, yet a place of its cuff was given.", "Say which it is.")
    for what, length in (("tip to cuff", top), ("cuff length", cuff), ("side hole", hole)):
        none = what == "side hole" and length == 0
        if length is not None and not none and (length <= 0 or (whole is not None and length >= whole)):
            raise Contradiction(
                f"{name}, {what}", f"{length} mm does not lie on the tube.", "Measure it from the tip, in mm."
            )
    if top is not None and (cuff or 0) >= top:
        raise Contradiction(
            name, f"its cuff of {cuff} mm does not end before the tip ({top} mm).", "Measure both again, in mm."
        )
    if top is not None and hole is not None and hole >= top - (cuff or 0):
        raise Contradiction(
            name, f"its side hole ({hole} mm) would lie under the cuff.", "Measure both from the tip, in mm."
        )
