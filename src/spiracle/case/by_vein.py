"""What may not go into this vein, or not as a bolus: sugar too strong for a limb vein, a bag with potassium in it.

Carries U14. The figures are rows of the ceilings' table.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.questions import Answering, asking
from spiracle.case.running import is_drug
from spiracle.case.streams import part_holds
from spiracle.case.syringes import MixedBag, bag_of, infusions
from spiracle.drugs import Drug
from spiracle.drugs.table import VeinFacts
from spiracle.quantity import Quantity, down_to, figure, unit
from spiracle.refusals import AskAgain, OverLimit, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

GREAT = ("jugular", "central", "vena cava", "caval", "long line")  # words people write for a vein of the trunk or neck
BOLUS = "fluid bolus"
WORD = "or a named veterinarian says so with a reason."
_PERCENT = Decimal(10)  # 10 mg in a mL is one gram in 100 mL
_LITRE = Decimal(1000)


def sugar_for_vein(
    case: Case, drug: Drug, holds: Quantity | None, facts: Facts, field: str, entry: Answering, *, asks: bool
) -> None:
    """A solution of sugar held against the vein that is there. `asks`: what runs for hours is asked about sooner than a push."""
    row = next((v for v in facts.drugs.veins if drug.id in v.drugs), None)
    percent = None if row is None else _percent(holds)
    if row is None or percent is None:
        return
    great = great_vein(case)
    most = row.great_percent if great else row.stop_percent
    where = f"the {great}" if great else "a limb vein" if _has_vein(case) else "a vein that is not entered"
    said = f"{row.what} {figure(down_to(percent, Decimal('0.1')))} % into {where}"
    if percent > most:
        raise OverLimit(field, f"{said}: at most {figure(most)} % goes there{_memory(row)}.", f"Dilute it, {WORD}")
    if great and _limb_vein(case) and percent > row.stop_percent:
        with asking(entry):
            raise AskAgain(field, f"{said}: a limb vein is open too, and takes at most {figure(row.stop_percent)} %.",
                           f"Confirm that it goes into the {great}, and not into the other.")  # fmt: skip
    if asks and not great and percent > row.ask_percent:
        with asking(entry):
            raise AskAgain(field, f"{said}: above {figure(row.ask_percent)} % it harms the vein.",
                           "Dilute it, run it into a great vein, or confirm it.")  # fmt: skip


def _memory(row: VeinFacts) -> str:
    return " (from memory)" if row.memory else ""


def _percent(holds: Quantity | None) -> Decimal | None:
    try:
        return None if holds is None else holds.number("mg/mL") / _PERCENT
    except UnlikeUnits:
        return None


def great_vein(case: Case) -> str:
    """The site of a catheter in a vein of the neck or trunk that stands, as it was written; empty where there is none."""
    sites = [c.site for c in case.live(ev.CatheterPlaced) if c.line == "vein" and c.patent]
    return next((s for s in sites if any(word in s.casefold() for word in GREAT)), "")


def _limb_vein(case: Case) -> bool:
    """Whether a vein that is no great one stands too: then which of them is meant is asked."""
    sites = [c.site.casefold() for c in case.live(ev.CatheterPlaced) if c.line == "vein" and c.patent]
    return any(not any(word in site for word in GREAT) for site in sites)


def _has_vein(case: Case) -> bool:
    return any(c.line == "vein" and c.patent for c in case.live(ev.CatheterPlaced))


def bag_for_bolus(case: Case, name: str, facts: Facts, field: str = "bag") -> None:
    """A bag that a bolus is to be given from: none with more of these drugs in each litre than the table lets."""
    told = too_much_in(bag_of(case, name), facts)
    if told:
        raise OverLimit(field, f"{name} holds {told}", f"Give the bolus from a bag without it, {WORD}")


def bolus_beside_bag(case: Case, event: ev.FluidGiven, facts: Facts) -> None:
    """A bolus whose bag is not told, while such a bag hangs: was it given from that one?"""
    if event.bag:
        bag_for_bolus(case, event.bag, facts)
        return
    for hung in infusions(case):
        bag = bag_of(case, hung.started.bag) if hung.running else None
        told = too_much_in(bag, facts)
        if told and bag is not None and is_drug(facts, event.fluid, facts.drugs.drug(bag.mixed.fluid).id):
            with asking(event):
                raise AskAgain("fluid", f"The bag that hangs ({bag.mixed.bag}) holds {told}",
                               "Give the bolus from another bag and confirm that it is another.")  # fmt: skip


def too_much_in(bag: MixedBag | None, facts: Facts) -> str:
    """In words, what of a bag forbids a bolus from it; empty where nothing does."""
    if bag is None:
        return ""
    for row in facts.drugs.bolus_bags:
        for part in bag.mixed.parts:
            holds = part_holds(bag.mixed, part, facts) if is_drug(facts, part.drug, row.drug) else None
            if holds is None:
                continue
            per_litre = Quantity(holds.number("mEq/mL") * _LITRE, unit(row.unit))
            if per_litre.value > row.most:
                memory = " (limit from memory)" if row.memory else ""
                amount = figure(per_litre.value, 3)
                name = facts.drugs.name(row.drug)
                return f"{name}, {amount} {row.unit}, over {figure(row.most)}{memory}: {row.why}."
    return ""
