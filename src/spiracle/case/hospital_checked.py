"""A hospital's file held against the tables once, when it is read: a figure that no case could use never starts.

Every physical figure is read here, and refused with the row it stands in: found out at a patient it would stop every case at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.airway import TubeInStock, read_tube
from spiracle.airway.sizing import shelf
from spiracle.breathing import Cylinder, Price, check_cylinder, lists
from spiracle.breathing.leak import check_litres, check_walls
from spiracle.drugs import read_strength
from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import BadTable, Contradiction, NotOneOf, OutOfRange, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.hospital import Hospital, MachineAtHand, StockedTube

ALWAYS_READ = ("oxygen-main", "leak", "manometer", "valve-open")  # no machine may be without these


def check_hospital(facts: Facts, name: str = "hospital.toml") -> None:
    """Refuses, as BadTable with the row, whatever in the hospital's own file cannot be used."""
    own = facts.hospital
    _counts(own, name)
    for n, tube in enumerate(own.tubes, 1):
        with _row(name, f"tubes, row {n} ({tube.id!r})"):
            check_tube(facts, tube_in_stock(tube))
    for cylinder in own.cylinders:
        with _row(name, f"cylinders, {cylinder.name}"):
            check_cylinder(facts.breathing, Cylinder.read(cylinder.contents, cylinder.full, cylinder.full))
    for part in own.parts:
        with _row(name, f"parts, {part.name}"):
            _positive(read(part.volume, "volume", "volume"), "volume", "Give what it holds, like 2 mL.")
    for figures in own.machine_figures:
        with _row(name, f"machine_figures, {figures.name}"):
            _machine(facts, own, figures)
    _gas(facts, own, name)
    _drugs(facts, own, name)


@contextmanager
def _row(name: str, row: str) -> Iterator[None]:
    try:
        yield
    except Refusal as refusal:
        raise BadTable(name, f"{row}: {refusal.field}: {refusal.says}", refusal.accepts) from refusal


def _positive(value: Quantity, field: str, accepts: str) -> None:
    if value.value <= 0:
        raise OutOfRange(field, f"{value} is nothing.", accepts)


def _counts(own: Hospital, name: str) -> None:
    for field, value in (("attempt_limit", own.attempt_limit), ("weight_hours", own.weight_hours),
                         ("weight_hours_small", own.weight_hours_small), *(("drop_sets", n) for n in own.drop_sets)):  # fmt: skip
        if value < 1:
            raise BadTable(name, f"{field}: {value} is nothing.", "Give a whole number of 1 or more, or leave it out.")


# ---- tubes


def tube_in_stock(tube: StockedTube) -> TubeInStock:
    """A tube of the shelf, each figure as the file prints it."""

    def mm(text: str, what: str, kind: str = "length") -> Decimal | None:
        return read(text, what, kind).number("mm") if text else None

    return TubeInStock(
        id_mm=read_tube(tube.id, "id").number("mm"), od_mm=mm(tube.od, "od", "diameter"), cuffed=tube.cuffed,
        length_mm=mm(tube.length, "length"), tip_to_cuff_top_mm=mm(tube.tip_to_cuff_top, "tip_to_cuff_top"),
        cuff_length_mm=mm(tube.cuff_length, "cuff_length"), side_hole_mm=mm(tube.side_hole, "side_hole"),
    )  # fmt: skip


def check_tube(facts: Facts, tube: TubeInStock) -> None:
    """Refuses what no tube is: a bore no species has, an outside not wider than the bore or far wider than usual, a length no
    airway has, places of cuff and hole that do not lie on it."""
    reaches = facts.airway.reaches
    low, high = min(r.id_low_mm for r in reaches), max(r.id_high_mm for r in reaches)
    if not low <= tube.id_mm <= high:
        raise OutOfRange("id", f"{figure(tube.id_mm)} mm is beyond any tube; French gauge is not millimetres.",
                         f"Give an inside diameter of {low} to {high} mm.")  # fmt: skip
    if tube.od_mm is not None:
        # as much over the usual outside as the usual outside is over the bore: thicker than any reinforced wall, or a slipped point
        most = tube.id_mm * Decimal(facts.airway.setting("od-per-id").value) ** 2
        if not tube.id_mm < tube.od_mm <= most:
            raise Contradiction("od", f"{figure(tube.od_mm)} mm is not the outside of a tube of {figure(tube.id_mm)} mm inside.",
                                f"Measure it outside: over {figure(tube.id_mm)} mm, and at most {most:.1f} mm.")  # fmt: skip
    ways = [Decimal(r.depth_low_cm) * 10 for r in reaches], [Decimal(r.depth_high_cm) * 10 for r in reaches]
    shortest, longest = min(ways[0]), max(ways[1])
    if tube.length_mm is not None and not shortest <= tube.length_mm <= longest:
        raise OutOfRange("length", f"{figure(tube.length_mm)} mm is not the length of a tube.",
                         f"Give {figure(shortest)} to {figure(longest)} mm, end to end.")  # fmt: skip
    for what, way in (("tip_to_cuff_top", tube.tip_to_cuff_top_mm), ("cuff_length", tube.cuff_length_mm),
                      ("side_hole", tube.side_hole_mm)):  # fmt: skip
        if way is not None and way >= longest:
            raise OutOfRange(what, f"{figure(way)} mm does not lie on a tube.", "Measure it from the tip, in mm.")
    for reach in reaches:
        shelf(facts.airway, reach.species, (tube,))


# ---- machines, gas


def _machine(facts: Facts, own: Hospital, figures: MachineAtHand) -> None:
    if sum(other.name == figures.name for other in own.machine_figures) > 1:
        raise Contradiction("name", "it stands twice.", "Give each machine one row.")
    if figures.volume:
        check_litres(facts.breathing, read(figures.volume, "volume", "volume"), "volume")
    if figures.wall_ml_cmh2o is not None:
        wall = Quantity.of(figures.wall_ml_cmh2o, "mL/cmH2O")
        check_walls(facts.breathing, wall, "wall_ml_cmh2o", bag_on=False)
    lines = [row.line for row in lists(facts.breathing, "machine")]
    for line in figures.without:
        if line not in lines or line in ALWAYS_READ:
            able = ", ".join(x for x in lines if x not in ALWAYS_READ)
            raise NotOneOf("without", f"{line!r} is not a line that a machine can be without.", f"One of: {able}.")


def _gas(facts: Facts, own: Hospital, name: str) -> None:
    breathing = facts.breathing
    for circuit in own.circuits:
        with _row(name, "circuits"):
            breathing.circuit(circuit)
    # a bag of one smallest animal at least: 2 typed for 2 L is no bag
    least = breathing.setting("bag-need").quantity.number("mL/kg") * min(
        Decimal(s.weight_low_kg) for s in breathing.spans
    )
    most = max(bag.ml for bag in breathing.bags)
    for bag in own.breathing_bags:
        if not least <= bag <= most:
            raise BadTable(
                name, f"breathing_bags: {bag} mL is no breathing bag.", f"Give millilitres, {figure(least)} to {most}."
            )
    for bottle in own.agent_bottles:
        with _row(name, f"agent_bottles, {bottle.agent}"):
            breathing.agent(bottle.agent)
            ml = read(bottle.bottle, "bottle", "volume").number("mL")
            Price(amount=bottle.price, currency=bottle.currency, bottle_ml=ml)


# ---- drugs, fluids


def _drugs(facts: Facts, own: Hospital, name: str) -> None:
    for row in own.drugs:
        with _row(name, f"drugs, {row.drug}"):
            facts.drugs.drug(row.drug)
            for strength in (*row.strengths, *(vial.strength for vial in row.vials)):
                read_strength(strength)
    for barrel in own.barrels:
        with _row(name, "barrels"):
            facts.drugs.barrel(barrel)
    for bag in own.bags:
        with _row(name, f"bags, {bag.fluid}"):
            for volume in bag.volumes:
                _positive(read(volume, "volumes", "volume"), "volumes", "Write it as on the bag, like 500 mL.")
