"""What was measured on the animal or its pictures, read once at the door; impossible figures are refused by name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from spiracle.airway.bore import trachea_mm_from_back
from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import Contradiction, OutOfRange, Refusal, Unknown

Outcome = Literal["served", "leaked", "tight"]
OUTCOMES: tuple[Outcome, ...] = ("served", "leaked", "tight")

INCISORS = "incisors to thoracic inlet"
TRACHEA = "tracheal diameter"
BACK = "occipital bump to tail base"
PREVIOUS = "previous tube"
LARYNX = "incisors to larynx"
PALPATED = "felt trachea"
ULTRASOUND = "ultrasound diameter"
SEPTUM = "nasal septum"
INLET_RATIO = "trachea over thoracic inlet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Every field may be unknown; unknown is None and is never filled in.

    `tracheal_diameter` is the inner one on a radiograph at the thoracic inlet, `ultrasound_diameter` the inner one by ultrasound,
    `palpated_outer` the outer one felt in the neck; `previous_outcome` how the earlier tube did, `previous_full_grown` whether
    the animal was a year or older then; `trachea_to_inlet` the tracheal lumen over the thoracic inlet on the radiograph.
    """

    incisors_to_inlet: Quantity | None = None
    tracheal_diameter: Quantity | None = None
    occiput_to_tail: Quantity | None = None
    previous_tube_id: Quantity | None = None
    larynx_depth: Quantity | None = None
    palpated_outer: Quantity | None = None
    ultrasound_diameter: Quantity | None = None
    septum_width: Quantity | None = None
    previous_outcome: Outcome | None = None
    previous_full_grown: bool | None = None
    trachea_to_inlet: Decimal | None = None

    @staticmethod
    def read(
        *,
        incisors_to_thoracic_inlet: object = None,
        tracheal_diameter: object = None,
        occiput_to_tail_base: object = None,
        previous_tube: object = None,
        incisors_to_larynx: object = None,
        palpated_outer: object = None,
        ultrasound_diameter: object = None,
        septum_width: object = None,
        previous_outcome: str | None = None,
        previous_full_grown: bool | None = None,
        trachea_to_inlet: Decimal | None = None,
    ) -> Measured:
        """From text, each with its unit.

        >>> str(Measured.read(incisors_to_thoracic_inlet="19 cm").incisors_to_inlet)
        '19 cm'
        """

        def length(text: object, field: str, kind: str) -> Quantity | None:
            return None if text is None else read(text, field, kind)

        return Measured(
            incisors_to_inlet=length(incisors_to_thoracic_inlet, INCISORS, "length"),
            tracheal_diameter=length(tracheal_diameter, TRACHEA, "diameter"),
            occiput_to_tail=length(occiput_to_tail_base, BACK, "length"),
            previous_tube_id=None if previous_tube is None else read_tube(previous_tube, PREVIOUS),
            larynx_depth=length(incisors_to_larynx, LARYNX, "length"),
            palpated_outer=length(palpated_outer, PALPATED, "diameter"),
            ultrasound_diameter=length(ultrasound_diameter, ULTRASOUND, "diameter"),
            septum_width=length(septum_width, SEPTUM, "diameter"),
            previous_outcome=_outcome(previous_outcome),
            previous_full_grown=previous_full_grown,
            trachea_to_inlet=trachea_to_inlet,
        )


def _outcome(text: str | None) -> Outcome | None:
    for known in OUTCOMES:
        if text == known:
            return known
    if text:
        raise Unknown(PREVIOUS, f"{text!r} is not how a tube did.", f"Say {', '.join(OUTCOMES)}, or leave it out.")
    return None


def read_tube(text: object, field: str = "tube") -> Quantity:
    """A tube's inside diameter in millimetres. French gauge, a bare number and other lengths are refused.

    >>> str(read_tube("7.0 mm"))
    '7 mm'
    """
    size = read(text, field, "diameter")
    if str(size.unit) != "mm":
        raise OutOfRange(field, f"{size} is not how a tube is marked.", "Write the inside diameter, like 5.5 mm.")
    return size


def check(facts: AirwayTables, species: str, weight: Quantity, measured: Measured) -> None:
    """Refuse what no animal of this species and weight can measure."""
    kg = _checked_kg(facts, species, weight)
    for slip in _slips(facts, species, kg, measured):
        raise slip.refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A measure that cannot be, the fields of `Measured` that fall with it, and its refusal."""

    fields: tuple[str, ...]
    refusal: Refusal

    @property
    def says(self) -> str:
        field = self.refusal.field
        return f"{field[0].upper()}{field[1:]} is not used: {self.refusal.says} {self.refusal.accepts}"


def usable(
    facts: AirwayTables, species: str, weight: Quantity, measured: Measured
) -> tuple[Measured, tuple[Slip, ...]]:
    """What may be worked with, and each measure that may not, by name: one bad measure takes no tube away.

    Raises Unknown (species) and OutOfRange (weight): without them there is nothing to work with.
    """
    kg = _checked_kg(facts, species, weight)
    slips = tuple(_slips(facts, species, kg, measured))
    return replace(measured, **{field: None for slip in slips for field in slip.fields}), slips


def _checked_kg(facts: AirwayTables, species: str, weight: Quantity) -> float:
    reach = facts.reach(species)
    kg = weight.number("kg")
    if not Decimal(reach.weight_low_kg) <= kg <= Decimal(reach.weight_high_kg):
        raise OutOfRange("weight", f"{weight} is not the weight of a {species}.",
                         f"Give {reach.weight_low_kg} to {reach.weight_high_kg} kg.")  # fmt: skip
    return float(kg)


def _slips(facts: AirwayTables, species: str, kg: float, measured: Measured) -> Iterator[Slip]:
    yield from _along(facts, species, kg, measured)
    yield from _across(facts, species, measured)
    if measured.trachea_to_inlet is not None and not 0 < measured.trachea_to_inlet < 1:
        yield Slip(fields=("trachea_to_inlet",), refusal=OutOfRange(
            INLET_RATIO, f"{measured.trachea_to_inlet} is no share of the inlet.",
            "Divide the trachea's inner height by the inlet's, both in mm, like 0.18."))  # fmt: skip
    if measured.previous_outcome is not None and measured.previous_tube_id is None:
        yield Slip(fields=("previous_outcome",), refusal=Contradiction(
            PREVIOUS, f"it {_did(measured.previous_outcome)}, but its size was not given.", "Give its size, like 4.0 mm."))  # fmt: skip
    tube = measured.previous_tube_id
    if tube is not None:
        refusal = refused_by(lambda: check_bore(facts, species, tube, PREVIOUS))
        if refusal is not None:
            yield Slip(fields=("previous_tube_id", "previous_outcome", "previous_full_grown"), refusal=refusal)


def _along(facts: AirwayTables, species: str, kg: float, measured: Measured) -> Iterator[Slip]:
    """The lengths: incisors to inlet and to larynx, and the back of a dog, for which alone its line was drawn."""
    inlet, larynx, back = measured.incisors_to_inlet, measured.larynx_depth, measured.occiput_to_tail
    no_inlet = None if inlet is None else refused_by(lambda: _check_depth(facts, species, kg, inlet))
    if no_inlet is not None:
        yield Slip(fields=("incisors_to_inlet",), refusal=no_inlet)
    if larynx is not None:
        highest = depth_bounds_cm(facts, species, kg)[1]
        if not 0 < larynx.number("cm") < highest:
            yield Slip(fields=("larynx_depth",), refusal=OutOfRange(
                LARYNX, f"{larynx} cannot be in a {species} of {figure(Decimal(str(kg)))} kg.",
                f"Measure again beside the animal: under {highest} cm is possible."))  # fmt: skip
        elif inlet is not None and no_inlet is None and larynx >= inlet:
            yield Slip(fields=("larynx_depth", "incisors_to_inlet"), refusal=Contradiction(
                LARYNX, f"{larynx} is not before the thoracic inlet at {inlet}.", "Measure both again, from the incisors."))  # fmt: skip
    if back is not None and species == "dog":
        refusal = refused_by(lambda: trachea_mm_from_back(float(back.number("cm"))))
        if refusal is not None:
            yield Slip(fields=("occiput_to_tail",), refusal=refusal)


def _across(facts: AirwayTables, species: str, measured: Measured) -> Iterator[Slip]:
    """The widths: of the trachea, inside and felt, and of the nasal septum."""
    reach, wall = facts.reach(species), Decimal(facts.setting("trachea-wall").value)
    for name, field, bore, outside in (
        ("tracheal_diameter", TRACHEA, measured.tracheal_diameter, Decimal(0)),
        ("ultrasound_diameter", ULTRASOUND, measured.ultrasound_diameter, Decimal(0)),
        ("palpated_outer", PALPATED, measured.palpated_outer, 2 * wall),
    ):
        low, high = Decimal(reach.trachea_low_mm) + outside, Decimal(reach.trachea_high_mm) + outside
        if bore is not None and not low <= bore.number("mm") <= high:
            where = "outer wall to outer wall" if outside else "inner wall to inner wall"
            yield Slip(fields=(name,), refusal=OutOfRange(
                field, f"{bore} is not the {'width' if outside else 'bore'} of a {species}'s trachea.",
                f"Give {low} to {high} mm, {where}."))  # fmt: skip
    septum = measured.septum_width
    if septum is not None and not Decimal(reach.septum_low_mm) <= septum.number("mm") <= Decimal(reach.septum_high_mm):
        yield Slip(fields=("septum_width",), refusal=OutOfRange(
            SEPTUM, f"{septum} is not the width of a {species}'s nasal septum.",
            f"Give {reach.septum_low_mm} to {reach.septum_high_mm} mm, between the nostrils."))  # fmt: skip


def refused_by(work: Callable[[], object]) -> Refusal | None:
    """The refusal that this work ends in, if it does."""
    try:
        work()
    except Refusal as refusal:
        return refusal
    return None


def _did(outcome: Outcome) -> str:
    return "was tight" if outcome == "tight" else outcome


def check_bore(facts: AirwayTables, species: str, bore: Quantity, field: str = "tube") -> None:
    """A bore outside the species' hard limits is refused, never trimmed to them."""
    reach = facts.reach(species)
    if not reach.id_low_mm <= bore.number("mm") <= reach.id_high_mm:
        raise OutOfRange(field, f"ID {bore} is beyond any {species}'s tube; French gauge is not millimetres.",
                         f"Give an inside diameter of {reach.id_low_mm} to {reach.id_high_mm} mm.")  # fmt: skip


def depth_bounds_cm(facts: AirwayTables, species: str, kg: float) -> tuple[Decimal, Decimal]:
    """Between which lengths an animal of this weight can measure from incisors to thoracic inlet [cm].

    Bounds of the possible (from memory), not an expectation: centimetres per cube root of a kilogram, and the species' own.
    """
    reach, root = facts.reach(species), Decimal(str(round(kg ** (1 / 3), 3)))
    low = max(Decimal(reach.depth_low_cm), Decimal(reach.depth_low_per_root) * root)
    high = min(Decimal(reach.depth_high_cm), Decimal(reach.depth_high_per_root) * root)
    return low.quantize(Decimal("0.1")), high.quantize(Decimal("0.1"))


def _check_depth(facts: AirwayTables, species: str, kg: float, depth: Quantity) -> None:
    low, high = depth_bounds_cm(facts, species, kg)
    found = depth.number("cm")
    if found > high:
        raise OutOfRange(INCISORS, f"{depth} is longer than a {species} of {figure(Decimal(str(kg)))} kg allows.",
                         f"Measure again beside the animal: {low} to {high} cm is possible.")  # fmt: skip
    if found < low:
        raise OutOfRange(INCISORS, f"{depth} is too short for a {species} of {figure(Decimal(str(kg)))} kg.",
                         f"Measure again beside the animal: {low} to {high} cm is possible.")  # fmt: skip


def full_grown(facts: AirwayTables, age_days: Decimal) -> bool:
    """Whether the trachea has done growing, by the table's own age in months (a twelfth of 365 days each)."""
    return age_days * 12 >= Decimal(facts.setting("grown-months").value) * 365
