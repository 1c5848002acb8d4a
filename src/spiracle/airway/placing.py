"""How deep, how long, how far back the stylet, and what dead space is left outside the incisors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from spiracle.airway.bore import tube_dead_space_ml
from spiracle.airway.measured import INCISORS, Measured
from spiracle.airway.sizing import Tube
from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, down_to, figure, round_significant
from spiracle.refusals import Missing, OutOfRange
from spiracle.source import Guardrail, Input, Mark, Worked, Working, Zone


@dataclass(frozen=True, slots=True, kw_only=True)
class PartVolume:
    """A part between tube and Y-piece, or the length of tube that stands out; `memory`: its volume is a typical one."""

    name: str
    ml: Decimal
    memory: bool

    @property
    def quantity(self) -> Quantity:
        return Quantity.of(self.ml, "mL")


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadSpace:
    """What is added outside the incisors. Inside, the tube takes the place of the animal's own airway."""

    before: Worked[Quantity] | None
    after: Worked[Quantity]
    parts: tuple[PartVolume, ...]
    tidal: Worked[Quantity]
    percent: Decimal
    zone: Zone
    warning: str


def millilitres(ml: float) -> Quantity:
    """A worked volume as it is shown: three figures are more than any tube deserves."""
    return Quantity(round_significant(Decimal(str(ml)), 3), Quantity.of(0, "mL").unit)


def no_depth() -> Missing:
    """No estimator of this length was found, so an unmeasured one is refused rather than guessed."""
    return Missing(INCISORS, "was not measured, and no published rule gives it from weight.",
                   "Lay the tube beside the animal, incisors to thoracic inlet, and give centimetres.")  # fmt: skip


def insertion(measured: Measured, lie: Lie | None) -> Worked[Quantity] | None:
    """Depth of the tip from the incisors: the measured length to the thoracic inlet, no further, and no longer than the tube."""
    depth = measured.incisors_to_inlet
    if depth is None or lie is None:
        return None
    inputs = (Input(INCISORS, str(depth), Mark.MEASURED),)
    if lie.uncut:
        inside = lie.inside
        return Worked(inside.value, Working(
            f"The uncut tube reaches {inside.value}, the thoracic inlet lies at {depth.to('cm')}.", inside.working.inputs,
            sources=("a_ukvetairway", *inside.working.sources), memory=inside.working.memory))  # fmt: skip
    return Worked(depth.to("cm"), Working(
        f"Incisors to thoracic inlet, measured: {depth.to('cm')}. The tip goes no further; the cuff whole past the larynx.",
        inputs, held=("other teaching: tip midway between larynx and thoracic inlet",),
        sources=("a_ukvetairway", "a_seo2024", "a_technicianpage"),
    ))  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """A tube with its connector at the incisors: how much of it lies inside them, and where it is cut for that.

    `uncut`: it is not to be cut, for it is no longer than the way to the thoracic inlet. `cut` is None then, and where nobody knows
    how long it is: `inside` is what would lie inside if it reaches so far.
    """

    inside: Worked[Quantity]
    cut: Worked[Quantity] | None
    uncut: bool
    cautions: tuple[str, ...]


def lying(facts: AirwayTables, tube: Tube, measured: Measured) -> Lie | None:
    """How a tube lies once its connector stands at the incisors; None without a measured depth.

    The cut is rounded to the shorter step, so that the tip never passes the thoracic inlet by it. A length that nobody knows is
    asked for before the cut.
    """
    depth = measured.incisors_to_inlet
    if depth is None:
        return None
    step = facts.setting("cut-step")
    length = Quantity.of(down_to(depth.number("cm"), Decimal(step.value)), "cm")
    way = Input(INCISORS, str(depth), Mark.MEASURED)
    says = (
        f"Cut to {length}, down to the {step.value} cm below {depth.to('cm')}: the connector then sits at the incisors."
    )
    if tube.length_mm is None:
        inside = Worked(length, Working(f"If the tube is longer than that: {says[0].lower()}{says[1:]}",
                                        (way, Input("tube, uncut", "not known")), sources=("memory",), memory=True))  # fmt: skip
        asked = f"{tube.id_text}: how long is it, tip to connector? If it is over {length}, that is where to cut it."
        return Lie(inside=inside, cut=None, uncut=False, cautions=(asked,))
    whole = Quantity.of(tube.length_mm, "mm").to("cm")
    inputs = (
        way,
        Input("tube, uncut", str(whole), note="typical, from memory" if tube.length_memory else "as printed"),
    )
    if whole > length:
        cut = Worked(length, Working(says, inputs, sources=("memory",), memory=True))
        return Lie(inside=cut, cut=cut, uncut=False, cautions=())
    known = f"typically {whole}, from memory" if tube.length_memory else str(whole)
    says = f"Do not cut: the tube is {known}, and the way to the thoracic inlet {depth.to('cm')}."
    inside = Worked(whole, Working(says, inputs, sources=("memory",) if tube.length_memory else ("a_definition",),
                                   memory=tube.length_memory))  # fmt: skip
    return Lie(
        inside=inside,
        cut=None,
        uncut=True,
        cautions=(f"{tube.id_text}: {says[0].lower()}{says[1:]} Note where the tip lies.",),
    )


def volume(tube: Tube, length: Quantity) -> Worked[Quantity]:
    """Gas in the whole tube, connector to tip."""
    ml = tube_dead_space_ml(float(tube.id_mm), float(length.number("mm")))
    return Worked(millilitres(ml), Working(
        f"pi/4 x ({tube.id_mm} mm)^2 x {length} = {millilitres(ml)}",
        (Input("inside diameter", tube.id_text), Input("length", str(length))), sources=("a_definition",)))  # fmt: skip


def usual_parts(facts: AirwayTables, kg: Decimal) -> tuple[PartVolume, ...]:
    """Parts usually joined at this weight when the hospital has not listed its own: typical volumes from memory."""
    return tuple(PartVolume(name=p.name, ml=Decimal(p.ml), memory=True) for p in facts.parts
                 if p.usual and Decimal(p.from_kg) <= kg < Decimal(p.below_kg))  # fmt: skip


def stocked_parts(parts: Sequence[tuple[str, Quantity]]) -> tuple[PartVolume, ...]:
    found = []
    for name, quantity in parts:
        ml = quantity.number("mL")
        if not 0 <= ml <= 200:
            raise OutOfRange(
                f"part {name}", f"{quantity} is not the gas space of a part at the tube.", "Give 0 to 200 mL."
            )
        found.append(PartVolume(name=name, ml=ml, memory=False))
    return tuple(found)


def tidal(facts: AirwayTables, weight: Quantity) -> Worked[Quantity]:
    row = facts.setting("tidal")
    breath = weight.to("kg") * row.quantity
    return Worked(breath, Working(f"{row.quantity} x {weight.to('kg')} = {breath}", (Input("weight", str(weight), Mark.TYPED),),
                                  held=(row.note,), sources=row.source))  # fmt: skip


def dead_space(
    facts: AirwayTables, weight: Quantity, tube: Tube, depth: Quantity | None, length: Quantity | None,
    parts: tuple[PartVolume, ...],
) -> DeadSpace:  # fmt: skip
    """Apparatus dead space before and after cutting, held against a breath; over the stop it asks, it never blocks.

    `length`: that of the tube in use, as it is or cut; None where nobody knows it.
    """
    breath = tidal(facts, weight)
    out_after = _standing_out(tube, length, depth)
    after = _sum(out_after, parts, _when(tube, length))
    before = None
    if depth is not None and tube.length_mm is not None:
        before = _sum(_standing_out(tube, Quantity.of(tube.length_mm, "mm"), depth), parts, "uncut")
    percent = round_significant(after.value.number("mL") / breath.value.number("mL") * 100, 3)
    caution, stop = facts.setting("dead-space-caution"), facts.setting("dead-space-stop")
    band = Guardrail("apparatus dead space", Quantity.of(0, "%"), caution.quantity, stop.quantity, sources=stop.source,
                     memory=stop.memory)  # fmt: skip
    zone = band.zone(Quantity.of(percent, "%"))
    return DeadSpace(before=before, after=after, parts=(*((out_after,) if out_after else ()), *parts), tidal=breath,
                     percent=percent, zone=zone, warning=_warning(zone, percent, caution.quantity, stop.quantity))  # fmt: skip


def _when(tube: Tube, length: Quantity | None) -> str:
    if length is None:
        return "with the connector at the incisors"
    whole = tube.length_mm
    return "uncut" if whole is not None and length.equals(Quantity.of(whole, "mm")) else "after cutting"


def _standing_out(tube: Tube, length: Quantity | None, depth: Quantity | None) -> PartVolume | None:
    """The tube from incisors to connector as a part of its own, if any stands out."""
    if length is None or depth is None or length <= depth:
        return None
    ml = tube_dead_space_ml(float(tube.id_mm), float((length - depth).number("mm")))
    return PartVolume(name="tube outside the incisors", ml=millilitres(ml).value, memory=tube.length_memory)


def _sum(out: PartVolume | None, parts: tuple[PartVolume, ...], when: str) -> Worked[Quantity]:
    all_parts = (*((out,) if out else ()), *parts)
    total = Quantity.of(sum((p.ml for p in all_parts), Decimal(0)), "mL")
    terms = " + ".join(f"{p.name} {figure(p.ml)}" for p in all_parts) or "nothing"
    memory = any(p.memory for p in all_parts)
    return Worked(total, Working(
        f"{when}: {terms} = {total}",
        tuple(Input(p.name, str(p.quantity), note="typical, from memory" if p.memory else "as stocked") for p in all_parts),
        held=("inside the animal the tube takes the place of its own airway and is not counted",),
        sources=("a_definition", "a_deadspace1986", *(("memory",) if memory else ())), memory=memory))  # fmt: skip


def _warning(zone: Zone, percent: Decimal, caution: Quantity, stop: Quantity) -> str:
    if zone is Zone.USUAL:
        return ""
    share = f"Apparatus dead space is {figure(percent)} % of a breath"
    if zone is Zone.UNUSUAL:
        return f"{share}, over {caution}: use smaller parts, and watch inspired CO2."
    return f"{share}, over {stop}: take parts away or ventilate, and ask the veterinarian before going on."
