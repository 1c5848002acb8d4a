"""A rate that is asked for: whose hand and word, what it rests on, and what each mL of it holds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_orders import standing_order
from spiracle.case.decide_syringes import there
from spiracle.case.fold import Case
from spiracle.case.prepared import prepared, shelf, vial_of
from spiracle.case.questions import asking
from spiracle.case.running import FLUID_GROUPS, comes_to, is_drug, others, summed, urgent
from spiracle.case.standing import species
from spiracle.case.streams import Stream, part_holds
from spiracle.case.syringes import bag_of, syringes
from spiracle.drugs import Drug
from spiracle.quantity import Quantity, Unit
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


@dataclass(frozen=True, slots=True)
class Run:
    """A rate to be decided: what runs or shall run, what it rests on, and whose hand and word it is."""

    case: Case
    facts: Facts
    started: ev.InfusionStarted
    entry: ev.InfusionStarted | ev.InfusionChanged
    drug: Drug
    holds: Quantity | None
    order: ev.DrugOrdered | None
    word: bool
    part: ev.BagPart | None = None

    @property
    def route(self) -> str:
        return self.facts.drugs.route(self.started.route)

    @property
    def purpose(self) -> str:
        if self.order is not None:
            return self.order.purpose
        return "" if self.part is not None else self.started.purpose

    @property
    def species(self) -> str:
        return str(species(self.case))

    @property
    def beside(self) -> tuple[Stream, ...]:
        return others(self.case, self.facts, self.started.infusion)

    @property
    def by_veterinarian(self) -> bool:
        return self.facts.hospital.is_veterinarian(self.entry.by)

    @property
    def named(self) -> str:
        """The drug's name before a figure, where a pump gives more than one."""
        return f"{self.drug.name}: " if self.started.bag else ""

    def total(self, beside: tuple[Stream, ...], target: Unit, kg: Decimal) -> Quantity:
        """This rate with what runs beside it, in one unit."""
        mine = comes_to(self.entry.rate_ml_h, self.holds, target, kg)
        return mine + summed(beside, target, kg)


def in_bag(run: Run) -> tuple[Run, ...]:
    """The same rate as it is for each drug in the bag, under that drug's order."""
    bag = bag_of(run.case, run.started.bag)
    if bag is None:
        return ()
    free = run.word or urgent(run.case)
    return tuple(
        replace(
            run,
            drug=run.facts.drugs.drug(p.drug),
            holds=part_holds(bag.mixed, p, run.facts),
            order=standing_order(run.case, p.order, p.drug, run.facts) if p.order and not free else None,
            part=p,
        )
        for p in bag.mixed.parts
    )


def held_in(case: Case, event: ev.InfusionStarted, drug: Drug, facts: Facts) -> Quantity | None:
    """What each mL holds. The label of the syringe it runs from wins over what was sent."""
    sent = _read(drug, event.concentration, facts) if event.concentration else None
    if not event.syringe:
        return sent
    label = _read(drug, there(case, event.syringe, event.drug, facts).drawn.concentration, facts)
    if sent is not None and not same_strength(sent, label):
        raise Contradiction("concentration", f"{sent} was sent, the syringe holds {label}.", "Take the right syringe.")
    return label


def _read(drug: Drug, text: str, facts: Facts) -> Quantity:
    found = facts.drugs.strength(drug, text).quantity
    if found is None:
        raise Missing(
            "concentration", f"{text} has no strength until it is made up.", "Say what it was made up to, like 1 mg/mL."
        )
    return found


def same_strength(one: Quantity, other: Quantity) -> bool:
    return one.unit.dimension == other.unit.dimension and one.equals(other)


def strength_there(run: Run) -> None:
    """A strength nobody stocks, drew or planned may be ten times what is in the syringe: it is asked about."""
    event, holds = run.started, run.holds
    if holds is None or event.syringe or run.drug.group in FLUID_GROUPS or urgent(run.case):
        return
    found = run.facts.drugs.strength(run.drug, event.concentration)
    if found.trap:
        raise NotAllowed("concentration", f"{found.printed} is not a vial for dogs and cats.", "Take another vial.")
    stocked = run.facts.drugs.strengths_of(run.drug, shelf(run.facts))
    listed = (*stocked, *(s for s in run.drug.strengths if not s.trap))
    there_is = [s.quantity for s in listed if s.quantity is not None] + _made(run)
    if any(same_strength(holds, q) for q in there_is):
        return
    names = ", ".join(dict.fromkeys(str(q) for q in there_is)) or "none"
    with asking(event):
        raise AskAgain("concentration", f"{holds} of {run.drug.name} is not stocked and was not drawn.",
                       f"Draw it first and name the syringe, or read the label and confirm it. There is: {names}.")  # fmt: skip


def _made(run: Run) -> list[Quantity]:
    """Strengths of this case: drawn syringes, the vial of the order, and the dilution the plan shows for it."""
    found = []
    for each in syringes(run.case):
        if is_drug(run.facts, each.drawn.drug, run.drug.id):
            found.append(_read(run.drug, each.drawn.concentration, run.facts))
    if run.order is not None:
        if text := vial_of(run.case, run.order):
            found.append(_read(run.drug, text, run.facts))
        planned = prepared(run.case, run.order, run.facts, run.entry.happened_at).concentration
        found += [] if planned is None else [planned]
    return found
