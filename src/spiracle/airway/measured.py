"""What was measured on the animal or its pictures, read once at the door; impossible figures are refused by name."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import OutOfRange

INCISORS = "incisors to thoracic inlet"
TRACHEA = "tracheal diameter"
BACK = "occipital bump to tail base"
PREVIOUS = "previous tube"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Every field may be unknown; unknown is None and is never filled in."""

    incisors_to_inlet: Quantity | None = None
    tracheal_diameter: Quantity | None = None
    occiput_to_tail: Quantity | None = None
    previous_tube_id: Quantity | None = None

    @staticmethod
    def read(
        *,
        incisors_to_thoracic_inlet: object = None,
        tracheal_diameter: object = None,
        occiput_to_tail_base: object = None,
        previous_tube: object = None,
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
        )


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
    reach = facts.reach(species)
    kg = weight.number("kg")
    if not Decimal(reach.weight_low_kg) <= kg <= Decimal(reach.weight_high_kg):
        raise OutOfRange("weight", f"{weight} is not the weight of a {species}.",
                         f"Give {reach.weight_low_kg} to {reach.weight_high_kg} kg.")  # fmt: skip
    if measured.incisors_to_inlet is not None:
        _check_depth(facts, species, float(kg), measured.incisors_to_inlet)
    trachea = measured.tracheal_diameter
    if trachea is not None and not reach.trachea_low_mm <= trachea.number("mm") <= reach.trachea_high_mm:
        raise OutOfRange(TRACHEA, f"{trachea} is not the bore of a {species}'s trachea.",
                         f"Give {reach.trachea_low_mm} to {reach.trachea_high_mm} mm, inner wall to inner wall.")  # fmt: skip
    if measured.previous_tube_id is not None:
        check_bore(facts, species, measured.previous_tube_id, PREVIOUS)


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
