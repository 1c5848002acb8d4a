"""Which three tubes to lay out: the first choice, one smaller, one larger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from spiracle.airway.bore import brachycephalic_id_mm, od_for_trachea_mm, trachea_mm_from_back
from spiracle.airway.measured import Measured
from spiracle.airway.tables import AirwayTables, TubeRow
from spiracle.quantity import Quantity, reading
from spiracle.refusals import Missing
from spiracle.source import Input, Mark, Working

Role = Literal["first choice", "one smaller", "one larger"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeInStock:
    """A tube on the hospital's shelf. The outside diameter and length are those printed on it, if they were written down."""

    id_mm: Decimal
    od_mm: Decimal | None = None
    cuffed: bool = True
    length_mm: Decimal | None = None


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

    @property
    def id_text(self) -> str:
        return f"ID {reading(self.id_mm, 1)} mm"


@dataclass(frozen=True, slots=True)
class Aim:
    """The inside diameter aimed at, how it was reached, whether nothing larger may be first, and whether smaller ones than
    usual must be at hand."""

    id_mm: Decimal
    at_most: bool
    od_mm: Decimal | None
    working: Working
    cautions: tuple[str, ...]
    widen_below: bool = False


def from_weight_mm(facts: AirwayTables, species: str, kg: Decimal) -> tuple[Decimal, str]:
    """Inside diameter [mm] read off the ladder of weights, straight between two steps and flat beyond its ends.

    The ladder is from memory and carries that mark.
    """
    facts.reach(species)
    steps = [s for s in facts.sizes if s.species == species]
    below = [s for s in steps if s.kg <= kg]
    above = [s for s in steps if s.kg >= kg]
    if not below:
        return steps[0].mm, f"the ladder begins at {steps[0].kg} kg with {steps[0].mm} mm"
    low = below[-1]
    if not above or low.kg == kg:
        more = "" if above else f", and ends there ({low.low_mm} to {low.high_mm} mm)"
        return low.mm, f"{low.kg} kg takes {low.mm} mm{more}"
    high = above[0]
    mm = low.mm + (high.mm - low.mm) * (kg - low.kg) / (high.kg - low.kg)
    return mm, f"between {low.kg} kg with {low.mm} mm and {high.kg} kg with {high.mm} mm: {mm:.1f} mm"


def aim_at(facts: AirwayTables, species: str, weight: Quantity, brachycephalic: bool, measured: Measured) -> Aim:
    """The size to reach for. A measured trachea goes before weight, a smaller tube that served before goes before both."""
    kg = weight.number("kg")
    by_weight, says = from_weight_mm(facts, species, kg)
    inputs = [Input("weight", str(weight), Mark.TYPED)]
    cautions: list[str] = []
    sources = ["memory"]
    mm, od, at_most = by_weight, None, species == "cat"
    if brachycephalic and species == "dog":
        shift = facts.setting("brachycephalic-shift")
        mm = Decimal(str(round(brachycephalic_id_mm(float(by_weight), shift.number), 2)))
        at_most, says = True, f"{says}, less {shift.value} mm for a brachycephalic dog: {mm:.1f} mm"
        inputs.append(Input("brachycephalic", f"{shift.value} mm smaller", Mark.TABLE, shift.says))
        sources += shift.source
        smallest = facts.reach(species).id_low_mm
        if mm < smallest:
            mm = smallest
            cautions.append(
                f"The shift was found in adult dogs and would pass below ID {smallest} mm, which stands first."
            )
    elif brachycephalic:
        cautions.append("Brachycephalic cat: no figure was found; have the smaller tube in the hand first.")
    says = f"By weight: {says}."
    if measured.tracheal_diameter is not None:
        mm, od, at_most, more, worries = _by_trachea(facts, species, mm, measured.tracheal_diameter)
        says, cautions = f"{says} {more}", [*cautions, *worries]
        inputs.append(Input("trachea, inner diameter", str(measured.tracheal_diameter), Mark.MEASURED))
        sources += facts.setting("trachea-fraction").source
    if measured.previous_tube_id is not None:
        mm, od, more, worries = _by_previous(facts, mm, od, measured.previous_tube_id)
        says, cautions = f"{says} {more}", [*cautions, *worries]
        inputs.append(Input("tube that served before", f"ID {measured.previous_tube_id}", Mark.TYPED))
    cautions += _second_look(facts, species, measured)
    working = Working(says, tuple(inputs), sources=tuple(dict.fromkeys(sources)), memory=True)
    return Aim(mm, at_most, od, working, tuple(cautions), widen_below=brachycephalic and species == "dog")


def _by_trachea(
    facts: AirwayTables, species: str, by_weight: Decimal, trachea: Quantity
) -> tuple[Decimal, Decimal | None, bool, str, list[str]]:
    share = facts.setting("trachea-fraction")
    od = Decimal(str(round(od_for_trachea_mm(float(trachea.number("mm")), share.number / 100), 2)))
    fits = [t for t in facts.tubes if t.od_mm <= od]
    mm = fits[-1].id_mm if fits else facts.tubes[0].id_mm
    says = (
        f"By the measured trachea: {share.value} % of {trachea} is {od:.1f} mm outside, about ID {reading(mm, 1)} mm."
    )
    worries = []
    half = facts.setting("size-half-width")
    if abs(mm - by_weight) > Decimal(half.value):
        worries.append(f"Trachea and weight differ by more than {half.value} mm of tube: measure the trachea again.")
    if species == "cat":
        worries.append("The share of the trachea comes from dogs: in a cat it only makes the tube smaller.")
        if mm > by_weight:
            return by_weight, None, True, f"{says} Weight asks for less, and the smaller is taken.", worries
    return mm, od, True, says, worries


def _by_previous(
    facts: AirwayTables, mm: Decimal, od: Decimal | None, previous: Quantity
) -> tuple[Decimal, Decimal | None, str, list[str]]:
    size = previous.number("mm")
    half = facts.setting("size-half-width")
    worries = []
    if abs(size - mm) > Decimal(half.value):
        worries.append(f"The tube used before differs by more than {half.value} mm: read why in the earlier record.")
    if size <= mm:
        return size, None, f"ID {reading(size, 1)} mm served before and is the smaller: it comes first.", worries
    return mm, od, f"ID {reading(size, 1)} mm served before; the smaller size comes first.", worries


def _second_look(facts: AirwayTables, species: str, measured: Measured) -> list[str]:
    """The back's length gives a rough diameter in dogs: said as an estimate, never used to choose."""
    if measured.occiput_to_tail is None or species != "dog":
        return []
    low = trachea_mm_from_back(float(measured.occiput_to_tail.number("cm")))
    high = low + facts.setting("back-shortfall").number
    return [
        f"Estimated from the back's length: trachea {low:.0f} to {high:.0f} mm. Not used to choose; measure if you can."
    ]


def shelf(facts: AirwayTables, species: str, stock: Sequence[TubeInStock] | None) -> tuple[Tube, ...]:
    """The tubes that may be used in this species, smallest first. None means that no shelf was told: typical sizes."""
    reach = facts.reach(species)
    typical = {t.id_mm: t for t in facts.tubes}
    if stock is None:
        found = [_typical(t) for t in facts.tubes]
    else:
        found = [_stocked(t, typical.get(t.id_mm)) for t in stock]
    usable = {t.id_mm: t for t in found if reach.id_low_mm <= t.id_mm <= reach.id_high_mm}
    return tuple(usable[mm] for mm in sorted(usable))


def _typical(row: TubeRow) -> Tube:
    length = None if row.length_mm is None else Decimal(row.length_mm)
    return Tube(role="first choice", id_mm=row.id_mm, od_mm=row.od_mm, od_memory=True, cuffed=row.cuffed,
                length_mm=length, length_memory=length is not None)  # fmt: skip


def _stocked(tube: TubeInStock, typical: TubeRow | None) -> Tube:
    if tube.od_mm is None and typical is None:
        raise Missing(f"tube ID {tube.id_mm} mm, outside diameter", "is not known for this size.",
                      "Read it off the tube, like 12.1 mm.")  # fmt: skip
    od = tube.od_mm if tube.od_mm is not None else typical.od_mm if typical else tube.id_mm
    length, from_memory = tube.length_mm, False
    if length is None and typical is not None and typical.length_mm is not None:
        length, from_memory = Decimal(typical.length_mm), True
    return Tube(role="first choice", id_mm=tube.id_mm, od_mm=od, od_memory=tube.od_mm is None, cuffed=tube.cuffed,
                length_mm=length, length_memory=from_memory)  # fmt: skip


def three(
    facts: AirwayTables, species: str, aim: Aim, tubes: tuple[Tube, ...]
) -> tuple[tuple[Tube, ...], tuple[str, ...]]:
    """First choice with one smaller and one larger, smallest first, and what is to be said about them.

    In cats, brachycephalic dogs and by a measured trachea nothing larger than the aim comes first; in other dogs the nearest
    size does, the smaller of two as near. A shelf whose best tube lies above the aim by more than a size is refused.
    """
    half = Decimal(facts.setting("size-half-width").value)
    at = _first(aim, tubes)
    room = Decimal(facts.setting("one-size").value) if aim.at_most else half
    if at is None or tubes[at].id_mm - aim.id_mm > room:
        raise Missing("tubes in stock", f"none fits: about ID {aim.id_mm:.1f} mm is needed for this {species}.",
                      "List the tubes on the shelf, or fetch the sizes around it.")  # fmt: skip
    cautions = []
    if aim.at_most and not _goes_in(tubes[at], aim):
        cautions.append(
            f"The smallest tube in stock is larger than the ID {aim.id_mm:.1f} mm aimed at: never force it."
        )
    if aim.id_mm - tubes[at].id_mm > half:
        cautions.append(f"The nearest tube in stock is more than {half} mm smaller than expected: it will leak.")
    picked = [_as(tubes[at], "first choice")]
    if at > 0:
        picked.insert(0, _as(tubes[at - 1], "one smaller"))
    else:
        cautions.append("No smaller tube is in stock: have a mask and plan B at hand.")
    if at + 1 < len(tubes):
        picked.append(_as(tubes[at + 1], "one larger"))
    else:
        cautions.append(f"No larger tube for a {species} is in stock.")
    if aim.widen_below and at > 1:
        cautions.append(f"Keep {tubes[at - 2].id_text} within reach too: the spread is wider below.")
    return tuple(picked), tuple(cautions)


def _first(aim: Aim, tubes: tuple[Tube, ...]) -> int | None:
    if not tubes:
        return None
    places = range(len(tubes))
    if not aim.at_most:
        return min(places, key=lambda i: (abs(tubes[i].id_mm - aim.id_mm), tubes[i].id_mm))
    under = [i for i in places if _goes_in(tubes[i], aim)]
    return under[-1] if under else 0


def _goes_in(tube: Tube, aim: Aim) -> bool:
    return tube.od_mm <= aim.od_mm if aim.od_mm is not None else tube.id_mm <= aim.id_mm


def _as(tube: Tube, role: Role) -> Tube:
    return Tube(role=role, id_mm=tube.id_mm, od_mm=tube.od_mm, od_memory=tube.od_memory, cuffed=tube.cuffed,
                length_mm=tube.length_mm, length_memory=tube.length_memory)  # fmt: skip
