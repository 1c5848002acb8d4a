"""What a signature covers and what still waits for one: orders said aloud or entered for somebody, and changed strengths.

Carries D20, D31, U30. A signature covers the weight, the ASA grade, the orders and the strength of each line it was given for.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case.events import DrugOrdered, PlanApproved, RecordSigned, SyringeDrawn, VialPicked
from spiracle.case.fold import Case
from spiracle.case.prepared import prepared
from spiracle.case.standing import PlanState, orders, plan_state
from spiracle.drugs import read_strength
from spiracle.refusals import Contradiction, Missing, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


# ---- orders that wait for their veterinarian


def whose(order: DrugOrdered, facts: Facts) -> str:
    """The veterinarian whose order it is: named in it, or the one who entered it."""
    return order.ordered_by or (order.by if facts.hospital.is_veterinarian(order.by) else "")


def waits_for(case: Case, order: DrugOrdered, facts: Facts) -> str:
    """The veterinarian whose signature an order waits for; empty where it was entered by that hand, or signed by it since.

    What was said aloud, and what a technician entered as written, is somebody's word only once that person has signed for it.
    """
    vet = whose(order, facts)
    if not vet or order.by == vet:
        return ""
    signed = any(p.signed_by == vet and p.how == "signed" and order.order in p.orders and _after(p, order)
                 for p in case.live(PlanApproved))  # fmt: skip
    signed |= any(s.role == "veterinarian" and s.by == vet and _after(s, order) for s in case.live(RecordSigned))
    return "" if signed else vet


def _after(signature: PlanApproved | RecordSigned, order: DrugOrdered) -> bool:
    return signature.happened_at >= order.happened_at


def waiting(case: Case, facts: Facts) -> tuple[tuple[DrugOrdered, str], ...]:
    """Standing orders to be countersigned, each with the veterinarian it waits for, oldest first. An order that was withdrawn
    before it was signed is not asked for any more; what was given under it stays in the record."""
    found = ((o, vet) for o in orders(case) if (vet := waits_for(case, o, facts)))
    return tuple(sorted(found, key=lambda pair: (pair[0].happened_at, pair[0].id)))


# ---- the strength a line was signed for


def state(case: Case, facts: Facts, at: datetime) -> PlanState:
    """The signed plan with everything that changed since, strengths too."""
    found = plan_state(case)
    if found.approved is None:
        return found
    return PlanState(found.approved, (*found.stale, *changed_strengths(case, found.approved, facts, at)))


def changed_strengths(case: Case, signed: PlanApproved, facts: Facts, at: datetime) -> tuple[str, ...]:
    """Lines that are now worked or drawn from another strength than the one they were signed for, in words."""
    told = dict(zip(signed.orders, signed.strengths, strict=False))
    said = []
    for order in orders(case):
        was = told.get(order.order, "")
        now = in_hand(case, order) or _worked(case, order, facts, at)
        if was and now and not any(alike(text, was) for text in now):
            said.append(f"{facts.drugs.name(order.drug)} is {now[0]}, the plan was signed for {was}")
    return tuple(said)


def in_hand(case: Case, order: DrugOrdered) -> tuple[str, ...]:
    """The strength of the vial a syringe was last drawn from for an order. Empty while nothing is drawn. How far it is thinned
    in the syringe is a matter of measuring it, and is worked again at each push."""
    drawn = [s for s in case.live(SyringeDrawn) if s.order == order.order]
    return (drawn[-1].vial_concentration,) if drawn else ()


def _worked(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> tuple[str, ...]:
    """What the line works out to from the vial in hand or the shelf, and that vial; a line without either shows its refusal."""
    picked = [v.concentration for v in case.live(VialPicked) if v.order == order.order]
    return tuple(text for text in (line_strength(case, order, facts, at), *picked[-1:]) if text)


def line_strength(case: Case, order: DrugOrdered, facts: Facts, at: datetime) -> str:
    """The strength of the vial a line of the plan is drawn from; empty where none is known yet."""
    try:
        made = prepared(case, order, facts, at)
    except Refusal:
        return ""
    return "" if made.strength is None else made.strength.text


def alike(one: str, other: str) -> bool:
    """Whether two texts name the same strength.

    >>> alike("10 mg/mL", "10.0 mg/mL"), alike("1 %", "10 mg/mL"), alike("5 mg/mL", "10 mg/mL"), alike("powder", "powder")
    (True, True, False, True)
    """
    if one.strip() == other.strip():
        return True
    try:
        a, b = read_strength(one)[0], read_strength(other)[0]
    except Refusal:
        return False
    return a is not None and b is not None and a.unit.dimension == b.unit.dimension and a.equals(b)


def signed_strengths(case: Case, event: PlanApproved, facts: Facts) -> None:
    """A signature names the strengths that stand on the page now, one for each order, or none at all."""
    if not event.strengths:
        return
    if len(event.strengths) != len(event.orders):
        raise Missing(
            "strengths", f"{len(event.strengths)} for {len(event.orders)} orders.", "Name one for each order."
        )
    told = dict(zip(event.orders, event.strengths, strict=True))
    for order in orders(case):
        said = told.get(order.order, "")
        now = in_hand(case, order) or _worked(case, order, facts, event.happened_at)
        if said and now and not any(alike(text, said) for text in now):
            raise Contradiction(
                "strength",
                f"{facts.drugs.name(order.drug)} is {now[0]} now, the page said {said}.",
                "Look at the plan again, then sign.",
            )
