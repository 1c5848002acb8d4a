"""The airway part of a plan: three tubes, depth, cut, stylet, dead space, resistance, in one record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from spiracle.airway import placing, seating
from spiracle.airway.burden import TubeBurden, burdens, resistance
from spiracle.airway.changes import Change, changes
from spiracle.airway.estimating import Combined, Estimate, Evidence, evidence
from spiracle.airway.measured import Measured, Slip, check_bore, usable
from spiracle.airway.placing import Lie, PartVolume
from spiracle.airway.ranking import (
    Ceiling,
    Chance,
    Ranked,
    ceiling,
    fit_chance,
    most_mm,
    rank,
    size_that_counts_mm,
    three,
)
from spiracle.airway.seating import Seat, Span, Stylet
from spiracle.airway.sizing import Tube, TubeInStock, in_hand, shelf
from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, printed_size, round_significant
from spiracle.refusals import OutOfRange, Refusal
from spiracle.source import Worked, Working, Zone


@dataclass(frozen=True, slots=True, kw_only=True)
class AirwayChoice:
    """Everything the airway page shows. What could not be worked out is None, and its refusal stands in `refusals`.

    `uncut`: the first choice is no longer than the way to the thoracic inlet and is not cut. `cut` is None then, and where its
    length is not known: a caution says where to cut it if it is long enough.
    """

    tubes: tuple[Tube, ...]
    why: Working
    insertion: Worked[Quantity] | None
    cut: Worked[Quantity] | None
    stylet_setback: Worked[Quantity]
    tube_volume_before: Worked[Quantity] | None
    tube_volume_after: Worked[Quantity] | None
    dead_space_before: Worked[Quantity] | None
    dead_space_after: Worked[Quantity]
    parts: tuple[PartVolume, ...]
    tidal: Worked[Quantity]
    percent_of_breath: Decimal
    dead_space_zone: Zone
    caution_percent: Decimal
    stop_percent: Decimal
    dead_space_warning: str
    resistances: tuple[tuple[Tube, Worked[Quantity]], ...]
    cautions: tuple[str, ...]
    refusals: tuple[Refusal, ...]
    estimates: tuple[Estimate, ...]
    combined: Combined
    disagreements: tuple[str, ...]
    unused: tuple[str, ...]
    ranked: tuple[Ranked, ...]
    dead_space_ml_per_kg: Decimal
    changes: tuple[Change, ...]
    burdens: tuple[TubeBurden, ...]
    mark_at_incisors: Worked[Quantity] | None
    tracheal_length: Span | None
    seats: tuple[Seat, ...]
    stylet: Stylet
    measured: Measured
    uncut: bool = False
    memory: bool = True

    @property
    def first(self) -> Tube:
        return next(t for t in self.tubes if t.role == "first choice")


def lay_out(
    facts: AirwayTables, species: str, weight: Quantity, *, brachycephalic: bool = False, measured: Measured | None = None,
    stock: Sequence[TubeInStock] | None = None, parts: Sequence[tuple[str, Quantity]] | None = None, adult: bool | None = None,
) -> AirwayChoice:  # fmt: skip
    """Three tubes and how the first is to be placed. `stock` and `parts` None mean not told: typical ones, from memory.

    `adult` None means not told; a cat's tracheal length is only known in grown ones.

    Raises Unknown (species), OutOfRange (weight), Missing (no tube on the shelf fits). A depth that was not measured, and a measure
    that cannot be, are refused in `refusals`; the rest is still worked out from what remains.
    """
    measured, slips = usable(facts, species, weight, measured or Measured())
    found = evidence(facts, species, weight, brachycephalic, measured)
    most = ceiling(facts, species, brachycephalic, measured, found)
    on_shelf, left_out = shelf(facts, species, stock)
    ranked = rank(facts, species, found.combined, most, on_shelf)
    tubes, cautions = three(facts, species, most, found, ranked, brachycephalic)
    first = next(t for t in tubes if t.role == "first choice")
    lie = placing.lying(facts, first, measured)
    depth, cut = placing.insertion(measured, lie), None if lie is None else lie.cut
    inside = None if lie is None else lie.inside.value
    unused = (*_unused(slips), *found.unused)
    joined = placing.usual_parts(facts, weight.number("kg")) if parts is None else placing.stocked_parts(parts)
    space = placing.dead_space(facts, weight, first, depth.value if depth else None, _length_in_use(lie), joined)
    stylet = seating.stylet(facts, first, _length_in_use(lie))
    span = seating.tracheal_length_span(facts, species, measured, adult=adult, brachycephalic=brachycephalic)
    seats = _seats(facts, tubes, measured, span)
    weighed = burdens(facts, weight, tubes, length) if (length := _common_length(first, inside)) else ()
    whole = None if first.length_mm is None else placing.volume(first, Quantity.of(first.length_mm, "mm").to("cm"))
    return AirwayChoice(
        tubes=tubes,
        why=_why(found, most),
        insertion=depth,
        cut=cut,
        stylet_setback=stylet.tip_behind,
        tube_volume_before=whole,
        tube_volume_after=placing.volume(first, used) if (used := _length_in_use(lie)) else None,
        dead_space_before=space.before,
        dead_space_after=space.after,
        parts=space.parts,
        tidal=space.tidal,
        percent_of_breath=space.percent,
        dead_space_zone=space.zone,
        caution_percent=Decimal(facts.setting("dead-space-caution").value),
        stop_percent=Decimal(facts.setting("dead-space-stop").value),
        dead_space_warning=space.warning,
        resistances=tuple((b.tube, b.lost) for b in weighed),
        cautions=(
            *found.cautions,
            *found.disagreements,
            *unused,
            *_leaked_before(measured, first),
            *cautions,
            *left_out,
            *(lie.cautions if lie else ()),
            *_uncuffed(first),
            *(c for s in seats if s.tube is first for c in s.cautions),
            *seating.narrow_trachea(facts, species, measured),
            *_stylet_words(stylet),
        ),
        refusals=_refusals(slips, depth),
        estimates=found.estimates,
        combined=found.combined,
        disagreements=found.disagreements,
        unused=unused,
        ranked=ranked,
        dead_space_ml_per_kg=round_significant(space.after.value.number("mL") / weight.number("kg"), 3),
        changes=changes(facts, weight, space, cut.value if cut else None),
        burdens=weighed,
        mark_at_incisors=seating.mark_at_incisors(lie),
        uncut=lie is not None and lie.uncut,
        tracheal_length=span,
        seats=seats,
        stylet=stylet,
        measured=measured,
    )


def _unused(slips: Sequence[Slip]) -> tuple[str, ...]:
    """Measures that cannot be and so are not used; a depth has its own place."""
    return tuple(slip.says for slip in slips if slip.fields != ("incisors_to_inlet",))


def _refusals(slips: Sequence[Slip], depth: Worked[Quantity] | None) -> tuple[Refusal, ...]:
    """The depth's first, then those of every other measure that cannot be."""
    of_depth = [s.refusal for s in slips if "incisors_to_inlet" in s.fields]
    rest = [s.refusal for s in slips if "incisors_to_inlet" not in s.fields]
    if depth is None and not of_depth:
        of_depth = [placing.no_depth()]
    return (*of_depth, *rest)


def _why(found: Evidence, most: Ceiling) -> Working:
    """What every way of choosing said, what they say together, and what the first choice may not exceed."""
    says = [e.says for e in found.estimates]
    if len(found.estimates) > 1:
        says.append(found.combined.working.says.rstrip("."))
    says = [f"{s}." for s in says]
    inputs = tuple(dict.fromkeys(i for e in found.estimates for i in e.inputs))
    held = (f"the first choice is no larger than {most.says}",)
    return Working(" ".join(says), inputs, held=held, sources=found.combined.working.sources, memory=True)


def _uncuffed(first: Tube) -> tuple[str, ...]:
    return () if first.cuffed else ("No cuff at this size: the airway is not sealed; listen for the leak.",)


def _leaked_before(measured: Measured, first: Tube) -> tuple[str, ...]:
    """A tube no larger than the one that leaked comes first: why, and what to have at hand."""
    last = measured.previous_tube_id
    if measured.previous_outcome != "leaked" or last is None or first.id_mm > last.number("mm"):
        return ()
    return (f"ID {printed_size(last.number('mm'))} mm leaked before, and nothing larger comes first here: look at its cuff, and have "
            "the one larger in the hand.",)  # fmt: skip


def _stylet_words(stylet: Stylet) -> tuple[str, ...]:
    return () if stylet.usable else ("No stylet in so short a tube: its tip could not stay far enough inside.",)


def _seats(facts: AirwayTables, tubes: tuple[Tube, ...], measured: Measured, span: Span | None) -> tuple[Seat, ...]:
    """Each tube of the set with its connector at the incisors; none without a measured depth."""
    lies = ((t, placing.lying(facts, t, measured)) for t in tubes)
    return tuple(seating.seat(t, lie.inside.value, measured, span) for t, lie in lies if lie is not None)


def _length_in_use(lie: Lie | None) -> Quantity | None:
    return lie.inside.value if lie is not None and (lie.uncut or lie.cut is not None) else None


def _common_length(first: Tube, inside: Quantity | None) -> Quantity | None:
    """The length at which the sizes compare: what of the first choice lies inside, else its own."""
    if inside is not None:
        return inside
    return None if first.length_mm is None else Quantity.of(first.length_mm, "mm").to("cm")


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeFit:
    """One tube that somebody wants to use, held against this animal."""

    tube: Tube
    expected_id_mm: Decimal
    volume: Worked[Quantity] | None
    dead_space: Worked[Quantity] | None
    percent_of_breath: Decimal | None
    resistance: Worked[Quantity] | None
    why: Working
    cautions: tuple[str, ...]
    chance: Chance
    combined: Combined


def fit(
    facts: AirwayTables, species: str, weight: Quantity, tube_id: Quantity, *, tube_od: Quantity | None = None,
    length: Quantity | None = None, brachycephalic: bool = False, measured: Measured | None = None,
    parts: Sequence[tuple[str, Quantity]] | None = None,
) -> TubeFit:  # fmt: skip
    """Hold one tube against the animal, from what can be used of its measures.

    Raises OutOfRange for a bore beyond the species, or wider outside than its measured trachea; Contradiction for an outside no
    larger than the bore. An outside that nobody told is a typical one, or worked from the bore, from memory.
    """
    check_bore(facts, species, tube_id)
    measured, slips = usable(facts, species, weight, measured or Measured())
    found = evidence(facts, species, weight, brachycephalic, measured)
    most = ceiling(facts, species, brachycephalic, measured, found)
    tube = in_hand(facts, TubeInStock(
        id_mm=tube_id.number("mm"), od_mm=None if tube_od is None else tube_od.number("mm"),
        length_mm=None if length is None else length.number("mm")))  # fmt: skip
    if not most.lets_in(tube):
        raise OutOfRange("tube", f"{tube.od_mm} mm outside does not go into a trachea of {most.bore_mm:g} mm.",
                         "Take a smaller tube.")  # fmt: skip
    cautions = [*found.cautions, *found.disagreements, *_unused(slips), *found.unused]
    expected = _expected_mm(facts, found, most)
    if abs(float(tube.id_mm - expected)) > found.within_mm:
        side = "larger" if tube.id_mm > expected else "smaller"
        cautions.append(
            f"{tube.id_text} is {side} than expected ({expected:.1f} mm) by more than {found.within_mm:.2f} mm."
        )
    long = None if tube.length_mm is None else Quantity.of(tube.length_mm, "mm").to("cm")
    space = None
    if long is not None and measured.incisors_to_inlet is not None:
        joined = placing.usual_parts(facts, weight.number("kg")) if parts is None else placing.stocked_parts(parts)
        space = placing.dead_space(facts, weight, tube, measured.incisors_to_inlet, long, joined)
        cautions += [space.warning] if space.warning else []
    return TubeFit(
        tube=tube, expected_id_mm=expected, volume=placing.volume(tube, long) if long else None,
        dead_space=space.after if space else None, percent_of_breath=space.percent if space else None,
        resistance=resistance(facts, weight, tube, long) if long else None, why=_why(found, most),
        cautions=tuple(cautions), combined=found.combined,
        chance=fit_chance(size_that_counts_mm(facts, tube), found.combined, facts.seal(species, tube.cuffed)),
    )  # fmt: skip


def _expected_mm(facts: AirwayTables, found: Evidence, most: Ceiling) -> Decimal:
    """The size to expect: all estimates together, and never more than may come first."""
    return Decimal(str(round(min(found.combined.id_mm, most_mm(facts, most)), 2)))
