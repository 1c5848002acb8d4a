"""What goes into the animal through pumps, drug by drug: each drug of a bag runs beside its fluid, under its own order.

Every sum over running drugs is made from these; an infusion by itself does not say what is in it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.syringes import Infusion, bag_of, infusions, syringe
from spiracle.drugs.bags import in_the_bag
from spiracle.quantity import Quantity
from spiracle.refusals import Refusal

if TYPE_CHECKING:
    from datetime import datetime

    from spiracle.case.facts import Facts


@dataclass(frozen=True, slots=True)
class Stream:
    """One drug or fluid of an infusion: its id, what each mL holds of it (None: a fluid, or not readable), its order.

    `bag`: the bag it is a part of. The carrying fluid of a bag is a stream of its own, with the bag's whole rate.
    """

    infusion: Infusion
    drug: str
    holds: Quantity | None
    order: str
    purpose: str
    bag: str = ""
    part: ev.BagPart | None = None

    @property
    def id(self) -> str:
        return self.infusion.started.infusion

    @property
    def route(self) -> str:
        return self.infusion.started.route

    @property
    def running(self) -> bool:
        return self.infusion.running

    @property
    def rate_ml_h(self) -> Decimal:
        return self.infusion.rate_ml_h

    @property
    def steps(self) -> tuple[tuple[datetime, Decimal], ...]:
        """From when at how many mL/h."""
        return self.infusion.steps

    def volume_ml(self, until: datetime) -> Decimal:
        return self.infusion.volume_ml(until)

    def amount(self, until: datetime) -> Quantity | None:
        """What ran in of the drug by then, in the unit of its strength's amount; None where its strength is not known."""
        return None if self.holds is None else Quantity.of(self.volume_ml(until), "mL") * self.holds


def streams(case: Case, facts: Facts, found: Iterable[Infusion] | None = None) -> tuple[Stream, ...]:
    """Every drug and fluid of these infusions (all of the case, if none are named), stopped ones too."""
    return tuple(s for i in (infusions(case) if found is None else found) for s in streams_of(case, facts, i))


def streams_of(case: Case, facts: Facts, infusion: Infusion) -> tuple[Stream, ...]:
    """An infusion as its drugs: its fluid first, then each drug of its bag."""
    started = infusion.started
    purpose = started.purpose
    own = Stream(
        infusion, _id(facts, started.drug), holds_of(case, started, facts), started.order, purpose, started.bag
    )
    bag = bag_of(case, started.bag)
    if bag is None:
        return (own,)
    return (
        own,
        *(
            Stream(infusion, _id(facts, p.drug), part_holds(bag.mixed, p, facts), p.order, "", started.bag, p)
            for p in bag.mixed.parts
        ),
    )


def holds_of(case: Case, started: ev.InfusionStarted, facts: Facts) -> Quantity | None:
    """What each mL holds of what is named: the label of the syringe it runs from, else what was said; nothing of a bag's fluid."""
    drawn = syringe(case, started.syringe) if started.syringe else None
    text = drawn.drawn.concentration if drawn is not None else started.concentration
    try:
        return facts.drugs.strength(facts.drugs.drug(started.drug), text).quantity if text else None
    except Refusal:
        return None


def part_holds(mixed: ev.BagMixed, part: ev.BagPart, facts: Facts) -> Quantity | None:
    """What each mL of the bag holds of one of its drugs."""
    try:
        vial = facts.drugs.strength(facts.drugs.drug(part.drug), part.vial_concentration).quantity
    except Refusal:
        return None
    return None if vial is None else in_the_bag(vial, part.drug_volume_ml, mixed.volume_ml)


def _id(facts: Facts, name: str) -> str:
    try:
        return facts.drugs.drug(name).id
    except Refusal:
        return name
